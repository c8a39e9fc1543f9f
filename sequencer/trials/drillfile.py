"""What a campaign found, kept as drills: as text to paste, or in a copy of the user's file. The file itself is never touched."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sequencer.description import loads
from sequencer.description.crew import Drill
from sequencer.description.pad import Pad
from sequencer.errors import SequencerError
from sequencer.simulation import Run, simulate
from sequencer.trials.campaign import Found
from sequencer.trials.plan import drill_of, ranges, with_drill, with_values


@dataclass(frozen=True)
class Kept:
    """One finding as a drill. run: the drill replayed as `run --drill` replays it. again: whether the rule broke there."""

    name: str
    drill: Drill
    found: Found
    run: Run
    again: bool


def keep(pad: Pad, found: tuple[Found, ...]) -> tuple[Kept, ...]:
    """Each finding as a drill of its own name, replayed."""
    kept: list[Kept] = []
    taken = set(pad.drills)
    for one in found:
        name = _name(one.rule, taken)
        taken.add(name)
        drill = drill_of(one.plan, f"Found by shakedown: breaks {one.rule.replace('_', ' ')}.")
        run = simulate(with_drill(with_values(pad, one.plan.values), name, drill), drill=name, seed=one.plan.seed, trace=False)
        kept.append(Kept(name, drill, one, run, any(j.name == one.rule for j in run.broken)))
    return tuple(kept)


def _name(rule: str, taken: set[str]) -> str:
    base = f"found_{rule}"[:37]
    return next(n for n in (base, *(f"{base}_{i}" for i in range(2, 1000))) if n not in taken)


def snippet(kept: tuple[Kept, ...], pad: Pad, indent: int = 2) -> str:
    """The drills as lines that go under `drills:`."""
    import yaml

    lines: list[str] = []
    for one in kept:
        plain: dict[str, Any] = {"says": one.drill.says}
        if not one.drill.steps:
            plain["steps"] = "no"
        plain |= {key: list(getattr(one.drill, key)) for key in ("faults", "slips", "acts") if getattr(one.drill, key)}
        plain["seconds"] = str(one.drill.seconds)
        lines += _needs(one, pad)
        text = yaml.safe_dump({one.name: plain}, sort_keys=False, width=100, default_flow_style=False, allow_unicode=False)
        lines += text.replace("'no'", "no").splitlines()
    return "".join(f"{' ' * indent}{line}\n" for line in lines)


def _needs(one: Kept, pad: Pad) -> list[str]:
    """Comment lines: what a drill cannot say about itself."""
    lines = []
    if one.found.plan.seed:
        lines.append(f"# breaks with --seed {one.found.plan.seed}")
    known = ranges(pad)
    lines += [f"# needs {name}: {key}: {_written(known[name, key].text, known[name, key], value)}" for name, key, value in one.found.plan.values]
    return lines


_RANGE = re.compile(r"\S+(?P<unit>[^()]*?)\s*\(\s*(?P<low>\S+)(?P<lu>[^()]*?)\s+to\s+(?P<high>\S+)(?P<hu>[^()]*?)\s*\)\s*")


def _written(text: str, span: Any, value: float) -> str:
    """The range as the user wrote it, with another nominal number."""
    found = _RANGE.fullmatch(text)
    if found is None:
        return f"{value:.6g} in SI units, of {text}"
    low, high = float(found["low"]), float(found["high"])
    share = (value - span.low) / (span.high - span.low)
    unit = found["unit"].rstrip() or found["hu"].rstrip()
    return f"{low + share * (high - low):.6g}{unit} ({found['low']}{found['lu']} to {found['high']}{found['hu']})"


def copy_with(pad: Pad, kept: tuple[Kept, ...]) -> str:
    """The text of the file with the drills added, and with the one value changed where a single finding needs it.

    Raises SequencerError where the text is laid out so that this cannot be done by adding lines.
    """
    lines = pad.text.splitlines(keepends=True)
    if lines and not lines[-1].endswith("\n"):
        lines[-1] += "\n"
    if len(kept) == 1:
        _set_values(pad, kept[0], lines)
    head = next((i for i, line in enumerate(lines) if re.fullmatch(r"drills:\s*(#.*)?\n", line)), None)
    if head is None:
        lines += ["\n", "drills:\n", snippet(kept, pad)]
    else:
        after = next((line for line in lines[head + 1 :] if line.strip() and not line.lstrip().startswith("#")), "")
        indent = len(after) - len(after.lstrip()) or 2
        lines.insert(head + 1, snippet(kept, pad, indent))
    text = "".join(lines)
    try:
        again = loads(text, pad.file)
    except SequencerError as error:
        raise SequencerError(f"{pad.file}: the drills cannot be added by lines alone; paste them by hand ({error.message})") from error
    if any(one.name not in again.drills for one in kept):
        raise SequencerError(f"{pad.file}: the drills cannot be added by lines alone; paste them by hand")
    return text


def _set_values(pad: Pad, one: Kept, lines: list[str]) -> None:
    known = ranges(pad)
    for name, key, value in one.found.plan.values:
        span, place = known[name, key], pad.place("site", name, key)
        line = lines[place.line - 1]
        lines[place.line - 1] = line[: place.column - 1] + line[place.column - 1 :].replace(span.text, _written(span.text, span, value), 1)


def write_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet; raises SequencerError when it is."""
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise SequencerError(f"{path}: there is a file already; nothing is overwritten, choose another name") from None



