"""the pad's simulated time beside wall time, and runs as numpy lanes beside single runs

    tools/bench site [FILE] [--lanes N] [--day]

One run of the crew's day in plain Python: simulated seconds for each second of this machine, at the file's own scan. Then
the same launches one by one and as N lanes (default 2500) in this one process, by processor time, and how far lanes are
from single runs: times of moves and pressures of every scan. --day: lanes fly the whole day, not the launch leg.
"""

from __future__ import annotations

import sys
import time

import numpy as np

SINGLES = 6


def main(arguments: list[str]) -> int:
    if "--help" in arguments or "-h" in arguments:
        print(__doc__.strip())
        return 0
    lanes = int(arguments[arguments.index("--lanes") + 1]) if "--lanes" in arguments else 2500
    files = [a for a in arguments if not a.startswith("-") and not a.isdigit()]
    file = files[0] if files else "configs/curlew.yaml"
    from sequencer.description import load
    from sequencer.simulation.run import simulate
    from sequencer.table import compile_table
    from sequencer.trials.course import alone
    from sequencer.trials.draw import draw, parameters
    from sequencer.trials.lanes import together
    from sequencer.trials.spread import begins

    pad = load(file)
    table, of = compile_table(pad), parameters(pad)
    simulate(pad, crew=True, table=table, trace=False, until_ms=5_000)
    best, simulated = float("inf"), 0.0
    for _ in range(3):
        started = time.process_time()
        run = simulate(pad, crew=True, table=table, trace=False)
        best, simulated = min(best, time.process_time() - started), run.ended_ms / 1000
    print(f"{pad.title}, scan {pad.scan_ms} ms")
    print(f"one run, plain Python: {simulated:.0f} s of the day in {best:.2f} s, {simulated / best:.0f} to 1 (aim 500 to 1)")

    begin, says = begins(pad, table, "--day" in arguments, None)
    draws = [draw(pad, of, 0, number) for number in range(max(lanes, SINGLES))]
    started = time.process_time()
    singles = [alone(one, begin, table) for one in draws[:SINGLES]]
    single = (time.process_time() - started) / SINGLES
    started = time.process_time()
    courses = together(draws[:lanes], begin, table)
    lane = (time.process_time() - started) / lanes
    print(f"{says}:")
    print(f"  {1 / single:.2f} runs a second one by one, {1 / lane:.1f} as {lanes} lanes: {single / lane:.1f} times (aim 20 times)")
    print(f"  10,000 runs as lanes: {10_000 * lane / 2:.0f} s on two cores like this one (aim under 120 s)")
    same = sum(a.passed == b.passed and a.freed_ms == b.freed_ms and a.ended_ms == b.ended_ms for a, b in zip(singles, courses, strict=False))
    peaks = max(float(np.max(np.abs(np.array(a.peaks) / np.array(b.peaks) - 1.0))) for a, b in zip(singles, courses, strict=False))
    print(f"  lanes against single runs: every move at the same scan in {same} of {SINGLES}; greatest difference of peak pressures {peaks:.1e}")
    print(f"  pressures of every scan: greatest relative difference {_at_every_scan(draws[:3], begin, table):.1e} (aim 1e-9)")
    return 0 if same == SINGLES else 1


def _at_every_scan(draws, begin, table):
    """Greatest relative difference of absolute pressures between lanes and single runs, scan by scan."""
    from sequencer.trials.course import session_from
    from sequencer.trials.lanes import Together

    runs = Together(draws, begin, table)
    sessions = [session_from(one, begin, table) for one in draws]
    for lane, session in enumerate(sessions):
        while session.ms < int(runs.clock[lane]):
            session.tick()
    worst = 0.0
    while runs.running:
        runs._scan()
        for lane, session in enumerate(sessions):
            if lane in runs.running:
                session.tick()
                p = np.array(session.world.net.p)
                worst = max(worst, float(np.max(np.abs(runs.worlds.gas.p[:, lane] / p - 1.0))))
    return worst


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
