"""Tables at the format's limits through every target, and what lies behind the limits is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from sequencer.errors import DoesNotFit
from sequencer.firmware import avr, cortex
from sequencer.firmware.conformance import difference
from sequencer.firmware.host import HostMaker, library
from sequencer.firmware.reference import Reference, Sizes
from sequencer.firmware.stimulus import Stimulus
from sequencer.firmware.toolchain import Compiler, Missing
from sequencer.table import Table
from sequencer.table.decode import decode
from sequencer.table.image import encode
from sequencer.table.records import LIMITS
from tests.firmware.format_reader import read
from tests.firmware.largest import largest_table


def trial(table: Table, scans: int) -> tuple[bytes, bytes]:
    """Operations and traces, from scan.py itself."""
    reference = Reference(table, plain=True)
    return reference.run(Stimulus(table, 1, lambda: reference.state, reference.fired), scans)


def agree(table: Table, target: object, scans: int) -> str:
    given, wanted = trial(table, scans)
    got = target(given, len(given) // Sizes.of(table).operation)  # type: ignore[operator]  # a Target
    return "" if got == wanted else difference(table, given, wanted, got)


@pytest.fixture(scope="module")
def whole() -> Table:
    """Close to the greatest image: 64 KB less one part in twenty."""
    return largest_table(1, 56)


def test_the_largest_table_is_whole_in_its_image(whole: Table) -> None:
    image = encode(whole)
    assert 0.9 * LIMITS["bytes"] < len(image) <= LIMITS["bytes"]
    found, back = read(image), decode(image)
    assert len(found["states"][0]["rows"]) == LIMITS["rows in a state"] and len(found["conditions"]) == LIMITS["bits"]
    assert [len(s["rows"]) for s in found["states"]] == [s.end_row - s.first_row for s in whole.states]
    assert [(r.care, r.want, r.least, r.to) for r in back.rows] == [(r.care, r.want, r.least, r.to) for r in whole.rows]
    assert encode(back) == image


def test_the_largest_table_agrees_on_this_machine(whole: Table, compiler: Compiler) -> None:
    assert agree(whole, HostMaker.of(whole, library(whole, compiler, ("-O1",)))(), 1500) == ""


def test_the_largest_table_agrees_on_a_cortex_m0(whole: Table) -> None:
    try:
        target = cortex.CortexMaker(cortex.image(whole), Sizes.of(whole))()
    except Missing as error:
        pytest.skip(error.message)
    assert agree(whole, target, 400) == ""


def test_the_largest_table_that_an_avrs_flash_holds_agrees_there() -> None:
    table = largest_table(2, 8, delay=40)
    try:
        target = avr.AvrMaker(avr.image(table), avr.simulator_library(), Sizes.of(table))()
    except Missing as error:
        pytest.skip(f"missing tool: {error.message}")
    assert len(encode(table)) > 20_000
    assert agree(table, target, 400) == ""


def test_one_more_of_anything_is_refused(whole: Table) -> None:
    for part, what in (("contacts", "contacts"), ("outputs", "outputs"), ("bits", "bits"), ("states", "states"), ("inhibits", "inhibits")):
        items = getattr(whole, part)
        with pytest.raises(DoesNotFit, match=f"the number of {what} is {len(items) + 1}"):
            encode(replace(whole, **{part: (*items, items[-1])}))
    with pytest.raises(DoesNotFit, match="3 \\* \\(analogs"):
        encode(replace(whole, analogs=(*whole.analogs, whole.analogs[0])))
    with pytest.raises(DoesNotFit, match="size of the image"):
        encode(largest_table(1, 64))
