"""Every row that can fire, and every edge of a table, on this machine and on both chips."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from sequencer.firmware import avr, cortex
from sequencer.firmware.conformance import difference, lockstep
from sequencer.firmware.coverage import Plan, never, plan
from sequencer.firmware.edges import Edges
from sequencer.firmware.host import HostMaker, library
from sequencer.firmware.reference import Operation, Reference, Sizes
from sequencer.firmware.toolchain import Compiler, Missing
from sequencer.table import Table
from tests.firmware.rich import rich_table


@pytest.fixture(scope="session")
def curlew_plan(curlew: Table) -> Plan:
    return plan(curlew)


def run(target: object, table: Table, operations: Iterable[Operation]) -> tuple[str, Reference]:
    reference = Reference(table)
    given, wanted = reference.run(operations, 1 << 30)
    got = target(given, len(given) // Sizes.of(table).operation)  # type: ignore[operator]  # a Target; makers differ by fixture
    return ("" if got == wanted else difference(table, given, wanted, got)), reference


@pytest.fixture(scope="module", params=["this machine", "Cortex-M0+", "AVR"])
def make(request: pytest.FixtureRequest, compiler: Compiler) -> object:
    """Maker of a target from a table."""
    try:
        if request.param == "this machine":
            return lambda table: HostMaker.of(table, library(table, compiler))()
        if request.param == "Cortex-M0+":
            return lambda table: cortex.CortexMaker(cortex.image(table), Sizes.of(table))()
        door = avr.simulator_library()
        return lambda table: avr.AvrMaker(avr.image(table), door, Sizes.of(table))()
    except Missing as error:
        pytest.skip(f"missing tool: {error.message}")


def test_every_row_of_curlew_fires_or_is_shown_to_be_unable_to(curlew: Table, curlew_plan: Plan) -> None:
    assert curlew_plan.missed == []
    assert curlew_plan.fired | set(curlew_plan.never) == set(range(len(curlew.rows)))
    assert not curlew_plan.fired & set(curlew_plan.never)
    assert len(curlew_plan.fired) > 4 * len(curlew_plan.never) and "still_rising is always false in armed" in curlew_plan.never.values()


def test_a_row_that_cannot_fire_does_not_in_a_long_campaign(curlew: Table, compiler: Compiler) -> None:
    reference = Reference(curlew)
    from sequencer.firmware.stimulus import Stimulus

    reference.run(Stimulus(curlew, 11, lambda: reference.state, set()), 60_000)
    assert len(reference.fired) > 60 and not reference.fired & set(never(curlew))
    assert lockstep(curlew, "host", HostMaker.of(curlew, library(curlew, compiler))(), 2000).agrees


def test_every_row_that_can_fire_fires_and_agrees_on_each_target(make: object, curlew: Table, curlew_plan: Plan) -> None:
    told, reference = run(make(curlew), curlew, curlew_plan.operations)  # type: ignore[operator]  # see `run`
    assert told == "" and reference.fired >= curlew_plan.fired


@pytest.mark.parametrize("which", ["curlew", "rich"])
def test_every_edge_agrees_on_each_target(which: str, make: object, curlew: Table) -> None:
    table = curlew if which == "curlew" else rich_table()
    told, reference = run(make(table), table, Edges(table, 600, silence=1000))  # type: ignore[operator]  # see `run`
    assert told == "" and reference.scans > 3000


def test_a_link_silent_for_longer_than_its_age_can_count_stays_silent(compiler: Compiler) -> None:
    table = rich_table()
    told, reference = run(HostMaker.of(table, library(table, compiler))(), table, Edges(table, 600))
    assert told == "" and reference.scans > 70_000
