"""permissives of Curlew, each left out on its own: the rule that breaks, and whether the exact simulator confirms it.

tools/bench permissives [--file NAME] [--jobs N] [--faults N] [--word WORD]

Every word of every way out's `once`, every alternative of every trip and inhibit of a file is left out on its own
(tools/mutants/permissives.py). Most let a rule of the file break without any fault: the story is played in the exact
simulator, with as few failed parts as it takes. For a word that no rule misses without faults it is asked which other
row does the same in the same scan; else which faults a rule no longer withstands (up to N at once, 2), with the story
of one such set; else whether the crew's day or a drill of the file goes wrong. Prints one line each, what stands
behind it, and counts.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
COUNTS = ("no fault", "one failed part", "two failed parts", "three failed parts")
OPEN = ("not reproduced", "nothing found")


class Asked:
    """A file and what its sound form is compared by, made once."""

    def __init__(self, text: str, name: str, faults: int) -> None:
        from mutants.breaking import Sound
        from mutants.permissives import permissives
        from mutants.weaker import cuts

        from sequencer.description import loads

        self.name, self.faults = name, faults
        self.pad = loads(text, name)
        self.found = permissives(text)
        self.sound = Sound(text, name)
        self.cuts = cuts(self.pad, faults) if faults else {}

    def verdict(self, number: int) -> tuple[str, str, str]:
        """(verdict, rule, what stands behind it) of one permissive left out."""
        from mutants.weaker import carried, drilled, weaker

        one = self.found[number]
        by = carried(self.sound.draft.table, one, self.name)
        if by:
            return "carried", "-", f"{' and '.join(by)} leaves every state that would command it, in the same scan, whatever the inputs say"
        broken = self.sound.without(one)
        if broken.rule:
            if not broken.confirmed:
                return OPEN[0], broken.rule, broken.says
            return f"confirmed, {COUNTS[min(len(broken.besides), 3)]}", broken.rule, broken.says if broken.besides else ""
        if self.faults:
            left = weaker(one, self.name, self.cuts, self.faults)
            if left.rule:
                says = f"{' with '.join(left.faults)} (of {left.more} such sets): {left.says}"
                return f"confirmed, {COUNTS[min(len(left.faults) + len(left.besides), 3)]}" if left.confirmed else OPEN[0], left.rule, says
        drill, says = drilled(one, self.name, self.pad)
        if drill:
            faults = self.pad.drills[drill].faults if drill in self.pad.drills else []
            return "a run goes wrong", "-", f"{drill}{' (' + ', '.join(map(str, faults)) + ')' if faults else ''}: {says}"
        return OPEN[1], "-", f"no rule breaks or withstands less, with up to {self.faults} faults, and every drill ends as before"


def main(arguments: list[str]) -> int:
    from sequencer.trials.crowd import jobs_here

    parser = argparse.ArgumentParser(prog="tools/bench permissives", description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--file", default="curlew", help="a file of configs/ (curlew)")
    parser.add_argument("--jobs", type=int, default=jobs_here())
    parser.add_argument("--faults", type=int, default=2, choices=range(3), help="most faults at once for words that nothing misses without (2)")
    parser.add_argument("--word", default="", help="only permissives of which this is part: 'relay_on', 'trip relay'")
    asked = parser.parse_args(arguments)
    begun = time.monotonic()
    text = (ROOT / "configs" / f"{asked.file}.yaml").read_text(encoding="utf-8")
    work = Asked(text, f"{asked.file}.yaml", asked.faults)
    numbers = [n for n, one in enumerate(work.found) if asked.word in f"{one.kind} {one.where}: {one.what}"]
    counts: Counter[str] = Counter()

    def told(number: int, verdict: str, rule: str, says: str) -> None:
        counts[verdict] += 1
        one = work.found[number]
        print(f"{one.kind:8} {one.where:26} {one.what:32} {rule:27} {verdict}", flush=True)
        if says:
            print(f"         {says}", flush=True)

    if asked.jobs > 1 and "fork" in multiprocessing.get_all_start_methods():
        global _work
        _work = work
        with multiprocessing.get_context("fork").Pool(asked.jobs) as pool:
            for number, answer in zip(numbers, pool.imap(_one, numbers), strict=True):
                told(number, *answer)
    else:
        for number in numbers:
            told(number, *work.verdict(number))
    print(f"\n{asked.file}: {len(numbers)} permissives left out, one each: " + ", ".join(f"{counts[v]} {v}" for v in sorted(counts)) + f" ({time.monotonic() - begun:.0f} s)")
    return 1 if any(counts[v] for v in OPEN) else 0


_work: Any = None  # what the processes share


def _one(number: int) -> Any:
    return _work.verdict(number)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
