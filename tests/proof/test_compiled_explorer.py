"""The C explorer of tools/benchmarks reaches what the product and plain Python reach; else its ratios would say nothing."""

import importlib
import sys
from pathlib import Path
from unittest import mock

import pytest

from sequencer.description import loads
from sequencer.proof.build import draft_of, system_of
from sequencer.proof.explore import explore
from tests.proof import plain_pads
from tests.proof.small_pads import small_pad

TOOLS = Path(__file__).resolve().parents[2] / "tools"
with mock.patch.object(sys, "path", [str(TOOLS), *sys.path]):
    model = importlib.import_module("benchmarks.explorer.model")
    stations = importlib.import_module("benchmarks.explorer.stations")
    bench = importlib.import_module("benchmarks.prove")


@pytest.mark.parametrize("seed", [0, 7, 52])
def test_the_compiled_explorer_agrees_on_situations_and_verdicts_of_every_set(seed, tmp_path):
    draft = draft_of(small_pad(seed))
    system = system_of(draft)
    edits = plain_pads.edits(draft)
    sets = [s for s in plain_pads.sets_of(draft, 2) if s][:12]
    joined = [edits[s[0]] if len(s) == 1 else edits[s[0]] | edits[s[1]] for s in sets]
    plain = [plain_pads.explored(draft, system, s) for s in sets]
    sound = plain_pads.explored(draft, system)
    free = system.free.bit_count()
    for whole, mode in ((False, "delta"), (False, "again"), (True, "delta"), (True, "again")):
        here = model.Model(draft, system, joined, whole=whole)
        found = model.compiled(here, tmp_path, mode, 1)
        assert found.count == len(sound.depths) << (free if whole else 0)
        assert found.broken == set(sound.breaches)
        assert [c for c, _ in found.sets] == [len(p.depths) << (free if whole else 0) for p in plain]
        if mode == "again":
            assert [b for _, b in found.sets] == [frozenset(p.breaches) for p in plain]
        assert [b | found.broken for _, b in found.sets] == [frozenset(p.breaches) for p in plain]
        assert model.plain(here) == found.count


def test_the_pads_of_the_measurement_grow_and_hold_some_of_their_rules():
    counts = []
    for bottles in (1, 2):
        system = system_of(draft_of(loads(stations.text(bottles), "pad.yaml")))
        found = explore(system)
        counts.append(found.count)
        assert len({b.rule for b in found.breaches}) < len(system.rules)
    assert counts[1] > 10 * counts[0]


def test_the_measurement_says_no_ratio_where_two_explorers_differ(capsys, monkeypatch):
    small = ["--bottles", "1", "--growth", "0", "--whole", "5"]
    assert bench.main(small) == 0
    assert "All verdicts agree" in capsys.readouterr().out
    monkeypatch.setattr(bench, "plain", lambda model: 1)
    assert bench.main(small) == 1
    said = capsys.readouterr()
    assert "DIFFER" in said.err and "met" not in said.out
