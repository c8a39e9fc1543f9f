"""permissives of Curlew, each left out on its own: the rule that breaks, and whether the exact simulator confirms it.

tools/bench permissives [--file NAME] [--jobs N]

Every word of every way out's `once`, every alternative of every trip and inhibit of a file is left out on its own
(tools/mutants/permissives.py). Without it a rule of the file breaks, without any fault; the story is played in the
exact simulator. Prints one line each, and those for which no rule breaks or no reading is confirmed.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


def main(arguments: list[str]) -> int:
    from mutants.breaking import Broken, Sound
    from mutants.permissives import permissives

    from sequencer.trials.crowd import jobs_here

    parser = argparse.ArgumentParser(prog="tools/bench permissives", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--file", default="curlew", help="a file of configs/ (curlew)")
    parser.add_argument("--jobs", type=int, default=jobs_here())
    asked = parser.parse_args(arguments)
    begun = time.monotonic()
    text = (ROOT / "configs" / f"{asked.file}.yaml").read_text(encoding="utf-8")
    found = permissives(text)
    sound = Sound(text, f"{asked.file}.yaml")
    counts = {"confirmed": 0, "confirmed with a fault besides": 0, "not reproduced": 0, "no rule breaks": 0}

    def told(number: int, broken: Broken) -> None:
        verdict = "confirmed" if broken.confirmed else "not reproduced" if broken.rule else "no rule breaks"
        if broken.besides:
            verdict = "confirmed with a fault besides"
        counts[verdict] += 1
        one = found[number]
        print(f"{one.kind:8} {one.where:32} {one.what:36} {broken.rule or '-':28} {verdict}", flush=True)
        if broken.rule and verdict != "confirmed":
            print(f"         {broken.says}", flush=True)

    if asked.jobs > 1 and "fork" in multiprocessing.get_all_start_methods():
        global _work
        _work = (sound, found)
        with multiprocessing.get_context("fork").Pool(asked.jobs) as pool:
            for number, broken in enumerate(pool.imap(_one, range(len(found)))):
                told(number, broken)
    else:
        for number, one in enumerate(found):
            told(number, sound.without(one))
    print(f"\n{asked.file}: {len(found)} permissives left out, one each: " + ", ".join(f"{n} {v}" for v, n in counts.items()) + f" ({time.monotonic() - begun:.0f} s)")
    return 1 if counts["not reproduced"] or counts["no rule breaks"] else 0


_work: tuple[Any, Any] = (None, None)  # what the processes share


def _one(number: int) -> Any:
    sound, found = _work
    return sound.without(found[number])


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
