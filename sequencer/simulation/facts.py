"""Statements about the pad as quick functions of the moment.

Facts about commands, state and condition bits are judged here from what the box wrote; facts about the
world are asked of the world. One statement becomes one compiled expression.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Protocol

from sequencer.description import terms as t
from sequencer.description.grounds import LinePart
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.table import Table

Statement = Callable[[tuple[int, ...], int, int], bool]
"""(codes commanded, state or -1 while the box is off, condition bits) -> is it true now."""


class Judge(Protocol):
    """What is needed of the world to judge a fact."""

    def judge(self, fact: Any) -> Callable[[], bool]: ...


class Facts:
    """Compiles statements for one pad, one table and one world."""

    def __init__(self, pad: Pad, table: Table, world: Judge) -> None:
        self.pad, self.table, self.world = pad, table, world

    def statement(self, expression: t.Expression) -> Statement:
        """The statement as a function; raises SequencerError for a leaf that names nothing of this pad."""
        names: dict[str, Any] = {}
        made: Statement = eval(f"lambda cmd, state, bits: {self._text(expression, names)}", names)
        return made

    def statements(self, expressions: Iterable[t.Expression]) -> Callable[[tuple[int, ...], int, int], tuple[bool, ...]]:
        """Several statements as one function that gives all their values."""
        names: dict[str, Any] = {}
        texts = ", ".join(f"bool({self._text(expression, names)})" for expression in expressions)
        made: Callable[[tuple[int, ...], int, int], tuple[bool, ...]] = eval(f"lambda cmd, state, bits: ({texts}{',' if texts else ''})", names)
        return made

    def _text(self, expression: t.Expression, names: dict[str, Any]) -> str:
        if isinstance(expression, t.Not):
            return f"(not {self._text(expression.item, names)})"
        if isinstance(expression, t.And | t.Or):
            if not expression.items:
                return str(isinstance(expression, t.And))
            word = " and " if isinstance(expression, t.And) else " or "
            items = sorted(expression.items, key=_cost)  # cheap ones first: order cannot matter
            return "(" + word.join(self._text(item, names) for item in items) + ")"
        return self._leaf(expression, names)

    def _leaf(self, fact: t.Expression, names: dict[str, Any]) -> str:
        table, pad = self.table, self.pad
        if isinstance(fact, t.CommandedTo) and fact.output in pad.outputs:
            positions = pad.output_positions[fact.output]
            if fact.position not in positions:
                raise SequencerError(f"'{fact.output}' has no position '{fact.position}'; it has {', '.join(positions)}")
            sign = "==" if fact.wanted else "!="
            return f"(cmd[{table.output_index(fact.output)}] {sign} {positions.index(fact.position)})"
        if isinstance(fact, t.StateIs):
            return f"(state {'==' if fact.wanted else '!='} {table.state_index(fact.state)})"
        if isinstance(fact, t.PeopleAllowed):
            allowed = tuple(i for i, state in enumerate(pad.states.values()) if state.people == "allowed")
            return f"((state in {allowed}) is {fact.wanted})"
        if isinstance(fact, t.BoxSays):
            return f"((state >= 0 and bits >> {table.bit_index(fact.condition)} & 1) {'!=' if fact.wanted else '=='} 0)"
        if isinstance(fact, t.CommandedTo) and isinstance(pad.site.get(fact.output), LinePart):
            fact = t.LineIs(fact.output, (fact.position == "open") == fact.wanted)
        name = f"f{len(names)}"
        names[name] = self.world.judge(fact)
        return f"{name}()"


def _cost(expression: t.Expression) -> int:
    """How dear a leaf is to judge: commands and states cost nothing, the world a call."""
    return 0 if isinstance(expression, t.CommandedTo | t.StateIs) else 2 if isinstance(expression, t.And | t.Or | t.Not) else 1
