"""How a person's figures become a fault's: with units, by word or by field name, and what is refused."""

from __future__ import annotations

import pytest

from benchsim.faults.fault import entry_of, grown
from benchsim.ground.errors import BadInput


def test_a_resistance_is_read_in_any_of_its_units() -> None:
    wet = entry_of("wet-connector")
    read = wet.read({"resistance": "2 Mohm", "soaking": "30 min", "terminal": "SIG-"})
    assert read == {"resistance_ohm": 2e6, "soaking_us": 1_800_000_000, "terminal": "SIG-"}
    assert wet.make(read) == wet.make({"resistance_ohm": 2e6, "soaking_us": 1.8e9, "terminal": "SIG-"})


def test_a_share_may_be_a_percentage_or_a_bare_number() -> None:
    drift = entry_of("span-drift")
    assert drift.read({"drift": "0.2 %"}) == drift.read({"drift": 0.002}) == {"drift": 0.002}


@pytest.mark.parametrize(
    ("fault", "given", "said"),
    [
        ("wet-connector", {"resistance": "2 Mohms"}, "did you mean"),
        ("wet-connector", {"resistance": "2 kg"}, "is a mass, not a resistance"),
        ("wet-connector", {"resistance": 2e6}, "has no unit"),
        ("wet-connector", {"resistance": "1 ohm"}, "1 ohm is out of range; allowed: 1 kohm to 1 Gohm"),
        ("wet-connector", {"resistence": "1 Mohm"}, "did you mean 'resistance'"),
        ("wet-connector", {"resistance": "2 Mohm", "resistance_ohm": "2 Mohm"}, "given twice"),
        ("wet-connector", {"terminal": "SIG"}, "known: EXC+, EXC-"),
        ("wet-connector", {"terminal": ["SIG+"]}, "neither a number nor a word"),
        ("wrong-strap", {"strap": 2.5}, "2.5 is not whole"),
        ("wrong-strap", {"strap": True}, "neither a number nor a word"),
        ("wrong-strap", {"strap": "two"}, "'two' is not a number"),
        ("wrong-strap", {"strap": 17}, "allowed: 1 to 16"),
        ("temperature-swing", {"amplitude": "70 K"}, "allowed: 0 K to 60 K"),
        ("temperature-swing", {"amplitude": "12"}, "has no unit; write a temperature difference, as '12 K'"),
        ("power-loss", {"for": "1 s"}, "it has none"),
    ],
)
def test_a_wrong_figure_is_told_what_would_be_right(fault: str, given: dict[str, object], said: str) -> None:
    with pytest.raises(BadInput) as told:
        entry_of(fault).read(given)
    assert said in str(told.value)


def test_an_unknown_fault_is_told_the_nearest() -> None:
    with pytest.raises(BadInput, match="did you mean 'wet-connector'"):
        entry_of("wet-conector")


@pytest.mark.parametrize(
    ("age_us", "over_us", "share"), [(0, 4, 0.0), (1, 4, 0.25), (4, 4, 1.0), (9, 4, 1.0), (0, 0, 1.0)]
)
def test_a_slow_change_grows_in_a_straight_line_and_stays(age_us: int, over_us: int, share: float) -> None:
    assert grown(age_us, over_us) == share
