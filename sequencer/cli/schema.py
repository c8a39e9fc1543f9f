"""`sequencer schema`: the JSON Schema of the file, for an editor that completes and checks while one types."""

from __future__ import annotations

import json
import sys


def command() -> None:
    """Print the JSON Schema of the file; every key carries its explanation.

    The schema knows shapes and words; names, units and sense are looked at by `check`.
    """
    from sequencer.description.schema import schema

    json.dump(schema(), sys.stdout, indent=2)
    sys.stdout.write("\n")
