"""The example pads, read once, and their sheets."""

from __future__ import annotations

from pathlib import Path

import pytest

from sequencer.description import Pad, load
from sequencer.sizing import Sheet, sizing_sheet

CONFIGS = Path(__file__).resolve().parents[2] / "configs"
EXAMPLES = ("club", "curlew", "bench")


@pytest.fixture(scope="session")
def examples() -> dict[str, Pad]:
    return {name: load(CONFIGS / f"{name}.yaml") for name in EXAMPLES}


@pytest.fixture(scope="session")
def sheets(examples: dict[str, Pad]) -> dict[str, Sheet]:
    return {name: sizing_sheet(pad) for name, pad in examples.items()}
