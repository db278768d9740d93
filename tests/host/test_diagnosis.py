"""What a diagnosis finds on scales whose ailment is known, and that it keeps still where there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from benchsim.faults.fault import Value, catalogue
from benchsim.ground.commands import StartFault
from benchsim.host.diagnosis.diagnose import WORDS, diagnose, seen
from benchsim.host.diagnosis.known import KNOWN
from benchsim.host.diagnosis.parts import UNKNOWN, Diagnosis, Sign
from benchsim.host.diagnosis.roughness import _spectrum
from benchsim.host.diagnosis.weighing import HEALTHY, Known, read_table, weigh
from tests.host.site_story import LAYOUTS, Visit, built, visit

PLATFORM, DECK = "platform of 4", "truck deck on 6"
SEED = 201


def ill(layout: str, fault: str, target: int, **figures: Value) -> Visit:
    return visit(built(layout, SEED), SEED, StartFault("it", fault, target, figures))


def judged(one: Visit, most: int = 3) -> Diagnosis:
    return diagnose(one.case, one.ear.hearing(one.case.addresses, one.case.rate_hz), most=most)


def signs(one: Visit) -> Mapping[str, Sign]:
    return seen(one.case, one.ear.hearing(one.case.addresses, one.case.rate_hz)).signs


@pytest.mark.parametrize("layout", [PLATFORM, DECK, "hopper on 3", "one platform cell"])
def test_nothing_stands_out_on_a_healthy_scale(layout: str) -> None:
    found = judged(visit(built(layout, SEED), SEED))
    assert found.healthy
    assert not found.causes
    assert not [sign.text for place in found.places for sign in place.loud]


@pytest.mark.parametrize(
    ("layout", "fault", "number", "figures", "target"),
    [
        (PLATFORM, "dead-cell", 3, {}, "cell 3"),
        (PLATFORM, "swapped-signal", 2, {}, "cell 2"),
        (PLATFORM, "zero-shift", 4, {"shift_mv_per_v": 0.05}, "cell 4"),
        (DECK, "open-terminal", 5, {"terminal": "SIG+"}, "cell 5"),
        (DECK, "low-support", 0, {"support": 3, "lost": 0.4}, "cell 3"),
        (DECK, "reference-drift", 1, {"drift": 0.005, "over_us": 0}, "node 1"),
        (DECK, "mains-pickup", 2, {}, "node 2"),
        (DECK, "stuck-code", 2, {"bits": 16}, "node 2"),
        (PLATFORM, "interference", 1, {"loss": 0.1, "direction": "up"}, "node 1"),
    ],
)
def test_a_plain_fault_is_among_the_first_three_at_its_place(
    layout: str, fault: str, number: int, figures: dict[str, Value], target: str
) -> None:
    found = judged(ill(layout, fault, number, **figures))
    assert (fault, target) in [(cause.name, cause.target) for cause in found.causes]
    assert all(cause.evidence for cause in found.causes)


# -- figures against closed forms -------------------------------------------------------------------------


def test_the_answer_of_a_cell_is_what_its_span_has_become() -> None:
    """Within what nonlinearity, hysteresis and creep of a class C cell may do: 0.035 % of E_max."""
    found = signs(ill(PLATFORM, "span-drift", 2, drift=-0.2, over_us=0))["answer"]
    assert found.word == "far less"
    assert float(found.text.split()[1].rstrip("%")) == pytest.approx(80.0, abs=0.1)


def test_a_zero_that_has_shifted_is_told_in_kilograms() -> None:
    """0.05 mV/V of 2 mV/V of 1500 kg are 37.5 kg."""
    found = signs(ill(PLATFORM, "zero-shift", 4, shift_mv_per_v=0.05))["zero"]
    assert found.word == "high"
    assert "+37.5 kg" in found.text


def test_a_support_that_gave_way_is_told_with_the_stiffness_it_lost() -> None:
    """Statics of a stiff plate: the pattern is exact, so the figure is the fault's within a hundredth."""
    found = signs(ill(DECK, "low-support", 0, support=3, lost=0.4))["support"]
    assert found.word == "gave way"
    assert "support 3 has lost about 40% of its stiffness" in found.text


@pytest.mark.parametrize("mains_hz", [50.0, 60.0, 16.7])
def test_a_line_is_told_where_sampling_folds_it_to(mains_hz: float) -> None:
    """Sampling theorem: at 80 Hz a sine of f appears at |f - 80 n|.  Bins are 0.625 Hz wide."""
    folded_hz = abs(mains_hz - 80.0 * round(mains_hz / 80.0))
    found = signs(ill(PLATFORM, "mains-pickup", 1, frequency_hz=mains_hz, amplitude_mv_per_v=0.01))["line"]
    assert found.word != "none"
    assert float(found.text.split(" Hz")[0].split()[-1]) == pytest.approx(folded_hz, abs=0.35)


