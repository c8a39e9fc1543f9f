"""Write a file's table for the microcontroller, and show how far it agrees with the Python scan."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from sequencer.description import Pad
from sequencer.errors import DoesNotFit
from sequencer.firmware import avr, cortex
from sequencer.firmware.builder import hazardous, readme
from sequencer.firmware.c_table import header_text, source_text
from sequencer.firmware.conformance import Agreement, lockstep_in_parts
from sequencer.firmware.edges import Edges
from sequencer.firmware.figures import Figures, avr_figures, cortex_figures
from sequencer.firmware.host import HostMaker, library
from sequencer.firmware.listing import causes_csv, conditions_csv, plain, rows_csv, states_csv
from sequencer.firmware.reference import Sizes
from sequencer.firmware.toolchain import Missing, around_texts, format_text, host_compiler, runtime_texts
from sequencer.table import Table, compile_table
from sequencer.table.image import encode, identity

FORMS = ("c", "csv", "json")
HOST_SCANS, CHIP_SCANS = 1_000_000, 100_000  # drawn; those that stand on the table's edges come on top
CHIP_SILENCE = 1000  # scans


@dataclass(frozen=True)
class Exported:
    """What was written and what was compared."""

    title: str
    revision: int
    checksum: str
    table_bytes: int
    states: int
    rows: int
    conditions: int
    scan_ms: int
    folder: Path
    files: list[str] = field(default_factory=list)
    verified: bool = False
    agreements: list[Agreement] = field(default_factory=list)
    figures: list[Figures] = field(default_factory=list)
    not_run: list[str] = field(default_factory=list)  # targets that were not tried, each with its reason

    @property
    def fine(self) -> bool:
        """True unless something was compared and differed, or verification was asked for and none was done."""
        compared = all(agreement.agrees for agreement in self.agreements)
        return compared and (not self.verified or bool(self.agreements))


def texts(pad: Pad, table: Table, form: str) -> dict[str, str]:
    """The files of one form, {name: text}; raises DoesNotFit for what the form cannot carry."""
    if form == "c":
        return {
            **runtime_texts(), **around_texts(), "follow_table.h": header_text(table, hazardous(pad)),
            "follow_table.c": source_text(table), "README.md": readme(pad, table), "FORMAT.md": format_text(),
            "description.yaml": pad.text,
        }  # fmt: skip
    if form == "csv":
        return {
            "rows.csv": rows_csv(pad, table), "states.csv": states_csv(pad, table),
            "conditions.csv": conditions_csv(pad, table), "causes_and_effects.csv": causes_csv(table),
        }  # fmt: skip
    if form == "json":
        return {"table.json": json.dumps(plain(pad, table), indent=1, ensure_ascii=False) + "\n"}
    raise DoesNotFit(f"there is no form '{form}'; known: {', '.join(FORMS)}")


def export(pad: Pad, forms: Sequence[str], folder: Path, verify: bool = False, seed: int = 0) -> Exported:
    """Write the forms asked for into `folder` (made if need be), and compare with the Python scan if asked.

    The same file gives the same bytes. Raises DoesNotFit, DoesNotBuild; OSError where the folder cannot be written.
    """
    table = compile_table(pad)
    image = encode(table)
    written: dict[str, str] = {}
    for form in forms:
        written |= texts(pad, table, form)
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in written.items():
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    agreements: list[Agreement] = []
    figures: list[Figures] = []
    not_run: list[str] = []

    def tried(what: str, work: Callable[[], None]) -> None:
        try:
            work()
        except Missing as error:
            not_run.append(f"{what}: {error.message}")

    if verify:
        tried("this machine", lambda: agreements.append(_on_host(table, seed)))
        tried("Cortex-M0+", lambda: agreements.append(_on_cortex(table, seed)))
        tried("AVR", lambda: agreements.append(_on_avr(table, seed)))
    if "c" in forms:
        tried("figures for Cortex-M0+", lambda: figures.append(cortex_figures(table, 4)))
        tried("figures for AVR", lambda: figures.append(avr_figures(table, 400, bounded=verify)))
    return Exported(
        table.title, table.revision, f"{identity(image):08X}", len(image), len(table.states),
        len(table.rows), len(table.bits), table.scan_ms, folder, sorted(written), verify, agreements, figures, not_run,
    )  # fmt: skip


def _on_host(table: Table, seed: int) -> Agreement:
    compiler = host_compiler()
    maker = HostMaker.of(table, library(table, compiler))
    return lockstep_in_parts(table, f"this machine ({compiler.name})", maker, HOST_SCANS, seed, Edges(table))


def _on_cortex(table: Table, seed: int) -> Agreement:
    maker = cortex.CortexMaker(cortex.image(table), Sizes.of(table))
    maker()  # tells here, not in another process, when the emulator is missing
    return lockstep_in_parts(table, "Cortex-M0+, emulated", maker, CHIP_SCANS, seed, Edges(table, silence=CHIP_SILENCE))


def _on_avr(table: Table, seed: int) -> Agreement:
    path = avr.image(table)
    maker = avr.AvrMaker(path, avr.simulator_library(), Sizes.of(table))
    return lockstep_in_parts(table, "AVR (ATmega328P), simulated", maker, CHIP_SCANS, seed, Edges(table, silence=CHIP_SILENCE))
