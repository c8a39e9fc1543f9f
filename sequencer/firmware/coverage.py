"""A plan that fires every row that can fire, and for each other row the reason why it cannot.

The plan is made once per table on the Python scan, by trying: bring the conditions about in a state that lets them
ripen, place the box in the row's state, give the last input. What fired the row there is kept, and every target then
runs the same operations.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from dataclasses import dataclass, field
from random import Random

from sequencer.firmware.reference import PLACE, SCAN, Operation
from sequencer.firmware.wishes import Wish, wishes_for
from sequencer.table import Inputs, Kind, Memory, Table, power_up
from sequencer.table.fast import Controller
from sequencer.table.table import NO_TARGET, Literals

TRIES = 100  # per row and round; more find nothing more in the example files


@dataclass
class Plan:
    """Operations from a reset on, the rows they fire, and why the others do not."""

    operations: list[Operation] = field(default_factory=list)
    fired: set[int] = field(default_factory=set)
    never: dict[int, str] = field(default_factory=dict)
    missed: list[int] = field(default_factory=list)  # neither fired nor shown to be unable to

    @property
    def scans(self) -> int:
        return sum(o.times for o in self.operations if o.kind == SCAN)


def never(table: Table) -> dict[int, str]:
    """Rows that no run can fire, each with the reason, from what is so in every scan that begins in the row's state."""
    found = {}
    for s, state in enumerate(table.states):
        known = _known(table, s)
        for n in range(state.first_row, state.end_row):
            row = table.rows[n]
            wrong = [i for i, value in known.items() if row.care >> i & 1 and bool(row.want >> i & 1) != value]
            if wrong:
                value = "true" if known[wrong[0]] else "false"
                found[n] = f"{table.bits[wrong[0]].name} is always {value} in {state.name}"
                continue
            for k in range(state.first_row, n):
                before = table.rows[k]
                if before.least <= row.least and before.care & ~row.care == 0 and row.want & before.care == before.want:
                    found[n] = f"row {k} holds whenever it would, and is looked at first"
                    break
    return found


def _known(table: Table, s: int) -> dict[int, bool]:
    """Bits with one value in every scan that begins in state `s`, from the second scan of a run on."""
    known: dict[int, bool] = {}
    state = table.states[s]
    for i, bit in enumerate(table.bits):
        value: bool | None = None
        if bit.kind == Kind.STATE:
            value = (bit.source == s) == bit.wanted
        elif bit.kind == Kind.COMMAND:
            codes = {state.outputs[bit.source]} | {item.position for item in table.inhibits if item.output == bit.source}
            if s == 0:
                codes.add(table.outputs[bit.source].idle)
                codes.add(table.outputs[bit.source].rest or 0)
            truths = {(code == bit.on) == bit.wanted for code in codes}
            value = truths.pop() if len(truths) == 1 else None
        elif bit.kind == Kind.TARGET and state.targets[bit.source] == NO_TARGET:
            known[i] = False  # at once, also through its delays
            continue
        elif bit.kind == Kind.CHANGE and known.get(bit.second) is False:
            known[i] = False
            continue
        elif bit.kind == Kind.ALL:
            value = _list_value(bit.set, known)
        if value is not None and not (bit.drop if not value else bit.hold):
            known[i] = value
    return known


def _list_value(rule: Literals, known: dict[int, bool]) -> bool | None:
    values = [known[i] == bool(rule.want >> i & 1) if i in known else None for i in range(rule.care.bit_length()) if rule.care >> i & 1]
    plain = False if False in values else None if None in values else True
    return None if plain is None else plain != rule.invert


