"""The guided calibration: what it asks for, takes and refuses, and that nothing is lost by a refusal."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.host.calibration import Calibration, begin, noticed
from benchsim.host.calibration_parts import Kind, Reading, Refusal, signed_kg
from benchsim.host.calibration_results import results_of
from benchsim.host.calibration_tasks import sections_of, tasks_of, usual_points
from benchsim.rules.profile import load_profile, profile_names
from tests.host.calibrated import (
    R76,
    SHEET,
    HandScale,
    bending,
    refused,
    settings,
    step,
    stiff_square,
    walked,
)

TRUE = (0.000501, 0.000498, 0.000505, 0.0004995)


def scale(**changed: object) -> HandScale:
    return HandScale(TRUE, bending(4), **changed)  # type: ignore[arg-type]


def rest(*counts: float, stable: bool = True) -> Reading:
    return Reading(counts, (0.0,) * len(counts), 1, stable, "" if stable else "in motion")


# -- the way through -----------------------------------------------------------------------------------


def test_a_whole_calibration_of_a_noiseless_scale_gives_back_its_coefficients() -> None:
    state = walked(settings(), scale())
    found = results_of(state)
    assert found.kg_per_count == pytest.approx(TRUE, rel=1e-10)
    assert found.zero_counts == pytest.approx((10_000.0,) * 4)
    assert found.span_factor == pytest.approx(1.0, abs=1e-10)
    assert [row.error_kg for row in found.rows] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert found.spread_kg == pytest.approx(0.0, abs=1e-6)
    assert (state.finished, state.prompt(), found.passed) == (True, None, True)


def test_the_span_is_set_by_the_largest_load_of_test_weights() -> None:
    """A scale whose large loads read 0.04 % more than its small ones: the span takes that, and tells it."""
    own = settings(points_kg=())
    state = walked(own, scale(), steps=7)
    state = walked_on(state, scale(gain=1.0004))
    found = results_of(state)
    assert found.span_factor == pytest.approx(1 / 1.0004, rel=1e-9)
    assert found.kg_per_count == pytest.approx([k / 1.0004 for k in TRUE], rel=1e-9)


def walked_on(state: Calibration, other: HandScale) -> Calibration:
    while state.task is not None:
        after = step(state, other)
        assert isinstance(after, Calibration), after
        state = after
    return state


@pytest.mark.parametrize("name", profile_names())
def test_every_prompt_asks_in_plain_words_and_says_what_to_mind(name: str) -> None:
    own = settings(profile=load_profile(name), weights_kg=Decimal(1200), group_limit_kg=Decimal(1500))
    state, kinds = begin(own), set()
    for index in range(len(state.readings)):
        prompt = replace(state, at=index).prompt()
        assert prompt is not None
        kinds.add(prompt.kind)
        assert (prompt.number, prompt.of) == (index + 1, len(state.readings))
        assert prompt.expects.endswith("at rest")
        words = " ".join(prompt.cautions)
        assert "Stand clear" in words
        assert "never below a suspended weight" in words
        if prompt.kind is Kind.CORNER and prompt.group is not None:
            assert "1.5 t at most" in words
            assert f"cell {prompt.group + 1}" in prompt.text
        if prompt.kind is not Kind.ZERO:
            assert " kg" in prompt.text or " t" in prompt.text
    assert kinds == set(Kind)


def test_every_load_has_an_empty_deck_before_it() -> None:
    tasks = tasks_of(settings())
    assert tasks[0].kind is Kind.ZERO
    assert tasks[-1].kind is Kind.ZERO
    span = next(i for i, t in enumerate(tasks) if t.kind is Kind.SPAN)
    assert tasks[span - 1].kind is Kind.ZERO
    for i, task in enumerate(tasks):
        if task.kind is Kind.REPEAT:
            assert tasks[i - 1].kind is Kind.ZERO


# -- refused, repeated, gone back ----------------------------------------------------------------------


def test_a_load_that_moves_is_refused_and_nothing_is_lost() -> None:
    state = walked(settings(), scale(), steps=3)
    moving = replace(scale().read(state.task, (2,)), stable=False, reason="in motion")  # type: ignore[arg-type]
    answer = state.done(moving)
    assert answer == Refusal("not at rest: in motion", "wait until it rests, then say done")
    after = step(state, scale())
    assert isinstance(after, Calibration)
    assert after.readings[:3] == state.readings[:3]


def test_a_load_that_was_forgotten_is_refused() -> None:
    state = walked(settings(), scale(), steps=1)
    answer = state.done(rest(*(10_000.0,) * 4))
    assert isinstance(answer, Refusal)
    assert str(answer) == (
        "no load of 1 t is seen on the deck; put it over cell 1, then say done;"
        " where it stands there, look for a dead cell, its plug and its channel"
    )


def test_a_forgotten_load_is_seen_to_be_missing_without_data_sheets_too() -> None:
    state = walked(settings(sheet=None), scale(noise=50.0), steps=1)
    noisy = scale(noise=50.0, seed=9).read(tasks_of(settings())[0])
    assert isinstance(state.done(noisy), Refusal)


def test_counts_of_another_number_of_cells_are_refused() -> None:
    assert begin(settings()).done(rest(1.0, 2.0)) == Refusal("counts of 2 cells", "4: the scale has 4")


@pytest.mark.parametrize("count", [float("nan"), float("inf")])
def test_counts_that_are_no_numbers_are_refused(count: float) -> None:
    state = begin(settings())
    for reading in (rest(1.0, 2.0, count, 4.0), Reading((1.0,) * 4, (count,) * 4, 1, True)):
        assert state.done(reading) == Refusal("counts that are no numbers", "read the scale again")
    assert isinstance(state.done(Reading((1.0,) * 4, (0.0,) * 4, 0, True)), Refusal)


def test_what_is_left_on_the_deck_is_told_with_its_place() -> None:
    state = walked(settings(), scale(), steps=6)
    assert state.task is not None
    assert state.task.kind is Kind.ZERO
    answer = state.done(scale(extra_kg=(0.0, 0.5, 7.0, 0.0)).read(state.task))
    assert isinstance(answer, Refusal)
    assert answer.found == "the deck is not as empty as at first: +7.50 kg, of which +7.00 kg on cell 3"
    assert isinstance(step(state, scale()), Calibration)


def test_a_span_load_of_another_mass_is_refused() -> None:
    state = walked(settings(), scale(), steps=7)
    answer = step(state, scale(gain=0.9))
    assert isinstance(answer, Refusal)
    assert answer.found == "2700.00 kg are seen on the deck where 3 t were asked for"


def test_a_set_that_cannot_be_solved_is_refused_at_its_last_load_and_can_be_mended() -> None:
    """The second load was put with a tool box on the deck: one step back again and again, and it is right."""
    state = walked(settings(), scale(), steps=2)
    wrong = step(state, scale(extra_kg=(4.0, 4.0, 4.0, 4.0)))
    assert isinstance(wrong, Calibration)
    state = wrong
    while state.at < 5:
        state = step(state, scale())  # type: ignore[assignment]
    answer = step(state, scale())
    assert isinstance(answer, Refusal)
    assert answer.found.startswith("residual ")
    for _ in range(3):
        state = state.back()
    assert state.at == 2
    mended = step(state, scale())
    assert isinstance(mended, Calibration)
    assert mended.at == 5  # what was read later stays
    done = walked_on(mended, scale())
    assert results_of(done).kg_per_count == pytest.approx(TRUE, rel=1e-10)


def test_again_takes_the_last_step_anew_and_back_goes_step_by_step() -> None:
    state = walked(settings(), scale(), steps=4)
    assert (state.at, state.again().at, state.again().again().at) == (4, 3, 3)
    assert (state.back().back().at, begin(settings()).back().at, begin(settings()).again().at) == (2, 0, 0)
    redone = step(state.again(), scale())
    assert isinstance(redone, Calibration)
    assert redone.at == 4


@given(moves=st.lists(st.sampled_from(["done", "again", "back", "moving"]), max_size=25))
def test_however_one_goes_back_and_forth_the_result_is_the_same(moves: list[str]) -> None:
    own = settings(repeats=0, points_kg=())
    state = begin(own)
    for move in moves:
        if state.task is None:
            break
        if move == "again":
            state = state.again()
        elif move == "back":
            state = state.back()
        elif move == "moving":
            assert isinstance(state.done(rest(*(0.0,) * 4, stable=False)), Refusal)
        else:
            after = step(state, scale())
            if isinstance(after, Refusal):  # a load whose empty deck was skipped: there is none
                raise AssertionError(after)
            state = after
    while not state.finished:
        state = step(state, scale())  # type: ignore[assignment]
    assert results_of(state).kg_per_count == pytest.approx(TRUE, rel=1e-10)
    assert len(state.readings) == len(tasks_of(own))


def test_results_are_refused_while_steps_are_left() -> None:
    with pytest.raises(BadInput, match="17 steps are left"):
        results_of(walked(settings(), scale(), steps=1))


# -- what is told --------------------------------------------------------------------------------------


def test_crossed_channels_are_noticed_at_the_first_load() -> None:
    """Cells 1 and 2 on each other's channel: the load over 1 is taken by 2."""
    crossed = HandScale(TRUE, bending(4)[:, [1, 0, 2, 3]])
    state = walked(settings(), crossed, steps=2)
    assert noticed(state, 1) == (
        "cell 2 takes most of a load over cell 1: channels crossed, or another place",
    )


