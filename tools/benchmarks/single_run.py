"""The Curlew launch day: simulated time beside wall time, and the quick scan beside `scan`.

One run in plain Python on one core, at the file's own scan. Both figures are ratios taken in turns;
the least of several turns counts, because other work on the machine can only slow a turn down.
"""

from __future__ import annotations

import argparse
import random
import time
from collections.abc import Callable


def main(arguments: list[str]) -> int:
    """Print the two ratios; 0 when both aims are met, 1 otherwise."""
    parser = argparse.ArgumentParser(prog="tools/bench single_run", description=__doc__)
    parser.add_argument("file", nargs="?", default="configs/curlew.yaml")
    parser.add_argument("--turns", type=int, default=5, help="how often each side is measured (5)")
    asked = parser.parse_args(arguments)

    from sequencer.description import load
    from sequencer.simulation import simulate
    from sequencer.table import Inputs, compile_table, power_up, scan
    from sequencer.table.fast import Controller

    pad = load(asked.file)
    table = compile_table(pad)
    day = simulate(pad, crew=True, trace=False, table=table)
    wall = least(asked.turns, lambda: simulate(pad, crew=True, trace=False, table=table))
    seconds = day.ended_ms / 1000
    print(f"{pad.title}: {seconds:.0f} s simulated in {wall:.2f} s: {seconds / wall:.0f} to 1 (aim: 500 to 1)")

    rng = random.Random(1)
    samples = [
        Inputs((0,) * len(table.contacts), tuple(rng.randint(400, 430) for _ in table.analogs), (int(i % 5 == 0),) * len(table.heartbeats))
        for i in range(5000)
    ]

    def plainly() -> None:
        memory = power_up(table)
        for sample in samples:
            memory, _, _ = scan(table, memory, sample)

    def quickly() -> None:
        send = Controller(table).send
        for sample in samples:
            send(sample)

    quickly()  # the generated text is compiled once per table
    slow, quick = least(asked.turns, plainly), least(asked.turns, quickly)
    print(f"specialised scan: {quick / len(samples) * 1e6:.2f} us, {slow / quick:.0f} times quicker than `scan` (aim: 10 times)")
    return 0 if seconds / wall >= 500 and slow / quick >= 10 else 1


def least(turns: int, work: Callable[[], object]) -> float:
    """Least wall time (s) of several turns."""
    times = []
    for _ in range(turns):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)
