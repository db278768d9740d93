"""The format for other people's tools: a JSON Schema made from the classes of schema.py.

`protocols/scenario/scenario.schema.json` is this, written down; a test holds the two equal.
"""

from __future__ import annotations

from typing import Any

from benchsim.scenario.schema import File


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a scenario file."""
    made = File.model_json_schema(by_alias=True)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "benchsim scenario",
        **{key: value for key, value in made.items() if key != "title"},
    }