class _Planner:
    def __init__(self, table: Table, seed: int) -> None:
        self.table, self.random = table, Random(seed)
        self.steady = max([c.steady for c in table.contacts], default=0)
        self.stand = self.steady + 2 + max([b.hold for b in table.bits if b.kind == Kind.CONTACT], default=0)
        self.inputs = Inputs((0,) * len(table.contacts), tuple(a.low for a in table.analogs), (1,) * len(table.heartbeats))
        self.memory, self.at, self.last = power_up(table), 0, self.inputs
        self.few = sorted(range(len(table.states)), key=lambda s: table.states[s].end_row - table.states[s].first_row)

    def run(self, operations: Iterator[Operation], row: int | None) -> tuple[list[Operation], Memory, set[int]]:
        """Carry out operations on a copy, up to the one in which `row` fires."""
        memory, done, fired = self.memory, list[Operation](), set[int]()
        controller = Controller(self.table, memory)
        for operation in operations:
            if operation.kind == PLACE:
                for _ in range(5):  # as Reference does: no place right behind a move
                    if not controller.memory.settled or controller.memory.timer:
                        break
                    controller.step(self.last)
                    done.append(Operation(SCAN, self.last))
                memory = controller.memory._replace(state=operation.state, timer=operation.timer)
                if operation.timer == 0:
                    raise ValueError("a plan places with a timer of 1 or more")
                controller = Controller(self.table, memory)
                self.at = operation.state
                done.append(operation)
                continue
            times, self.last = 0, operation.inputs
            for _ in range(operation.times):
                times += 1
                move = controller.step(operation.inputs)
                if move is not None:
                    fired.add(move.row)
                    if move.row == row or operation.times > 40:  # away from where it should ripen: go on with the rest
                        break
            self.at = controller.state
            done.append(Operation(SCAN, operation.inputs, times))
            if row in fired:
                break
        return done, controller.memory, fired

    def attempt(self, row: int, quick: bool) -> Iterator[Operation]:
        table, random = self.table, self.random
        spec = table.rows[row]
        *before, wish = wishes_for(table, random, row, quiet=True)
        contacts, counts, heard = (list(part) for part in self.inputs)
        place = random.choice((spec.state, self.few[0], self.few[random.randrange(min(4, len(self.few)))]))
        for one in before:
            yield from self.ripen(one, self.few[0] if one.state is None else one.state, contacts, counts, heard, one.length + 2)
        length = random.choice((0, min(wish.length, self.steady + 3))) if quick else wish.length + random.choice((0, 1, 2, 30))
        ripens = [b for i, b in enumerate(table.bits) if spec.care >> i & 1 and b.kind == Kind.CHANGE]
        if ripens and not quick:  # only where the bit it counts from can be true; and placed away just before it is ripe
            base = table.bits[ripens[0].second]
            there = [s for s, state in enumerate(table.states) if base.kind == Kind.COMMAND and state.outputs[base.source] == base.on]
            place = spec.state if spec.state in there or not there else random.choice(there)
            length = ripens[0].off + 1 if place == spec.state else ripens[0].off - random.choice((0, 1, 2))
            # the contacts stand before, elsewhere: where one of them moves the box away, nothing is counted
            yield from self.ripen(wish, next(s for s in self.few if s != place), contacts, counts, heard, self.stand)
            yield Operation(PLACE, state=place, timer=1)
            yield Operation(SCAN, Inputs(tuple(contacts), tuple(counts), tuple(heard)), 2)
        ends = yield from self.ripen(wish, place, contacts, counts, heard, length)
        if place != spec.state or spec.least or self.at != spec.state:
            timer = max(1, spec.least - random.choice((0, 1, self.steady + 2))) if spec.least else 1
            yield Operation(PLACE, state=spec.state, timer=timer)
        if wish.presses:
            yield Operation(SCAN, Inputs(tuple(contacts), tuple(counts), tuple(heard)), self.steady + 2)
        for i, value in ends.items():
            counts[i] = value
        for i, value in wish.presses.items():
            contacts[i] = value
        self.inputs = Inputs(tuple(contacts), tuple(counts), tuple(heard))
        yield Operation(SCAN, self.inputs, 1)
        yield Operation(SCAN, self.inputs, self.steady + 4)

    def ripen(
        self, wish: Wish, place: int, contacts: list[int], counts: list[int], heard: list[int], length: int
    ) -> Generator[Operation, None, dict[int, int]]:
        """Give the levels of a wish in `place`; returns the counts that come at its end."""
        levels, ends = wish.readings(self.table, self.random)
        for given, held in ((wish.contacts, contacts), (levels, counts), (wish.heard, heard)):
            for i, value in given.items():
                held[i] = value
        for i, value in wish.presses.items():
            contacts[i] = 1 - value
        inputs = Inputs(tuple(contacts), tuple(counts), tuple(heard))
        if self.at != place:
            yield Operation(PLACE, state=place, timer=1)
        left = length
        while left > 0:
            part = min(left, 1000)
            yield Operation(SCAN, inputs, part)
            left -= part
            if self.at != place:
                yield Operation(PLACE, state=place, timer=1)
        return ends


def plan(table: Table, seed: int = 1) -> Plan:
    """The plan of a table; the same for the same table and seed."""
    made, planner = Plan(never=never(table)), _Planner(table, seed)
    todo = [n for n in range(len(table.rows)) if n not in made.never]

    def attempt(row: int, quick: bool) -> bool:
        inputs, last, planner.at = planner.inputs, planner.last, planner.memory.state
        done, memory, fired = planner.run(planner.attempt(row, quick), row)
        if row not in fired:
            planner.inputs, planner.last = inputs, last
            return False
        planner.memory = memory
        made.operations += done
        made.fired |= fired
        return True

    first, planner.memory, _ = planner.run(iter([Operation(SCAN, planner.inputs, planner.steady + 2)]), None)
    made.operations += first
    for tries in (4, TRIES):
        for row in todo:
            if row in made.fired:
                continue
            for n in range(tries):
                if attempt(row, quick=n % 2 == 0):
                    break
            else:
                continue
            for other in todo:  # what has ripened for this row may serve others
                if other not in made.fired:
                    attempt(other, quick=True)
    made.missed = [n for n in todo if n not in made.fired]
    return made
