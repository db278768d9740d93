"""What holds for every fault of the catalogue.  A new one is tested by being there."""

from __future__ import annotations

import copy
import dataclasses
import inspect
import math
from pathlib import Path
from typing import Any

import pytest

import benchsim.faults
from benchsim.faults.fault import HOUR_US, STAGES, Entry, Parameter, catalogue
from benchsim.ground.errors import BadInput
from tests.faults.healthy import HEALTHY

AGES_US = (0, 1, 1_000_000, 3_000_000, HOUR_US, 30 * HOUR_US)

EVERY = pytest.mark.parametrize("entry", catalogue().values(), ids=catalogue())
FIGURES = [(e, p) for e in catalogue().values() for p in e.parameters if not p.words]
EVERY_FIGURE = pytest.mark.parametrize(
    ("entry", "figure"), FIGURES, ids=[f"{e.name}-{p.name}" for e, p in FIGURES]
)
VARYING = [e for e in catalogue().values() if e.varies]


def folded(entry: Entry, age_us: int, **parameters: float | str) -> Any:
    return entry.make(parameters).fold(HEALTHY[entry.stage], age_us)


def finite(value: Any) -> bool:
    """Whether every figure in a part, however deep, is a number."""
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, tuple | list):
        return all(map(finite, value))
    if dataclasses.is_dataclass(value):
        return all(finite(getattr(value, f.name)) for f in dataclasses.fields(value))
    return True


@EVERY
def test_a_fault_changes_its_part_and_keeps_its_kind(entry: Entry) -> None:
    part = HEALTHY[entry.stage]
    changed = folded(entry, 12 * HOUR_US + HOUR_US)
    assert type(changed) is type(part) is STAGES[entry.stage]
    assert changed != part


@EVERY
def test_a_fold_leaves_the_part_it_was_given_as_it_was(entry: Entry) -> None:
    before = copy.deepcopy(HEALTHY[entry.stage])
    folded(entry, HOUR_US)
    assert before == HEALTHY[entry.stage]


@EVERY
@pytest.mark.parametrize("age_us", AGES_US)
def test_how_often_a_fold_is_called_changes_nothing(entry: Entry, age_us: int) -> None:
    one, other = entry.make({}), entry.make({})
    part = HEALTHY[entry.stage]
    first = one.fold(part, age_us)
    for earlier_us in AGES_US:
        one.fold(part, earlier_us)
    assert one.fold(part, age_us) == first == other.fold(part, age_us)


@EVERY
@pytest.mark.parametrize("age_us", AGES_US)
def test_two_of_the_same_fault_are_two_folds_with_finite_figures(entry: Entry, age_us: int) -> None:
    made = entry.make({})
    assert finite(made.fold(made.fold(HEALTHY[entry.stage], age_us), age_us))


@EVERY
def test_a_fault_varies_with_its_age_if_and_only_if_it_says_so(entry: Entry) -> None:
    shown = [folded(entry, age_us) for age_us in AGES_US]
    assert (any(part != shown[0] for part in shown)) == entry.varies == entry.make({}).varies


@EVERY
def test_a_fault_says_what_is_seen_where_it_comes_from_how_to_confirm_and_what_to_mind(entry: Entry) -> None:
    for text in (entry.summary, entry.seen, entry.cause, entry.confirm, entry.caution):
        assert len(text.split()) >= 4
        assert text == " ".join(text.split())
    assert entry.summary.endswith(".")
    assert not any(text.endswith(".") for text in (entry.seen, entry.cause, entry.confirm, entry.caution))


@EVERY
def test_a_fault_is_a_frozen_value_named_after_its_file(entry: Entry) -> None:
    made: Any = entry.make({})
    words = entry.kind.__module__.rsplit(".", 1)[1].split("_")
    assert entry.kind.__name__ == "".join(w.capitalize() for w in words)
    assert "-".join(words) == entry.name
    assert made == entry.make({})
    assert hash(made) == hash(entry.make({}))


@EVERY
def test_a_fold_takes_and_gives_the_part_of_its_stage(entry: Entry) -> None:
    hints = inspect.get_annotations(entry.kind.__dict__["fold"], eval_str=True)
    assert hints == {"part": STAGES[entry.stage], "age_us": int, "return": STAGES[entry.stage]}


@EVERY
def test_the_default_of_every_parameter_is_allowed(entry: Entry) -> None:
    defaults = {p.name: p.default for p in entry.parameters}
    assert entry.make(defaults) == entry.make({})
    assert all(p.doc for p in entry.parameters)


@EVERY
def test_a_parameter_by_another_name_is_told_which_there_are(entry: Entry) -> None:
    with pytest.raises(BadInput) as told:
        entry.make({"no_such_figure": 1.0})
    for parameter in entry.parameters:
        assert parameter.word in str(told.value)


@EVERY_FIGURE
def test_both_ends_of_a_range_fold_to_finite_figures(entry: Entry, figure: Parameter) -> None:
    for end in (figure.low, figure.high):
        if figure.name == "support" and end > len(HEALTHY["deck"].supports):
            continue
        beside = {"first": 3} if figure.name == "second" else {}  # two cells, never one with itself
        assert finite(folded(entry, HOUR_US, **beside, **{figure.name: end}))


@EVERY_FIGURE
def test_a_figure_out_of_its_range_is_refused_with_the_range(entry: Entry, figure: Parameter) -> None:
    assert math.isfinite(figure.low)
    assert math.isfinite(figure.high)
    wide = 1.0 + figure.high - figure.low
    for value in (figure.low - wide, figure.high + wide, math.nan, math.inf, -math.inf):
        with pytest.raises(BadInput, match="allowed: ") as told:
            entry.make({figure.name: value})
        assert figure.shown(figure.high) in str(told.value)


@EVERY_FIGURE
def test_a_figure_is_read_with_its_unit_and_refused_without(entry: Entry, figure: Parameter) -> None:
    if figure.dimension is None:
        assert entry.read({figure.word: figure.default}) == {figure.name: figure.default}
        return
    for value in (figure.default, figure.low, figure.high):
        assert entry.read({figure.word: figure.shown(value)}) == {figure.name: value}
        assert entry.read({figure.name: figure.shown(value)}) == {figure.name: value}
    if figure.dimension.base != "1":
        with pytest.raises(BadInput, match="unit"):
            entry.read({figure.word: figure.default})


def test_the_catalogue_holds_every_file_of_every_stage() -> None:
    folder = Path(benchsim.faults.__file__).parent
    files = {(f.parent.name, f.stem.replace("_", "-")) for f in folder.glob("*/*.py") if f.stem != "__init__"}
    assert {(e.stage, e.name) for e in catalogue().values()} == files
    assert {e.stage for e in catalogue().values()} == set(STAGES)


def test_the_catalogue_runs_along_the_weight_s_way() -> None:
    stages = [entry.stage for entry in catalogue().values()]
    assert stages == sorted(stages, key=list(STAGES).index)
