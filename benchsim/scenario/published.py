"""The format for other people's tools: a JSON Schema made from the classes of schema.py.

`protocols/scenario/scenario.schema.json` is this, written down; a test holds the two equal.
"""

from __future__ import annotations

import json
from typing import Any

from benchsim.scenario.schema import File

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a scenario file."""
    made = _tidy(File.model_json_schema(by_alias=True))
    return {"$schema": DIALECT, "title": "benchsim scenario", **made}


def text() -> str:
    """The same as the file that ships."""
    return json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"


def _tidy(schema: Any) -> Any:
    """Without what only repeats a key's name or its parts' defaults; what is left out is not null."""
    if isinstance(schema, list):
        return [_tidy(item) for item in schema]
    if not isinstance(schema, dict):
        return schema
    kept = {k: v for k, v in schema.items() if not (k == "title" or (k == "default" and _is_inner(v)))}
    choices = [c for c in kept.get("anyOf", ()) if c != {"type": "null"}]
    if len(choices) == 1:
        del kept["anyOf"]
        kept = choices[0] | kept
    elif choices:
        kept["anyOf"] = choices
    if limits := kept.pop("limits", ""):
        kept["description"] = f"{kept.get('description', '')} ({limits})".strip()
    named = ("properties", "$defs")
    return {
        k: {name: _tidy(inner) for name, inner in v.items()} if k in named else _tidy(v)
        for k, v in kept.items()
    }


def _is_inner(default: Any) -> bool:
    """None, and a mapping whose keys have defaults of their own."""
    return default is None or isinstance(default, dict)