def test_a_crossed_signal_pair_is_noticed_at_once_and_refused_at_the_end() -> None:
    pair = HandScale((TRUE[0], -TRUE[1], *TRUE[2:]), stiff_square())
    own = settings()
    assert "the counts of cell 2 fall under it" in noticed(walked(own, pair, steps=3), 2)
    _, refusal = refused(own, pair)
    assert refusal.found.startswith("negative coefficient: the counts of cell 2 fall")


def test_a_cell_whose_rated_output_is_another_than_its_sheet_says_is_told() -> None:
    found = results_of(walked(settings(), HandScale((SHEET, SHEET, SHEET * 1.03, SHEET), bending(4))))
    assert found.passed
    assert "cell 3: +3.00% from the data sheet, whose tolerance is 0.25%" in found.notes


def test_weighings_that_differ_too_much_fail_and_are_not_sealed() -> None:
    state = walked(settings(), scale())
    last = max(i for i, t in enumerate(tasks_of(state.settings)) if t.kind is Kind.REPEAT)
    reading = scale(gain=1.001).read(tasks_of(state.settings)[last])
    worse = replace(state, at=last).done(reading)
    assert isinstance(worse, Calibration)
    found = results_of(worse)
    assert found.spread_kg == pytest.approx(2.4)
    assert found.failed == ("repeated weighings 2.40 kg apart, above 1.5 kg (r76-iii, initial)",)
    with pytest.raises(BadInput, match="not sealed: repeated weighings"):
        found.seal()