def test_the_spectrum_is_the_periodogram_of_scipy() -> None:
    noise = np.random.default_rng(5).normal(size=3 * 128)
    power, rows = _spectrum([noise])
    straight = signal.detrend(noise.reshape(3, 128), type="linear")
    _, theirs = signal.periodogram(straight, window="hann", detrend=False, scaling="spectrum")
    whole = signal.get_window("hann", 128).sum() ** 2
    assert rows == 3
    np.testing.assert_allclose(power[1:-1] * 2.0 / whole, theirs.mean(axis=0)[1:-1], rtol=1e-9)


def test_a_clock_is_told_by_its_rate() -> None:
    found = signs(ill(DECK, "clock-error", 2, error_ppm=1000.0))["clock"]
    own_ppm = next(s for s in built(DECK, SEED).plan.scale.stations).digitiser.clock_error_ppm
    assert found.word == "fast"
    assert float(found.text.split()[3]) == pytest.approx(1000.0 + own_ppm, abs=30.0)


# -- what cannot be told ------------------------------------------------------------------------------------


def test_without_a_change_of_load_it_says_that_data_are_not_enough() -> None:
    one = visit(built(PLATFORM, SEED), SEED)
    empty = replace(one.case, notes=(replace(one.case.notes[0], until_us=11_000_000),))
    found = diagnose(empty, one.ear.hearing(empty.addresses, empty.rate_hz))
    assert found.healthy
    assert any("No known load was seen to come or go" in gap for gap in found.gaps)


def test_a_host_that_heard_nothing_names_the_link_and_claims_nothing_of_cells() -> None:
    found = judged(ill(PLATFORM, "power-loss", 1))
    assert not found.healthy
    assert {cause.target for cause in found.causes} == {"node 1"}
    assert any("No known load" in gap for gap in found.gaps)


# -- listening ----------------------------------------------------------------------------------------------


def test_listening_changes_no_indication() -> None:
    from benchsim.bench.bench import Bench

    scale = built(PLATFORM, SEED)
    deaf = Bench(scale.plan, scale.profile, SEED)
    deaf.run(scale.plan.lasts_us)
    heard = visit(scale, SEED).trace.columns()
    for name in ("t_us", "tenths_gross_d", "flags", "cells_kg"):
        np.testing.assert_array_equal(getattr(deaf.trace.columns(), name), getattr(heard, name))


# -- weighing -----------------------------------------------------------------------------------------------


def test_log_odds_are_those_worked_out_by_hand() -> None:
    """88 % by what came, 10 % by words of its kind (a third to each), and half a per cent for any word."""
    table = read_table("healthy | - | 9 |\nbad | cell | 4 | answer: 3 less, 1 as due | zero:\n  4 high\n")
    odd = {
        "answer": Sign("answer", "less", 5.0, ""),
        "zero": Sign("zero", "right", 0.1, ""),
        "loop": Sign("loop", UNKNOWN, 0.0, ""),
    }
    (found,) = weigh(odd, table)
    by_name = {evidence.sign.name: evidence.log_odds for evidence in found.evidence}
    answer, zero = (
        math.log(((0.88 + 0.1 / 3) * 0.75 + 0.005) / 0.005),
        math.log(0.005 / (0.88 + 0.1 / 3 + 0.005)),
    )
    assert by_name == {"answer": pytest.approx(answer)}
    assert found.log_odds == pytest.approx(answer + zero)
    assert found.share == 1.0


def test_shares_fall_with_the_odds_and_add_up() -> None:
    table = {
        HEALTHY: Known("", 9, {}),
        "one": Known("cell", 9, {"answer": {"less": 9}}),
        "two": Known("cell", 9, {"answer": {"less": 4, "as due": 5}}),
    }
    found = weigh({"answer": Sign("answer", "less", 5.0, "")}, table)
    assert [one.name for one in found] == ["one", "two"]
    assert found[0].share > found[1].share > 0
    assert sum(one.share for one in found) == pytest.approx(1.0)


# -- the table ----------------------------------------------------------------------------------------------


def test_every_cause_that_can_be_named_is_a_fault_of_the_catalogue() -> None:
    assert set(KNOWN) - {HEALTHY} <= set(catalogue())


def test_the_table_knows_only_signs_and_words_that_there_are() -> None:
    for one in KNOWN.values():
        assert one.target in ("", "-", "cell", "pair", "node", "deck", "site", "host")
        for sign, words in one.seen.items():
            assert set(words) <= set(WORDS[sign])
            assert sum(words.values()) <= one.visits


def test_the_scales_of_the_story_differ_in_cells_nodes_and_conductors() -> None:
    scales = [built(name, SEED).plan.scale for name in LAYOUTS]
    assert {len(scale.cells) for scale in scales} >= {1, 3, 4, 6, 8, 16}
    assert {scale.wiring[0].sensed for scale in scales} == {True, False}
