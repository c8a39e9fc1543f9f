"""mutants of the demo files that check, run, prove or shakedown notices, beside all that are not the same pad.

tools/bench mutants [--each N] [--runs N] [--file NAME]   derives every mutant of configs/*.yaml by the operators of
tools/mutants, takes N of each file (default 60, 0 for all) spread evenly over them, and prints who noticed how many,
and every one that nobody noticed.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections import Counter
from pathlib import Path

FILES = ("club", "curlew", "bench", "planted")
PROVED = {"club": 1, "bench": 1, "curlew": 0}


def chosen(found: list[tuple[str, str]], each: int) -> list[tuple[str, str]]:
    """`each` of them, evenly spread over all operators and places; all of them for 0."""
    if not each or each >= len(found):
        return found
    return [found[i * len(found) // each] for i in range(each)]


def main(arguments: list[str]) -> int:
    from mutants.judge import EQUIVALENT, Judge
    from mutants.operators import mutants, plain, written  # noqa: I001

    from sequencer.trials.crowd import answers, jobs_here

    parser = argparse.ArgumentParser(prog="tools/bench mutants", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=60)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--file", action="append", choices=FILES)
    asked = parser.parse_args(arguments)
    total: Counter[str] = Counter()
    survivors = []
    for name in asked.file or FILES:
        begun = time.monotonic()
        text = Path(__file__).resolve().parents[2].joinpath("configs", f"{name}.yaml").read_text(encoding="utf-8")
        found = mutants(text)
        some = chosen(found, asked.each)
        judge = Judge(f"{name}.yaml", written(plain(text)), asked.runs, PROVED.get(name))
        noticed = answers(lambda one, judge=judge: judge.notices(one[1]), some, jobs_here())  # type: ignore[misc]
        count = Counter(noticed)
        total += count
        survivors += [f"{name}: {says}" for (says, _), who in zip(some, noticed, strict=True) if not who]
        told = ", ".join(f"{who or 'nobody'} {n}" for who, n in sorted(count.items()))
        print(f"{name:9}{len(some):>4} of {len(found)} mutants: {told} ({time.monotonic() - begun:.0f} s)", flush=True)
        for note in judge.notes:
            print(f"          {note}")
    differ = sum(n for who, n in total.items() if who != EQUIVALENT)
    print(f"\nnoticed: {differ - total['']} of {differ} that are not the same pad ({100 * (differ - total['']) / max(differ, 1):.1f} %)")
    print("by " + ", ".join(f"{who} {n}" for who, n in sorted(total.items()) if who and who != EQUIVALENT) + f"; the same pad: {total[EQUIVALENT]}")
    for one in survivors:
        print(f"nobody noticed  {one}")
    return 0 if not survivors else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
