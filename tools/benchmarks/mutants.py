"""mutants of the demo files: who notices each, beside those shown to be the same pad; the aim is that none escapes.

tools/bench mutants [--file NAME] [--each N] [--runs N] [--jobs N] [--fresh]

Derives every mutant of configs/*.yaml by the operators of tools/mutants: a permissive dropped, a literal turned round,
a trip missing a state, a timer halved, a rule swapped and so on. What is presentation only (says, see, why, phases,
cards' words) is changed by no operator. All mutants of the three small files and a sample of the large one, spread
evenly over operators and places, are judged, cheapest first: the reader, check, the plain day, prove, prove with
single faults, the drills, steps, shakedown. Something must speak against the mutant that did not speak against the
original; a mere difference does not count; where nothing does and a mistake planted in the original is gone, that is
told. Answers are kept in build/mutants and used again while program and file are the same; after a change whoever
noticed a mutant last time is asked first (--fresh: neither). Prints the score, by whom, and every mutant that escapes.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
EACH = {"club": 0, "bench": 0, "planted_logic": 0, "curlew": 64}
"""How many of each file; 0: all."""


def chosen(found: list[tuple[str, str]], each: int) -> list[tuple[str, str]]:
    """`each` of them, evenly spread over all operators and places; all of them for 0."""
    if not each or each >= len(found):
        return found
    return [found[i * len(found) // each] for i in range(each)]


def main(arguments: list[str]) -> int:
    from mutants.crowd import Kept, judged, sources
    from mutants.judge import MENDED, NOBODY, SAME, STAGES, How, Judge
    from mutants.operators import mutants, plain, written

    from sequencer.trials.crowd import jobs_here

    hows = {"club": How(singles=True, steps=True), "bench": How(singles=True, steps=True), "planted_logic": How(singles=True), "curlew": How(singles=True, budget=6_000_000)}
    parser = argparse.ArgumentParser(prog="tools/bench mutants", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--file", action="append", choices=EACH, help="only this one (repeatable)")
    parser.add_argument("--each", type=int, help="so many of each file, 0 for all")
    parser.add_argument("--runs", type=int, default=40, help="runs of shakedown per mutant that nothing else notices, 0 for none")
    parser.add_argument("--jobs", type=int, default=jobs_here())
    parser.add_argument("--fresh", action="store_true", help="use no kept answers")
    parser.add_argument("--all", action="store_true", help="tell of every mutant who noticed it, and by what")
    asked = parser.parse_args(arguments)
    program, total, escaped = sources(), Counter[str](), []
    for name in asked.file or EACH:
        begun = time.monotonic()
        text = (ROOT / "configs" / f"{name}.yaml").read_text(encoding="utf-8")
        found = mutants(text)
        some = chosen(found, EACH[name] if asked.each is None else asked.each)
        how = replace(hows[name], runs=asked.runs)
        kept = Kept(None if asked.fresh else ROOT / "build" / "mutants" / name, f"{program} {how!r} {text}")
        judge = Judge(f"{name}.yaml", written(plain(text)), how, asked.jobs)
        notices = judged(judge, some, asked.jobs, kept)
        count = Counter(one.who for one in notices)
        total += count
        print(f"{name}: {len(some)} of {len(found)} mutants, {len(some) - count[SAME] - count[MENDED]} not the same pad, {count[NOBODY]} escaped ({time.monotonic() - begun:.0f} s)")
        print("  noticed by " + ", ".join(f"{who} {count[who]}" for who in STAGES if count[who]) + f"; shown the same pad {count[SAME]}; a planted mistake gone {count[MENDED]}", flush=True)
        for note in judge.notes:
            print(f"  {note}")
        for (says, _), one in zip(some, notices, strict=True):
            if one.who == NOBODY:
                escaped.append(f"{name}: {says}")
            if asked.all:
                print(f"    {says}: {one.who}{f' ({one.says})' if one.says else ''}")
    differ = sum(total.values()) - total[SAME] - total[MENDED]
    print(f"\nnoticed: {differ - total[NOBODY]} of {differ} that are not the same pad ({100 * (differ - total[NOBODY]) / max(differ, 1):.1f} %); shown the same pad: {total[SAME]}; with a planted mistake gone and nothing new: {total[MENDED]}")
    for one in escaped:
        print(f"escaped  {one}")
    return 1 if escaped else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