def test_an_error_above_the_tolerance_fails_with_load_and_limit() -> None:
    state = walked(settings(), scale())
    at = next(i for i, t in enumerate(tasks_of(state.settings)) if t.load_kg == 500)
    worse = replace(state, at=at).done(scale(gain=1.0013).read(tasks_of(state.settings)[at]))
    assert isinstance(worse, Calibration)
    assert results_of(worse).failed == ("error +0.65 kg at 500 kg, above 500 g (r76-iii, initial)",)


def test_weights_too_coarse_for_the_scale_fail() -> None:
    """R 76-1 3.7.1 (memory): 3 t of 20 kg M3 weights may be wrong by 1.5 kg, and 0.5 kg are allowed."""
    found = results_of(walked(settings(weight_class="M3"), scale()))
    assert found.failed[-1].startswith("error of the test weights at 3 t: M3 in pieces of 20 kg: 1.5 kg")


def test_what_the_empty_deck_comes_back_to_is_told_with_its_sign() -> None:
    state = walked(settings(), scale())
    last = len(state.readings) - 1
    after = replace(state, at=last).done(
        scale(extra_kg=(0.4, 0.0, 0.0, 0.0)).read(tasks_of(settings())[last])
    )
    assert isinstance(after, Calibration)
    assert results_of(after).zero_return_kg == pytest.approx(0.4)


def test_weighings_that_scatter_make_a_built_up_load_less_certain() -> None:
    """1 kg between the lowest and the highest of three is a standard deviation of 1/1.693 kg, and each of
    the two readings of a substitution has that.
    """
    own = settings(weights_kg=Decimal(1500))
    state = walked(own, scale())
    at = next(i for i, t in enumerate(tasks_of(own)) if t.kind is Kind.REPEAT)
    after = replace(state, at=at).done(scale(gain=1 + 1 / 1500).read(tasks_of(own)[at]))
    assert isinstance(after, Calibration)
    carried = results_of(after).rows[-1].carried
    assert carried is not None
    assert carried.comparisons == pytest.approx(2**0.5 / 1.693, rel=1e-6)


