"""pytest plugin: `pytest --pad configs/` makes every interlock, drill, line of the checklist and finding a test item.

Nothing heavy is imported, and nothing is collected, unless `--pad` is given or `pad_files` is set in the
configuration. A file named by `--pad` is taken whatever its name; of a folder every .yaml and .yml file is. Where
`--pad` is given and no path beside it, only those files are run. In pytest.ini, `pad_files = *.pad.yaml` collects
files by name without `--pad`.
"""

from __future__ import annotations

import fnmatch
import re
from collections.abc import Callable, Iterable, Iterator
from functools import cached_property, partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from sequencer.crew.slips import Slip
    from sequencer.description.pad import Pad
    from sequencer.errors import Finding
    from sequencer.proof.result import InterlockResult
    from sequencer.trials.plan import Plan
    from sequencer.trials.probe import Trial

ENDINGS = {".yaml", ".yml"}
LAST = 20
"""Lines of a run that are told with a failure."""


def pytest_addoption(parser: pytest.Parser) -> None:
    group = parser.getgroup("pad", "launch pads described in a file (sequencer)")
    group.addoption("--pad", action="append", default=[], metavar="PATH", help="file or folder of pads to test; may be repeated")
    group.addoption("--pad-faults", type=int, default=None, metavar="N", help="faults at once in the proof (default: as many as any rule is asked to withstand)")
    group.addoption("--pad-runs", type=int, default=0, metavar="N", help="trials of a shakedown of each pad (default 0: none)")
    parser.addini("pad_files", "patterns of file names that are pads, collected without --pad", type="args", default=[])


def pytest_configure(config: pytest.Config) -> None:
    pads = _named(config)
    missing = [str(path) for path in pads if not path.exists()]
    if missing:
        raise pytest.UsageError(f"--pad: there is no {', '.join(missing)}")
    if pads:
        named = config.args_source == pytest.Config.ArgsSource.ARGS
        config.args = [*(config.args if named else []), *(str(path) for path in pads)]


def _named(config: pytest.Config) -> list[Path]:
    return [(config.invocation_params.dir / given).resolve() for given in config.getoption("--pad")]


def _is_pad(config: pytest.Config, path: Path) -> bool:
    named = _named(config)
    if path in named:
        return True
    if path.suffix in ENDINGS and any(folder in path.parents for folder in named):
        return True
    return any(fnmatch.fnmatch(path.name, pattern) for pattern in config.getini("pad_files"))


def pytest_collect_file(file_path: Path, parent: pytest.Collector) -> PadFile | None:
    if (parent.config.getoption("--pad") or parent.config.getini("pad_files")) and _is_pad(parent.config, file_path.resolve()):
        made: PadFile = PadFile.from_parent(parent, path=file_path)
        return made
    return None


class PadFailure(Exception):
    """An item's failure; its text is what the report shows."""


