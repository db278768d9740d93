"""What is on the receptor, since when, and what a person may ask for."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from benchsim.ground.commands import Axle, Drive, Move, Place, Remove, SiteCommand
from benchsim.ground.errors import BadInput
from benchsim.scale.history import KEPT_US, History
from benchsim.scale.loads import Deck, Standing
from benchsim.scale.receptor import shares
from benchsim.scale.scale import Scale
from tests.scale.made import S, output_mv_per_v, parts, scale

BLOCK = Place("block", 12_000.0, 2.0, 1.0)
LORRY = Drive("lorry", (Axle(6_000.0, 0.0), Axle(9_000.0, 4.0)), 2.0, 7.0, 1.5, stands_us=20 * S)


def at(*seconds: float) -> NDArray[np.int64]:
    return np.array([round(s * S) for s in seconds], np.int64)


def true_kg(made: Scale, *seconds: float) -> list[float]:
    return [float(m) for m in made.true_kg(at(*seconds))]


def test_a_load_counts_after_it_was_put_down_and_until_it_was_taken_off() -> None:
    made = scale(parts())
    made.do(BLOCK, 5 * S)
    made.do(Place("weight", 500.0, 0.0, 0.0), 7 * S)
    made.do(Remove("block"), 9 * S)
    assert true_kg(made, 5.0, 5.000001, 7.0, 8.0, 9.0, 10.0) == [
        0.0,
        12_000.0,
        12_000.0,
        12_500.0,
        12_500.0,
        500.0,
    ]
    assert made.loads == ("weight",)


def test_true_shares_follow_a_load_that_is_moved() -> None:
    made = scale(parts(dead_load_kg=4_000.0))
    made.do(BLOCK, 0)
    made.do(Move("block", 7.0, 2.0), 10 * S)
    found = made.true_cells_kg(at(5, 15))
    receptor = parts().receptor
    assert found[0] == pytest.approx(12_000.0 * np.array(shares(receptor, 2.0, 1.0)), abs=1e-9)
    assert found[1] == pytest.approx(12_000.0 * np.array(shares(receptor, 7.0, 2.0)), abs=1e-9)
    assert found.sum(axis=1) == pytest.approx([12_000.0, 12_000.0], abs=1e-9)


def test_cells_read_dead_load_and_shares() -> None:
    made = scale(parts(dead_load_kg=4_000.0))
    made.do(BLOCK, 0)
    found_kg = output_mv_per_v(made.read(0, 30 * S))[-1] / 2.0 * 30_000.0
    expected = 1_000.0 + 12_000.0 * np.array(shares(parts().receptor, 2.0, 1.0))
    assert found_kg == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize(
    ("command", "message"),
    [
        (Place("block", 100.0, 1.0, 1.0), "'block' is on the receptor already"),
        (Place("x", 0.0, 1.0, 1.0), "load 'x': mass is 0 kg"),
        (Place("x", -5.0, 1.0, 1.0), "load 'x': mass is -5 kg"),
        (Place("x", math.nan, 1.0, 1.0), "load 'x': mass is nan kg"),
        (Place("x", math.inf, 1.0, 1.0), "load 'x': mass is inf kg"),
        (Place("x", 1e300, 1.0, 1.0), "load 'x': mass is 1e+300 kg; above 0 and up to 1e+09 kg"),
        (Drive("van", (Axle(1.0, 0.0),), 1e-300, 7.0, 1.5), "speed is 1e-300 m/s; 0.01 to 100 m/s"),
        (Place("x", 1.0, 8.1, 1.0), "8.1 m, 1 m is off the receptor; 0 to 8 m along and 0 to 3 m across"),
        (Place("x", 1.0, 1.0, -0.1), "is off the receptor"),
        (Place("x", 1.0, math.nan, 1.0), "is off the receptor"),
        (Move("blok", 1.0, 1.0), "unknown load 'blok'; did you mean 'block'"),
        (Move("block", 9.0, 1.0), "is off the receptor"),
        (Move("lorry", 1.0, 1.0), "is a vehicle"),
        (Remove("brick"), "unknown load 'brick'"),
        (Drive("van", (), 2.0, 7.0, 1.5), "has no axle"),
        (Drive("van", (Axle(-1.0, 0.0),), 2.0, 7.0, 1.5), "mass of axle 1 is -1 kg"),
        (Drive("van", (Axle(1.0, 0.0), Axle(1.0, -2.0)), 2.0, 7.0, 1.5), "axle 2 stands -2 m behind"),
        (Drive("van", (Axle(1.0, 0.0),), 0.0, 7.0, 1.5), "speed is 0 m/s"),
        (Drive("van", (Axle(1.0, 0.0),), 2.0, 8.5, 1.5), "stops at 8.5 m; 0 to 8 m"),
        (Drive("van", (Axle(1.0, 2.0),), 2.0, 1.0, 1.5), "'van' stops at 1 m; 2 to 10 m, with an axle on"),
        (
            Drive("van", (Axle(1.0, 1.0), Axle(1.0, 20.0), Axle(1.0, 21.5)), 2.0, 9.5, 1.5),
            "'van' stops at 9.5 m; 1 to 9 m or 20 to 29.5 m, with an axle on the receptor",
        ),
        (Drive("van", (Axle(1.0, 0.0),), 2.0, math.nan, 1.5), "'van' stops at nan m; 0 to 8 m"),
        (Drive("van", (Axle(1.0, 0.0),), 2.0, 7.0, 3.5), "is off the receptor"),
        (Drive("van", (Axle(1.0, 0.0),), 2.0, 7.0, 1.5, -1), "stands -1 us"),
        (Drive("van", (Axle(1.0, 0.0),), 2.0, 7.0, 1.5, 0, 0.0), "acceleration is 0 m/s2"),
        (Drive("lorry", (Axle(1.0, 0.0),), 2.0, 7.0, 1.5), "'lorry' is on the receptor already"),
    ],
)
def test_what_cannot_be_is_refused_and_changes_nothing(command: SiteCommand, message: str) -> None:
    made = scale(parts())
    made.do(BLOCK, S)
    made.do(LORRY, S)
    with pytest.raises(BadInput) as caught:
        made.do(command, 2 * S)
    assert message in str(caught.value)
    assert made.loads == ("block", "lorry")
    assert true_kg(made, 1.5, 3.0)[0] == 18_000.0


def test_nothing_can_be_taken_from_an_empty_receptor() -> None:
    with pytest.raises(BadInput, match="no load 'block' is on the receptor"):
        scale(parts()).do(Remove("block"), S)


def test_a_name_is_free_again_when_its_load_is_gone() -> None:
    made = scale(parts())
    made.do(BLOCK, S)
    made.do(Remove("block"), 2 * S)
    made.do(BLOCK, 3 * S)
    made.do(LORRY, 3 * S)
    made.do(LORRY, 600 * S)
    assert made.loads == ("block", "lorry")


def test_the_history_answers_for_any_instant_later() -> None:
    made = scale(parts())
    for number in range(100):
        made.do(Place(f"weight {number}", 10.0, 1.0, 1.0), number * S)
    made.read(0, 200 * S)
    assert made.true_kg(np.arange(100) * S + 1).tolist() == [10.0 * (n + 1) for n in range(100)]
    assert made.true_kg(at()).shape == (0,)
    assert made.true_cells_kg(at()).shape == (0, 4)


@pytest.mark.parametrize("stop_m", [1.0, 9.0, 20.0, 29.5])
def test_a_stop_with_one_axle_on_the_very_edge_is_allowed(stop_m: float) -> None:
    made = scale(parts())
    made.do(Drive("van", (Axle(700.0, 1.0), Axle(700.0, 20.0), Axle(700.0, 21.5)), 2.0, stop_m, 1.5), 0)
    made.read(0, 60 * S)
    assert true_kg(made, 60.0) == [700.0]


BEAM = ((0.5, 1.5), (7.5, 1.5))
ASLANT = ((0.0, 0.0), (8.0, 3.0), (4.0, 1.501))


@pytest.mark.parametrize(
    ("at_m", "command", "message"),
    [
        (BEAM, Place("x", 1.0, 2.0, 1.51), "load 'x' would tip the receptor over: it stands 0.01 m beside"),
        (BEAM, Place("x", 1.0, 2.0, 0.0), "at most 7 mm beside it, as at 2 m, 1.5 m"),
        (BEAM, Move("stone", 2.0, 3.0), "load 'stone' would tip the receptor over: it stands 1.5 m beside"),
        (BEAM, Drive("x", (Axle(1.0, 0.0),), 2.0, 7.0, 1.0), "it comes 0.5 m beside the line"),
        (BEAM, Drive("x", (Axle(1.0, 0.0),), 2.0, 7.0, 1.0), "; 1.5 m across"),
        (ASLANT, Place("x", 1.0, 4.0, 1.6), "load 'x' would tip the receptor over"),
        (ASLANT, Drive("x", (Axle(1.0, 0.0),), 2.0, 7.0, 1.5), "supports that do not stand on one line"),
    ],
)
def test_a_load_beside_a_line_of_supports_would_tip_the_deck_and_is_refused(
    at_m: tuple[tuple[float, float], ...], command: SiteCommand, message: str
) -> None:
    made = scale(parts(at=at_m))
    made.do(Place("stone", 500.0, 4.0, 1.5), S)
    with pytest.raises(BadInput) as caught:
        made.do(command, 2 * S)
    assert message in str(caught.value)
    assert made.loads == ("stone",)
    assert true_kg(made, 3.0) == [500.0]


def test_a_load_on_a_line_of_supports_is_shared_along_it() -> None:
    made = scale(parts(at=BEAM))
    made.do(Place("a", 700.0, 2.5, 1.506), S)
    made.do(Drive("lorry", (Axle(700.0, 0.0),), 2.0, 4.0, 1.5), S)
    assert made.true_cells_kg(at(20.0))[0] == pytest.approx([500.0 + 350.0, 200.0 + 350.0], abs=1e-9)


@pytest.mark.parametrize("at_m", [((4.0, 1.5),), ((4.0, 1.5), (4.003, 1.5))])
def test_on_supports_in_one_place_a_load_may_stand_anywhere(at_m: tuple[tuple[float, float], ...]) -> None:
    made = scale(parts(at=at_m))
    made.do(Place("a", 600.0, 0.0, 3.0), S)
    made.do(Drive("lorry", (Axle(700.0, 0.0),), 2.0, 4.0, 0.2), S)
    assert made.true_cells_kg(at(20.0))[0].sum() == pytest.approx(1_300.0, abs=1e-9)


def test_a_long_session_forgets_the_decks_that_no_one_can_ask_for() -> None:
    """A deck a second for two hours, asked each second as a bench does: what is kept does not grow."""
    made = parts()
    history = History(Deck(made.receptor), 0)
    kept = []
    for second in range(1, 7_200):
        load = Standing("block", float(second), 4.0, 1.5)
        history.append(second * S, Deck(made.receptor, (load,)))
        assert history.mass_kg(at(second + 0.5)).tolist() == [second]
        kept.append(len(history))
    assert max(kept) == max(kept[: len(kept) // 2]) < 1_000
    asked = at(*range(7_199 - KEPT_US // S, 7_200))
    assert history.mass_kg(asked + 1).tolist() == [7_199.0 - KEPT_US // S + n for n in range(len(asked))]


def test_what_is_forgotten_is_not_made_up() -> None:
    history = History(Deck(parts().receptor), 0)
    for second in range(1, 7_200):
        history.append(second * S, Deck(parts().receptor))
    assert len(history) == 7_200
    history.mass_kg(at(7_200))
    with pytest.raises(ValueError, match="forgotten up to"):
        history.mass_kg(at(100))
    with pytest.raises(ValueError, match="forgotten up to"):
        history.cells_kg(at(100))
