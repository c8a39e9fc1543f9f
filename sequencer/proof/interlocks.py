"""Interlocks as words that must not be reached.

Where a rule needs more than the word can say, the larger set of words is taken as bad, so that 'holds' stays true.
"""

from __future__ import annotations

from itertools import product

from sequencer.description import terms as t
from sequencer.description.grounds import HeadPart, LinePart, PadPart, VolumePart
from sequencer.description.sequence import Never, Start
from sequencer.description.thresholds import point
from sequencer.proof.bits import memory
from sequencer.proof.draft import Draft
from sequencer.proof.gas import valve
from sequencer.proof.people import ON_PAD, STRANGER
from sequencer.proof.system import Bad, RuleCheck
from sequencer.proof.words import EVERYTHING, Cube, meets
from sequencer.table import Kind

Option = tuple[frozenset[int], Cube]


def options(draft: Draft, fact: t.Expression, wanted: bool, allow: bool = False) -> list[Option]:
    """Words in which the fact may be (not) true: a union of cubes at places. With `allow`, a truth that a contact
    senses counts only once the box has seen it (the contact's reaction time is allowed)."""
    everywhere = frozenset(draft.everywhere)

    def bit(name: str, value: bool) -> list[Option]:
        seen = {draft.seen(c): value for c, truth in draft.tracked.items() if truth == name} if allow else {}
        return [(everywhere, draft.layout.cube({name: value, **seen}))]

    def states(inside: list[int]) -> list[Option]:
        chosen = {i for i in draft.running if draft.places[i].state in inside}
        return [(frozenset(chosen if wanted else set(draft.running) - chosen), EVERYTHING)]

    if isinstance(fact, t.Someone):
        if not draft.pad.parts(PadPart):
            return [(everywhere, EVERYTHING)] if fact.wanted != wanted else []
        inside = fact.wanted == wanted
        names = [n for n in (ON_PAD, STRANGER) if draft.layout.has(n)]
        if inside:
            return [option for n in names for option in bit(n, True)]
        return [(everywhere, draft.layout.cube(dict.fromkeys(names, False)))]
    if isinstance(fact, t.PressureIs):
        return _pressure(draft, fact, wanted)
    if isinstance(fact, t.CommandedTo):
        return _commanded(draft, fact, wanted)
    if isinstance(fact, t.HeadIs):
        if fact.what == "latched":
            held = bit(f"{fact.head} latched", fact.wanted == wanted)
            if fact.wanted == wanted:
                return held
            # a head holds nothing any more, shut as it is, once another has let its vehicle go
            return held + [option for other in beside(draft, fact.head) for option in bit(f"{other} latched", False)]
        return _head(draft, fact, wanted)
    if isinstance(fact, t.SwitchIs):
        name = draft.tracked.get(fact.input) or draft.by_hand.get(fact.input)
        return [(everywhere, EVERYTHING)] if name is None else bit(name, fact.wanted == wanted)
    if isinstance(fact, t.LineIs):
        return _line(draft, fact.line, fact.open == wanted)
    if isinstance(fact, t.PinIs):
        return bit(f"{fact.pin} in", fact.inside == wanted)
    if isinstance(fact, t.PeopleAllowed):
        names_ = list(draft.pad.states.values())
        wanted = fact.wanted == wanted
        return states([i for i, s in enumerate(names_) if s.people == "allowed"])
    if isinstance(fact, t.StateIs):
        wanted = fact.wanted == wanted
        return states([list(draft.pad.states).index(fact.state)])
    assert isinstance(fact, t.BoxSays)
    number = draft.table.bit_index(fact.condition)
    kept = draft.table.bits[number].kind == Kind.MEMORY
    return bit(memory(fact.condition) if kept else f"the box says {fact.condition}", fact.wanted == wanted)


def _pressure(draft: Draft, fact: t.PressureIs, wanted: bool) -> list[Option]:
    at_least = fact.at_least == wanted
    everywhere = frozenset(draft.everywhere)
    if not isinstance(draft.pad.site.get(fact.volume), VolumePart):
        return [(everywhere, EVERYTHING)]
    limit = point(draft.pad, fact.limit)
    edge = draft.bands.at(fact.volume, limit)
    if edge is None:
        possible = limit <= 0.0 if at_least else limit > 0.0
        return [(everywhere, EVERYTHING)] if possible else []
    return [(everywhere, draft.layout.cube({draft.bands.name(fact.volume, edge): at_least}))]


def _commanded(draft: Draft, fact: t.CommandedTo, wanted: bool) -> list[Option]:
    if fact.output in draft.pad.site:
        part = draft.pad.site[fact.output]
        if isinstance(part, LinePart) and fact.position in ("open", "shut"):
            return _line(draft, fact.output, (fact.position == "open") == (fact.wanted == wanted))
        return [(frozenset(draft.everywhere), EVERYTHING)]
    number = list(draft.pad.outputs).index(fact.output)
    code = draft.pad.output_positions[fact.output].index(fact.position)
    return [(frozenset(places), cube) for places, cube in draft.command(number, code, fact.wanted == wanted)]


def beside(draft: Draft, head: str) -> list[str]:
    """The other heads of the same vehicle."""
    heads = draft.pad.parts(HeadPart)
    flies = {n for n, part in draft.pad.parts(VolumePart).items() if part.flies}
    held = heads[head].release_head
    return [n for n, part in heads.items() if n != head and (part.release_head == held or {part.release_head, held} <= flies)]