class PadFile(pytest.File):
    """One file that describes a pad. What several items need is worked out once, when the first of them runs."""

    def collect(self) -> Iterator[pytest.Item]:
        from sequencer.description import load
        from sequencer.description.reading import read_critically
        from sequencer.errors import SequencerError

        try:
            self.pad: Pad = load(str(self.path))
        except SequencerError as error:
            text = str(error)
            yield self._item("reads", lambda: text, ())
            return
        found = [one for one in read_critically(self.pad) if one.severity != "note"]
        yield self._item("reads", lambda: "", ())
        for number, one in enumerate(found):
            again = sum(other.name == one.name for other in found[:number])
            name = f"finding[{one.name}{f' {again + 1}' if again else ''}]"
            yield self._item(name, partial(_finding, one), (), one.place.line)
        yield from self._items()

    def _items(self) -> Iterator[pytest.Item]:
        from sequencer.crew.slips import KINDS

        pad = self.pad
        for name in pad.interlocks:
            yield self._item(f"interlock[{name}]", partial(self._interlock, name), ("interlocks", name))
        if pad.crew.steps:
            yield self._item("day", partial(self._run, None), ("crew", "steps"))
        for name in pad.drills:
            yield self._item(f"drill[{name}]", partial(self._run, name), ("drills", name))
        for number, step in enumerate(pad.crew.steps, 1):
            for kind in KINDS:
                if kind != "swap" or number < len(pad.crew.steps):
                    made = self._item(f"step[{number} {kind}]", partial(self._slip, number, kind), ("crew", "steps", number - 1))
                    made.user_properties.append(("step", step.do))
                    yield made
        runs = self.config.getoption("--pad-runs")
        if runs and pad.interlocks:
            yield self._item(f"shakedown[{runs}]", partial(self._shakedown, runs), ("interlocks",))

    def _item(self, name: str, judge: Callable[[], str], path: tuple[str | int, ...], line: int = 0) -> PadItem:
        at = line or (self.pad.place(*path).line if path else 0)
        made: PadItem = PadItem.from_parent(self, name=name, judge=judge, line=at)
        return made

    # ---- what items ask -----------------------------------------------------------------------

    @cached_property
    def proof(self) -> dict[str, InterlockResult]:
        """{interlock: its verdict}, or raises PadFailure for a pad too large to prove."""
        from sequencer.errors import SequencerError
        from sequencer.proof.prove import Options, prove

        asked = [rule.withstand.equipment + rule.withstand.slips for rule in self.pad.interlocks.values()]
        given = self.config.getoption("--pad-faults")
        try:
            made = prove(self.pad, Options(faults=max(asked, default=0) if given is None else given))
        except SequencerError as error:
            raise PadFailure(str(error)) from None
        return {one.name: one for one in made.interlocks}

    def _interlock(self, name: str) -> str:
        found = self.proof[name]
        if found.outcome in ("holds", "waived"):
            return ""
        story = found.story or next((cut.story for cut in found.cuts if cut.story), None)
        lines = [f"{found.text}", f"{found.outcome}: {found.level}", f"why it is there: {found.why}"]
        if story is not None:
            faults = f" with {' and '.join(story.faults)}" if story.faults else ""
            lines += [f"the shortest way there{faults}:", *(f"  {i:>2}. {one.actor}: {one.says} [{one.state}]" for i, one in enumerate(story.lines, 1))]
            lines += [story.replay.says] if story.replay else []
        return _folded(lines)

    def _run(self, drill: str | None) -> str:
        from sequencer.simulation import simulate

        run = simulate(self.pad, crew=True, drill=drill, trace=False)
        if run.verdict == "pass":
            return ""
        told = []
        for line in run.lines:
            why = f" ({'; '.join(line.why)})" if line.kind == "box" and line.why else ""
            told.append((line.ms, f"{line.who}: {'FAULT ' if line.kind == 'fault' else ''}{line.what}{why}"))
        told += [(one.ms, f"BROKEN {one.name}") for one in run.broken if one.ms is not None]
        told.sort(key=lambda one: one[0])  # stable: what was told stays in its order
        last = [f"  {ms / 1000:8.2f} s  {what}" for ms, what in told[-LAST:]]
        return _folded([*run.against, "the last lines of the run:", *last])

    @cached_property
    def slips(self) -> dict[tuple[int, str], Slip]:
        """What every line of the checklist done wrong comes to."""
        from sequencer.crew.slips import slips

        return {(one.number, one.kind): one for one in slips(self.pad).slips}

    def _slip(self, number: int, kind: str) -> str:
        one = self.slips[number, kind]
        if not one.asked:
            return ""
        done = f"line {number} '{self.pad.crew.steps[number - 1].do}', {kind}: {one.says}"
        return _folded([done, f"asked to withstand a slip: {', '.join(one.asked)}"])

    def _shakedown(self, runs: int) -> str:
        from sequencer.trials.campaign import Budget, shake
        from sequencer.trials.drillfile import keep
        from sequencer.trials.story import failure

        kept = keep(self.pad, shake(self.pad, Budget(runs), jobs=1).failures)
        return "\n".join(line for number, one in enumerate(kept, 1) for line in failure(self.pad, one, number))


class PadItem(pytest.Item):
    """One question about a pad. `judge()` gives '' or what is wrong."""

    def __init__(self, *, judge: Callable[[], str], line: int, **more: Any) -> None:
        super().__init__(**more)
        self.judge, self.line = judge, line

    def runtest(self) -> None:
        wrong = self.judge()
        if wrong:
            raise PadFailure(wrong)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        if isinstance(excinfo.value, PadFailure):
            return f"{excinfo.value}\nat {self.path}{f':{self.line}' if self.line else ''}"
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int | None, str]:
        return self.path, self.line - 1 if self.line else None, self.name


def _finding(one: Finding) -> str:
    lines = [f"{one.severity}: {one.found} [{one.name}]"]
    lines += [f"required: {one.required}"] if one.required else []
    return _folded([*lines, f"to mend:  {one.mend}"] if one.mend else lines)


def _folded(lines: Iterable[str]) -> str:
    """Lines of at most 80 columns; what goes on stands under what it goes on with."""
    import textwrap

    folded: list[str] = []
    for line in lines:
        head = re.match(r" *(?:\d+\. |\d+\.\d\d s  |required: |to mend:  )?", line)
        deeper = " " * (len(head.group()) if head else 0)
        folded += textwrap.wrap(line, 80, subsequent_indent=deeper or "  ", break_on_hyphens=False, break_long_words=False, drop_whitespace=True) or [""]
    return "\n".join(folded)


# ---- for users' own tests ---------------------------------------------------------------------


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "described_pad" in metafunc.fixturenames and metafunc.config.getoption("--pad"):
        files = [file for path in _named(metafunc.config) for file in ([path] if path.is_file() else _inside(path))]
        metafunc.parametrize("described_pad", files, indirect=True, ids=[file.name for file in files], scope="session")


def _inside(folder: Path) -> list[Path]:
    return sorted(file for file in folder.rglob("*") if file.suffix in ENDINGS)


@pytest.fixture(scope="session")
def described_pad(request: pytest.FixtureRequest) -> Pad:
    """The pad of each file named by `--pad`, one after the other. For `sequencer.trials.strategies` and `simulate`."""
    from sequencer.description import load

    if not hasattr(request, "param"):
        pytest.fail("this test wants a pad: run it with --pad FILE", pytrace=False)
    return load(str(request.param))


@pytest.fixture(scope="session")
def play_day(described_pad: Pad) -> Callable[[Plan], Trial]:
    """`play_day(day)` plays a day drawn from `strategies.days(described_pad)`, every interlock watched."""
    from sequencer.table import compile_table
    from sequencer.trials.menu import menu
    from sequencer.trials.probe import probe

    table = compile_table(described_pad)
    found = menu(described_pad, table)
    return lambda day: probe(described_pad, table, found, day, 20 * 60_000)
