"""Protocols are found by their file's name, and say what they are from their definition."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from benchsim.ground.errors import BadInput
from benchsim.outputs.output import describe, open_conversation, protocol_names
from tests.serve.small_bench import CARD


def test_a_protocol_goes_by_its_file_s_name() -> None:
    assert "scp0499" in protocol_names()
    assert "output" not in protocol_names()


@pytest.mark.parametrize("name", protocol_names())
def test_every_protocol_has_a_definition_that_tells_its_commands_and_how_well_they_are_known(
    name: str,
) -> None:
    told = describe(name)
    assert told.name == name
    assert told.title
    assert told.source
    assert (told.folder / "README.md").is_file()
    assert (told.folder / "vectors.json").is_file()
    assert {c.mark for c in told.commands} <= {"seen", "memory", "computed", "own"}


@pytest.mark.parametrize("ask", [lambda: open_conversation("scp0498", CARD), lambda: describe("scp0498")])
def test_an_unknown_protocol_names_the_nearest(ask: object) -> None:
    assert callable(ask)
    with pytest.raises(BadInput, match=r"unknown protocol 'scp0498'; did you mean 'scp0499'\?"):
        ask()


def test_the_catalogue_tells_the_form_of_what_goes_with_a_letter() -> None:
    meaning = {c.send: c.meaning for c in describe("scp0499").commands}
    assert "10 characters" in meaning["T"]
    assert '"T      1200"' in meaning["T"]  # T and 10 characters
    assert "3 characters" in meaning["U"]


def test_an_instrument_whose_figures_do_not_fit_the_answer_is_refused_before_anybody_connects() -> None:
    with pytest.raises(BadInput, match="a capacity of 1000000000 kg needs 11 characters"):
        open_conversation("scp0499", replace(CARD, capacity_d=10**9, interval=Decimal(1)))
    with pytest.raises(BadInput, match="unit 'tons'"):
        open_conversation("scp0499", replace(CARD, unit="tons"))


def test_the_widest_weight_that_fits_is_taken_and_its_tenths_are_then_not_to_be_had() -> None:
    from tests.serve.small_bench import loaded

    client = open_conversation("scp0499", replace(CARD, capacity_d=99_999_999, interval=Decimal("0.1")))
    shown = replace(loaded(-99_999_999), interval=Decimal("0.1"))
    weigh, tenths = client.receive(b"\nW\r\nH\r", shown, 0)
    assert client.answer(weigh, None, shown, 0)[6:16] == b"-9999999.9"[:10].rjust(10)
    assert client.answer(tenths, None, shown, 0) == b"\n?\r"
