"""A proof as text: what it is blind to first, then what it rests on, then one line per interlock and the stories."""

from __future__ import annotations

import textwrap

from sequencer.proof.result import InterlockResult, Proof, Story
from sequencer.proof.system import Race
from sequencer.report import cut_sets

WIDTH = 80


def _wrapped(text: str, first: str = "", rest: str = "") -> str:
    return textwrap.fill(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=False)


def text(proof: Proof, pressures: str) -> str:
    """The whole answer at 80 columns; `pressures` says what zero means in its pressures."""
    out = [
        _wrapped(f"{proof.title}, revision {proof.revision} ({proof.file}, sha256 {proof.checksum})"),
        "This checks a model, not the hardware; it certifies nothing. Stored gas can",
        "kill: keep people away whatever it says.",
        *textwrap.wrap(pressures, WIDTH),
        "",
        "Blind to",
        *(_wrapped(line, "  - ", "    ") for line in proof.blind),
        "",
        *_races(proof),
    ]
    if proof.assumed:
        out += ["", "Assumed besides", *(_wrapped(line, "  - ", "    ") for line in proof.assumed)]
    out += ["", "Left out"]
    out += [_wrapped(f"{fault}: {because}", "  - ", "    ") for fault, because in proof.left_out] or ["  - nothing"]
    out += [
        "",
        _wrapped(
            f"Worked out in {proof.seconds:.1f} s: {proof.situations:,} situations, {proof.transitions:,} steps between them, "
            f"longest shortest way {proof.steps}"
        ),
        "",
        *_faults(proof),
        "Interlocks",
    ]
    for result in proof.interlocks:
        out += [_line(result), *_extra(result)]
    out += ["", "House rules"]
    for house in proof.house:
        told = {"broken": f"BROKEN, against the rule that {house.says}; found:", "waived": f"waived ({house.waived}): {house.says}; found:"}
        out.append(_wrapped(f"{house.name}: {told.get(house.outcome, f'{house.outcome}; {house.says}')}", "  ", "    "))
        out += [_wrapped(one, "    - ", "      ") for one in house.against[:6]]
        if len(house.against) > 6:
            out.append(f"    - and {len(house.against) - 6} more (all with --json)")
    out += _why(proof)
    for result in proof.interlocks:
        stories = [result.story, *(cut.story for cut in result.cuts)]
        for story in stories:
            if story is not None:
                out += ["", _wrapped(f"{result.name}: {result.text}"), *_story(story)]
    return "\n".join(out)


def _why(proof: Proof) -> list[str]:
    """What each permissive, trip and inhibit is for."""
    if not proof.why:
        return []
    out = ["", "Why each of them is there (without faults)"]
    for one in proof.why:
        what = {
            "needed": f"needed: without it {', '.join(one.rules)} breaks",
            "redundant": "nothing breaks without it: something else carries it too",
            "not shown": "not shown: the budget did not suffice to look at everything",
            "equivalent": "equivalent here: the same situations are reached without it",
        }[one.verdict]
        out.append(_wrapped(f"{one.where}, {one.what}: {what}", "  ", "    "))
    return out


def _faults(proof: Proof) -> list[str]:
    if not proof.depth:
        return []
    line = f"{proof.kinds} fault kinds, up to {proof.depth} at once: {proof.fault_sets:,} different sets, {proof.fault_situations:,} more situations"
    out = [_wrapped(line)]
    if proof.unfinished:
        first = ", ".join(" with ".join(some) for some in proof.unfinished[:3])
        out.append(_wrapped(f"NOT explored to the end for some rule, which says so: {len(proof.unfinished):,} sets ({first}, ...)"))
    return [*out, ""]


def _races(proof: Proof) -> list[str]:
    """The tightest race of each kind, and how many slower seconds it is also over before."""
    groups: dict[tuple[str, float], list[Race]] = {}
    for race in proof.races:
        groups.setdefault((race.first, race.first_most), []).append(race)
    out = [f"Rests on {len(proof.races)} races, each an assumption (all of them with --json); the tightest"]
    for same in groups.values():
        tightest = min(same, key=lambda race: race.second_least)
        more = f", and {len(same) - 1} longer" if len(same) > 1 else ""
        out.append(_wrapped(f"{tightest}{more}", "  - ", "    "))
    return out


def _extra(result: InterlockResult) -> list[str]:
    out = [_wrapped(one, "      ", "        ") for one in result.notes]
    out += [_wrapped(one, "      ", "        ") for one in cut_sets.lines(result)]
    out += [_wrapped(f"common cause {one}", "      ", "        ") for one in result.common[:6]]
    if result.top is not None:
        out.append(_wrapped(
            f"in one hour of exposure, by the file's rates: exact {result.top.exact:.3g}, min-cut bound {result.top.bound:.3g}, "
            f"rare-event {result.top.rare:.3g}; {result.top.without_rates} cut sets have no rates and are not in it", "      ", "        ",
        ))  # fmt: skip
        most = sorted(result.top.importance.items(), key=lambda one: -one[1])[:4]
        shares = ", ".join(f"{name} {share * 100:.0f} %" for name, share in most)
        out.append(_wrapped(f"through (Fussell-Vesely, rates independent): {shares}", "      ", "        "))
    return out


def _line(result: InterlockResult) -> str:
    mark = {"holds": "holds", "broken": "BROKEN", "waived": "waived", "not examined": "NOT EXAMINED", "not shown": "NOT SHOWN"}[result.outcome]
    line = f"{result.name}: {mark}; {result.level}" if not result.level.startswith("holds") else f"{result.name}: {result.level}"
    if result.waived:
        line += f" (waived: {result.waived})"
    return _wrapped(line, "  ", "    ")


def _story(story: Story) -> list[str]:
    out = [f"  with {', '.join(story.faults)}"] if story.faults else []
    out += [_wrapped(f"{line.says} [{line.state}]", f"  {n:2}. ", "      ") for n, line in enumerate(story.lines, 1)]
    if story.replay is not None:
        out.append(_wrapped(story.replay.says, "  ", "    "))
    return out
