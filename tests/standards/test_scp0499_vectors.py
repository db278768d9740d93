"""SCP-0499: every exchange of protocols/scp0499/vectors.json, whole and cut into single octets.

The vectors were written by hand from the standard's layout, never from the code's output; each says how
well its source is known.
"""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest

from benchsim.ground.library import shipped
from benchsim.ground.readings import Indication, InstrumentCard, Outcome
from benchsim.outputs.output import Conversation, Request, open_conversation

FILE: dict[str, Any] = json.loads((shipped("protocols") / "scp0499" / "vectors.json").read_text("utf-8"))
CARD = InstrumentCard(**{**FILE["card"], "interval": Decimal(FILE["card"]["interval"])})


def indication(name: str) -> Indication:
    fields = {**FILE["base"], **FILE["indications"][name]}
    return Indication(**{**fields, "interval": Decimal(fields["interval"])})


def octets(step: dict[str, Any], key: str) -> bytes:
    if f"{key}_hex" in step:
        return bytes.fromhex(step[f"{key}_hex"])
    text: str = step[key]
    return text.encode("ascii")


def outcome_of(request: Request, step: dict[str, Any]) -> Outcome | None:
    return None if request.command is None else Outcome(done=step["outcome"] == "done", reason="said so")


def play(client: Conversation, step: dict[str, Any], pieces: list[bytes]) -> tuple[list[str], bytes]:
    """One step: what the scale was told to do, and the reply."""
    shows = indication(step["shows"])
    after = shows if step.get("then", step["shows"]) == step["shows"] else indication(step["then"])
    asked, reply = [], b""
    for piece in pieces:
        for request in client.receive(piece, shows, 0):
            asked += [str(request.command)] if request.command else []
            reply += client.answer(request, outcome_of(request, step), after, 0)
    return asked, reply


@pytest.mark.parametrize("cut", [False, True], ids=["whole", "single octets"])
@pytest.mark.parametrize("vector", FILE["vectors"], ids=lambda v: v["name"])
def test_an_exchange_runs_octet_for_octet(vector: dict[str, Any], cut: bool) -> None:
    client = open_conversation("scp0499", CARD)
    for step in vector["steps"]:
        if "update" in step:
            assert client.update(indication(step["update"]), 0) == octets(step, "reply"), step
            continue
        sent = octets(step, "send")
        pieces = [sent[i : i + 1] for i in range(len(sent))] if cut else [sent]
        asked, reply = play(client, step, pieces)
        assert asked == step.get("asks", []), step
        assert reply == octets(step, "reply"), step


def test_the_vectors_use_every_command_of_the_definition() -> None:
    import tomllib

    table = tomllib.loads((shipped("protocols") / "scp0499" / "definition.toml").read_text("utf-8"))
    sent = b"".join(octets(s, "send") for v in FILE["vectors"] for s in v["steps"] if "update" not in s)
    for row in table["command"]:
        assert b"\n" + row["send"].encode() in sent, row["send"]
