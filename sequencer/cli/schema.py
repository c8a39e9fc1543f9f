"""`sequencer schema`: the JSON Schema of the file, for an editor that completes and checks while one types."""

from __future__ import annotations

import json as json_text
import sys

from sequencer.cli.shared import JsonOption, Verdict, emit_json


def command(json: JsonOption = False) -> None:
    """Print the JSON Schema of the file; every key carries its explanation.

    The schema knows shapes and words; names, units and sense are looked at by `check`. With --json the schema stands
    under `result`, as with every command.
    """
    from sequencer.description.schema import schema

    if json:
        emit_json("schema", "", Verdict.PASS, schema())
        return
    json_text.dump(schema(), sys.stdout, indent=2)
    sys.stdout.write("\n")
