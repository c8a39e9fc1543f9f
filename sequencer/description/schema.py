"""The JSON Schema (draft 2020-12) of the file, read off the models."""

from __future__ import annotations

from typing import Any

from sequencer.description.pad import Pad


def schema() -> dict[str, Any]:
    """The schema; every property of every part has a description."""
    found = Pad.model_json_schema()
    found["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    found["title"] = "A pressure-launched rocket pad and its launch sequence"
    found["description"] = "One file describes the pad and its sequence; `sequencer check FILE` reads it critically."
    return found