def test_weighings_agree_within_the_stage_that_the_profile_names() -> None:
    """HB 44 T.N.5 (memory): within the maintenance tolerance, 3 d at 2 400 d in class III; R 76-1 3.6.1: as
    tested.
    """
    hb44 = settings(profile=load_profile("hb44-iii"))
    assert results_of(walked(hb44, scale())).spread_allowed_kg == 3
    assert results_of(walked(settings(), scale())).spread_allowed_kg == Decimal("1.5")


# -- settings ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"corner_kg": Decimal(0)}, "the test weight: 0 kg; more than 0 kg, at most Max, 3 t"),
        ({"corner_kg": Decimal(2000), "weights_kg": Decimal(1000)}, "all test weights at hand are 1 t"),
        ({"group_limit_kg": Decimal(900)}, "at most 900 kg: more can harm the cells there"),
        (
            {"weights_kg": Decimal(100), "corner_kg": Decimal(100)},
            "272.7 kg or more: at most 10 substitutions",
        ),
        ({"points_kg": (Decimal(3001),)}, "a linearity point: 3.001 t"),
        ({"interval_kg": Decimal(3)}, "1, 2 or 5 times a power of ten"),
        ({"groups": ((0, 1), (2,))}, "each of the cells 0 to 3 once"),
        ({"groups": ((0, 1), (2, 3)), "sheet": None}, "sections without data-sheet figures"),
        ({"places": ((1, 0), (1, 1), (1, 1), (1, 3))}, "one cell a channel"),
        ({"sheet": (1e-4, 1e-4, 0.0, 1e-4)}, "kilograms a count above 0"),
        ({"repeats": 1}, "2 or more, or 0 for none"),
        ({"condition_limit": 1.0}, "more than 1"),
    ],
)
def test_settings_that_cannot_be_are_refused(changed: dict[str, object], words: str) -> None:
    with pytest.raises(BadInput) as raised:
        begin(settings(4, **changed))
    assert words in str(raised.value)


@pytest.mark.parametrize("name", profile_names())
def test_the_usual_points_run_from_min_to_max_and_are_enough(name: str) -> None:
    """R 76-1 A.4.4.1 (memory): at least 5 loads, with Min, Max and where the tolerance changes."""
    profile = load_profile(name)
    points = usual_points(Decimal(3000), Decimal(1), profile)
    assert points[0] == profile.min_load_d
    assert points[-1] == 3000
    assert len(points) >= 5
    assert list(points) == sorted(set(points))
    assert {Decimal(500), Decimal(2000)} <= set(usual_points(Decimal(3000), Decimal(1), R76))


def test_tolerances_count_what_the_rules_count_and_begin_right_above_a_step() -> None:
    """R 76-1 Table 6, in e: 0.5 e up to 500 e, 1 e up to 2 000 e.  HB 44 Table 6 (acceptance), in d."""
    fine = settings(interval_kg=Decimal("0.5"), verification_interval_kg=Decimal(1))
    assert [fine.tolerance_kg(Decimal(m)) for m in ("500", "500.2", "2000")] == [Decimal("0.5"), 1, 1]
    other = replace(fine, profile=load_profile("hb44-iii"))
    assert other.tolerance_kg(Decimal(2000)) == Decimal("0.75")  # 4 000 d: 3 d, half of it


def test_sections_are_the_cells_side_by_side() -> None:
    places = ((0.3, 0.3), (0.3, 2.7), (9.0, 0.3), (9.0, 2.7), (17.7, 1.5))
    assert sections_of(places) == ((0, 1), (2, 3), (4,))
    with pytest.raises(BadInput, match="cell by cell"):
        sections_of(((0.0, 1.0), (5.0, 1.0)))


def test_differences_are_rounded_to_a_hundredth_of_the_interval() -> None:
    """R 76-1 A.4.4.3, the rounding model, on d/100."""
    texts = [signed_kg(kg, Decimal(20)) for kg in (0.31, -0.31, -0.04, 0.1)]
    assert texts == ["+0.4 kg", "-0.4 kg", "+0.0 kg", "+0.2 kg"]
    assert signed_kg(1.005, Decimal(1)) == "+1.01 kg"