def _line(draft: Draft, line: str, opened: bool) -> list[Option]:
    part = draft.pad.site[line]
    assert isinstance(part, LinePart)
    if part.opened_by in draft.pad.outputs:
        return [(frozenset(draft.everywhere), draft.layout.cube({valve(part.opened_by): opened}))]
    return [(frozenset(draft.everywhere), EVERYTHING)]


def _head(draft: Draft, fact: t.HeadIs, wanted: bool) -> list[Option]:
    assert isinstance(draft.pad.site[fact.head], HeadPart)
    everywhere = frozenset(draft.everywhere)
    true = fact.wanted == wanted
    # an open head has not 'let go' when it was never latched: both readings of 'not let go' are kept
    free = [fact.head, *beside(draft, fact.head)]
    return [(everywhere, draft.layout.cube({f"{h} latched": False})) for h in free] if true else [(everywhere, EVERYTHING)]


def ways(draft: Draft, expression: t.Expression, wanted: bool = True, allow: bool = False) -> list[Option]:
    """The union of cubes in which an expression may be (not) true."""
    found: list[Option] = []
    for alternative in t.alternatives(expression, wanted):
        apart = _apart(draft, alternative)
        for chosen in product(*(options(draft, leaf, value, allow) for leaf, value in alternative.items() if leaf not in apart)):
            places = frozenset(draft.everywhere).intersection(*(p for p, _ in chosen))
            cube = meets(c for _, c in chosen)
            if places and cube is not None:
                found.append((places, cube))
    return found


def _apart(draft: Draft, way: dict[t.Expression, bool]) -> set[t.Expression]:
    """Facts that say of two lines of one output that one is open and the other shut: a fault, or unlike strokes, bring
    it about, and the word, which has one bit for both, cannot say it."""
    stands: dict[str, dict[bool, set[t.Expression]]] = {}
    for fact, value in way.items():
        if isinstance(fact, t.LineIs):
            name, opened = fact.line, fact.open == value
        elif isinstance(fact, t.CommandedTo):
            name, opened = fact.output, ((fact.position == "open") == fact.wanted) == value
        else:
            continue
        part = draft.pad.site.get(name)
        if isinstance(part, LinePart) and part.opened_by in draft.pad.outputs:
            stands.setdefault(part.opened_by, {}).setdefault(opened, set()).add(fact)
    return {fact for both in stands.values() if len(both) == 2 for facts in both.values() for fact in facts}


def of_the_box(expression: t.Expression) -> bool:
    """Whether a rule names commands, states or what the box says (then it is judged after scans)."""
    return any(isinstance(f, t.CommandedTo | t.StateIs | t.PeopleAllowed | t.BoxSays) for f in t.leaves(expression))


def start_of(draft: Draft, text: str) -> tuple[int, list[Option], tuple[Option, ...]]:
    """(output number or -1, where it is commanded, where not yet) of 'OUTPUT to POSITION', 'state to NAME' or 'STATE
    to NAME'."""
    output, _, position = (word.strip() for word in text.partition(" to "))
    if output not in draft.pad.outputs:
        states = list(draft.pad.states)
        inside = frozenset(draft.regions(states.index(position)))
        outside = frozenset(draft.everywhere) - inside if output not in states else frozenset(draft.regions(states.index(output)))
        return -1, [(inside, EVERYTHING)], ((outside - inside, EVERYTHING),)
    number, code = list(draft.pad.outputs).index(output), draft.pad.output_positions[output].index(position)
    began, before = ([(frozenset(p), c) for p, c in draft.command(number, code, wanted)] for wanted in (True, False))
    return number, began, tuple(before)


def awaited(draft: Draft, truth: str) -> set[bool]:
    """Values of a truth that a contact senses at which some rule is broken only once the box has seen them."""
    if "awaited" not in draft.found:
        names = {bit: draft.seen(contact) for contact, bit in draft.tracked.items()}
        both = {(bit, value): draft.layout.cube({bit: value, seen: value}) for bit, seen in names.items() for value in (True, False)}
        bad = [one.cube for check in checks(draft) for one in check.bad]
        draft.found["awaited"] = {key for key, cube in both.items() if any(b.care & cube.care == cube.care and (b.want ^ cube.want) & cube.care == 0 for b in bad)}
    found: set[tuple[str, bool]] = draft.found["awaited"]
    return {value for name, value in found if name == truth}


def checks(draft: Draft) -> list[RuleCheck]:
    """Every `never` and `start … needs` of the file."""
    found = []
    for name, rule in draft.pad.interlocks.items():
        if isinstance(rule, Never):
            after = of_the_box(rule.never.expression)
            bad = tuple(Bad(places, cube, after) for places, cube in ways(draft, rule.never.expression, allow=after))
            found.append(RuleCheck(name, bad))
        elif isinstance(rule, Start):
            output, began, before = start_of(draft, rule.start)
            made = []
            for places, cube in ways(draft, rule.needs.expression, False, allow=True):
                for at, commanded in began:
                    both = cube.meet(commanded)
                    if both is not None and places & set(at):
                        made.append(Bad(places & set(at), both, True, output, before))
            found.append(RuleCheck(name, tuple(made)))
    return found
