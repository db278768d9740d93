"""SCP-0499 5.1 and 4: the answer octet by octet, every command of both levels, the order of status.

Checked against protocols/scp0499/definition.toml, where each rule carries how well it is known; what is
marked memory there is from memory here as well, and so are the checks that rest on it.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import product
from typing import Any

import pytest

from benchsim.ground.commands import ClearTare, PresetTare, Tare, Zero
from benchsim.ground.readings import Indication, Outcome
from benchsim.outputs.output import definition, open_conversation
from benchsim.outputs.scp0499 import LEVEL_1, LEVEL_2, LONGEST_LINE
from tests.serve.small_bench import CARD, EMPTY, loaded

TABLE: dict[str, Any] = definition("scp0499")
FLAGS = ("initial_zero_error", "zero_error", "overload", "underload", "centre_of_zero")


def ask(octets: bytes, shown: Indication = EMPTY) -> bytes:
    """What a new client gets from a scale that refuses every command."""
    client = open_conversation("scp0499", CARD)
    requests = client.receive(octets, shown, 0)
    return b"".join(
        client.answer(r, None if r.command is None else Outcome(done=False), shown, 0) for r in requests
    )


def fields(answer: bytes) -> dict[str, str]:
    """The answer cut at the widths that the definition gives."""
    found, at = {}, 0
    for field in TABLE["field"]:
        found[field["name"]] = answer[at : at + field["octets"]].decode("ascii")
        at += field["octets"]
    assert at == len(answer) == 20  # computed from the layout of 5.1
    return found


def test_the_fields_stand_where_5_1_puts_them() -> None:
    assert fields(ask(b"\nW\r", loaded(620))) == {
        "start": "\n", "status": " ", "range": "1", "kind": "G", "motion": " ", "reserved": " ",
        "weight": "     12400", "unit": "kg ", "end": "\r",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("interval", "count", "weight"),
    [
        (Decimal(20), 1, "        20"),
        (Decimal("0.5"), 1, "       0.5"),
        (Decimal("0.02"), -7, "     -0.14"),
        (Decimal("0.001"), 1, "     0.001"),
        (Decimal(20), 0, "         0"),
        (Decimal("0.05"), 0, "      0.00"),
    ],
)
def test_the_weight_is_right_justified_with_the_decimals_of_d(
    interval: Decimal, count: int, weight: str
) -> None:
    assert fields(ask(b"\nW\r", replace(loaded(count), interval=interval)))["weight"] == weight


@pytest.mark.parametrize("on", list(product([False, True], repeat=len(FLAGS))), ids=str)
def test_the_status_character_keeps_its_order_in_every_mixture(on: tuple[bool, ...]) -> None:
    flags = dict(zip(FLAGS, on, strict=True))
    shown = replace(loaded(0), valid=True, **flags)  # type: ignore[arg-type]
    applies = {
        "I": flags["initial_zero_error"],
        "E": flags["zero_error"],
        "O": flags["overload"],
        "U": flags["underload"],
        "Z": flags["centre_of_zero"],
        " ": True,
    }
    first = next(row for row in TABLE["status"] if applies.get(row["send"], False))
    answer = fields(ask(b"\nZ\r\nW\r", shown)[20:])  # an error of this client's own
    assert answer["status"] == first["send"]
    assert (answer["weight"] == "-" * 10) == (first["weight"] == "dashes")


def test_errors_with_dashes_outrank_the_states_of_a_weight() -> None:
    order = [row["send"] for row in TABLE["status"]]  # memory: E, I, T before Z, O, U
    assert max(map(order.index, "EIT")) < min(map(order.index, "ZOU"))


@pytest.mark.parametrize("status", ["E", "I"])
def test_an_error_stands_as_long_as_its_condition(status: str) -> None:
    shown = replace(EMPTY, zero_error=status == "E", initial_zero_error=status == "I")
    client = open_conversation("scp0499", CARD)
    (request,) = client.receive(b"\nZ\r", shown, 0)
    assert client.answer(request, Outcome(done=False), shown, 0)[1:2].decode() == status
    for _ in range(3):
        (request,) = client.receive(b"\nW\r", shown, 0)
        assert client.answer(request, None, shown, 0)[1:2].decode() == status
    (request,) = client.receive(b"\nW\r", EMPTY, 0)
    assert client.answer(request, None, EMPTY, 0)[1:2] == b"Z"


def test_a_line_may_be_as_long_as_the_definition_says() -> None:
    assert TABLE["framing"]["longest_line_octets"] == LONGEST_LINE


def test_the_code_knows_the_commands_of_the_definition_with_their_levels() -> None:
    known = {row["send"]: row["level"] for row in TABLE["command"]}
    assert known == dict.fromkeys(LEVEL_1, 1) | dict.fromkeys(LEVEL_2, 2)


@pytest.mark.parametrize("letter", [chr(c) for c in range(1, 256) if chr(c) not in "\n\r\x1b"], ids=repr)
def test_every_other_character_is_unknown(letter: str) -> None:
    known = {row["send"] for row in TABLE["command"]}
    assert (ask(b"\n" + letter.encode("latin-1") + b"\r") == b"\n?\r") == (letter not in known)


@pytest.mark.parametrize(
    ("octets", "command"),
    [
        (b"\nZ\r", Zero()),
        (b"\nT\r", Tare()),
        (b"\nT    240.50\r", PresetTare(Decimal("240.50"))),
        (b"\nT240.50    \r", PresetTare(Decimal("240.50"))),
        (b"\nC\r", ClearTare()),
        (b"\nW\r", None),
        (b"\nD\r", None),
        (b"\nU\r", None),
        (b"\nM\r", None),
    ],
)
def test_a_command_asks_the_scale_for_what_it_names(octets: bytes, command: object) -> None:
    (request,) = open_conversation("scp0499", CARD).receive(octets, EMPTY, 0)
    assert request.command == command


@pytest.mark.parametrize("letter", [row["send"] for row in TABLE["command"] if row["send"] not in "DABIN"])
def test_all_but_diagnostics_and_lists_are_answered_in_the_weight_layout(letter: str) -> None:
    answer = ask(f"\n{letter}\r".encode(), loaded(620))
    assert fields(answer)["unit"] == "kg "


def test_the_fixed_answers_are_those_of_the_definition() -> None:
    fixed = [bytes.fromhex(row["octets"]) for row in TABLE["answer"] if "octets" in row]
    assert [ask(b"\nX\r"), open_conversation("scp0499", CARD).spoiled(), ask(b"\nD\r")] == fixed


@pytest.mark.parametrize(("first", "following"), [("A", "B"), ("I", "N")])
def test_the_lists_keep_their_keys_and_lengths_and_say_simulated(first: str, following: str) -> None:
    card = replace(CARD, model="m" * 60, kind="a kind of scale that is told at great length")
    client = open_conversation("scp0499", card)
    lines = []
    for letter in first + following * 8:
        (request,) = client.receive(f"\n{letter}\r".encode(), EMPTY, 0)
        if (line := client.answer(request, None, EMPTY, 0)) != b"\n?\r":
            lines.append(line.decode("ascii"))
    keys = next(row["keys"] for row in TABLE["answer"] if row["to"] == f"{first}, {following}")
    assert [line[1:5] for line in lines] == [f"{key}:" for key in keys]
    assert all(line[0] == "\n" and line[-1] == "\r" and len(line) <= 1 + 4 + 25 + 1 for line in lines)
    assert "SIMULATED" in "".join(lines)
