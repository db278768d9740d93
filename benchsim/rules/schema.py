"""What may stand in a rule profile: every key with its kind, its range and what it means.

A new value of a standard is one line here, one field of Profile, and a line in each file.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from benchsim.ground.errors import BadInput, unknown

COUNTED = "d or e"  # stands for the one that the profile's limits_count_in names
MARKS = ("seen", "memory", "computed", "common practice, no source")
HEAD = ("title", "standard", "class", "kind")
SECTIONS = ("intervals", "motion", "zero", "limits", "tare", "recording", "tolerance")


@dataclass(frozen=True, slots=True)
class Key:
    """One key: where it stands, how its value is read (BadInput when it cannot be), what it means."""

    section: str
    name: str
    read: Callable[[Any], Any]
    sample: str
    what: str
    unit: str = ""
    optional: bool = False

    def example(self) -> str:
        return f'{self.name} = {{ value = {self.sample}, clause = "...", mark = "memory" }}'


def number(low: str, high: str) -> Callable[[Any], Decimal]:
    """A reader of an exact number within a range, ends included."""

    def read(value: Any) -> Decimal:
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            raise BadInput(f"{value!r} is not a number", f"write a number from {low} to {high}")
        exact = Decimal(value)
        if not exact.is_finite() or not Decimal(low) <= exact <= Decimal(high):
            raise BadInput(f"{exact} is out of range", f"write a number from {low} to {high}")
        return exact

    return read


def whole(low: int, high: int) -> Callable[[Any], int]:
    """A reader of a whole number within a range, ends included."""

    def read(value: Any) -> int:
        if isinstance(value, bool) or not isinstance(value, int):
            raise BadInput(f"{value!r} is not a whole number", f"write one from {low} to {high}")
        if not low <= value <= high:
            raise BadInput(f"{value} is out of range", f"write a whole number from {low} to {high}")
        return value

    return read


def one_of(*words: str) -> Callable[[Any], str]:
    """A reader of one word of a few."""

    def read(value: Any) -> str:
        if not isinstance(value, str) or value not in words:
            raise unknown("word", str(value), words)
        return value

    return read


def yes_or_no(value: Any) -> bool:
    if not isinstance(value, bool):
        raise BadInput(f"{value!r} is neither true nor false", "write true or false")
    return value


def read_bands(value: Any) -> tuple[tuple[int, Decimal], ...]:
    """[[500, 1], [2000, 2]]: loads rising, tolerances positive and not falling."""
    right = (
        "write [[load, tolerance], ...], loads rising and tolerances never falling, as [[500, 1], [2000, 2]]"
    )
    if not isinstance(value, list) or not value:
        raise BadInput(f"{value!r} is not a list of steps", right)
    bands = []
    for step in value:
        if not isinstance(step, list) or len(step) != 2:
            raise BadInput(f"{step!r} is not a step", right)
        bands.append((whole(1, 10**7)(step[0]), number("0.01", "1000")(step[1])))
    for before, after in itertools.pairwise(bands):
        if after[0] <= before[0] or after[1] < before[1]:
            raise BadInput(f"the step {after[0]}, {after[1]} stands behind {before[0]}, {before[1]}", right)
    return tuple(bands)


def read_beyond(value: Any) -> tuple[int, Decimal]:
    """[500, 1]: one more for each further 500 or part of it."""
    if not isinstance(value, list) or len(value) != 2:
        raise BadInput(f"{value!r} is not a step", "write [every, more], as [500, 1]")
    return whole(1, 10**7)(value[0]), number("0.01", "1000")(value[1])


def read_coarse(value: Any) -> tuple[Decimal, int]:
    """[0.005, 500]: from an interval of so many kg on, at least so many intervals."""
    if not isinstance(value, list) or len(value) != 2:
        raise BadInput(f"{value!r} is not an interval and a number", "write [kg, number], as [0.005, 500]")
    return number("1e-9", "1e6")(value[0]), whole(1, 10**7)(value[1])


def read_stages(value: Any) -> tuple[tuple[str, Decimal], ...]:
    """{ maintenance = 1, acceptance = 0.5 }: each stage with its factor on the steps."""
    if not isinstance(value, dict) or not value:
        raise BadInput(f"{value!r} names no stage", "write { stage = factor, ... }")
    return tuple((name, number("0.01", "100")(factor)) for name, factor in value.items())


_COUNT = COUNTED
_D = "d"
_FRACTION = "of Max, each way"
KEYS = (
    Key("intervals", "limits_count_in", one_of("d", "e"), '"d"', "whether limits count d or e"),
    Key(
        "intervals",
        "smallest_interval_kg",
        number("1e-9", "1e6"),
        "2",
        "smallest interval of the class",
        "kg",
    ),
    Key("intervals", "n_min", whole(1, 10**7), "2000", "fewest intervals up to Max"),
    Key(
        "intervals",
        "n_min_coarse",
        read_coarse,
        "[0.005, 500]",
        "fewest from this interval on",
        "kg, n",
        optional=True,
    ),
    Key("intervals", "n_max", whole(1, 10**7), "10000", "most intervals up to Max"),
    Key("intervals", "min_load_d", whole(0, 10**6), "50", "smallest load that should be weighed", _COUNT),
    Key("motion", "motion_band_d", number("0.01", "1000"), "3.0", "stable within, plus or minus", _COUNT),
    Key("motion", "stable_for_ms", whole(1, 60_000), "400", "stable for at least", "ms"),
    Key(
        "motion",
        "settled_within_d",
        number("0.01", "1000"),
        "0.5",
        "and drifting in that time by at most",
        _COUNT,
    ),
    Key("motion", "late_after_ms", whole(1, 60_000), "200", "stable while a frame is late by at most", "ms"),
    Key("motion", "oldest_ms", whole(1, 60_000), "500", "stable while samples are no older than", "ms"),
    Key("zero", "centre_of_zero_d", number("0.01", "10"), "0.25", "centre of zero is shown within", _COUNT),
    Key("zero", "zero_when_stable", yes_or_no, "true", "zero-setting only in stable equilibrium"),
    Key("zero", "zero_setting_range", number("0", "1"), "0.02", "zero-setting with zero-tracking", _FRACTION),
    Key("zero", "initial_zero_range", number("0", "1"), "0.10", "initial zero-setting", _FRACTION),
    Key("zero", "zero_tracking_window_d", number("0", "100"), "0.5", "zero-tracking acts within", _D),
    Key("zero", "zero_tracking_at_zero_only", yes_or_no, "true", "zero-tracking only while zero is shown"),
    Key("zero", "zero_tracking_rate_d_per_s", number("0", "1000"), "0.5", "zero-tracking moves by", "d/s"),
    Key(
        "zero",
        "zero_tracking_after_ms",
        whole(0, 600_000),
        "2000",
        "zero-tracking only after a rest of",
        "ms",
    ),
    Key(
        "zero",
        "zero_tracking_rest_d",
        number("0", "100"),
        "0.25",
        "in which the weight moves at most",
        _D,
    ),
    Key("zero", "zero_while_net", one_of("refused", "clears tare"), '"refused"', "zero-setting while net"),
    Key("limits", "overload_percent", number("100", "1000"), "105", "largest gross shown, of Max", "%"),
    Key("limits", "overload_divisions", whole(0, 10**6), "9", "and so many intervals more", _COUNT),
    Key("limits", "underload_d", whole(0, 10**7), "20", "smallest gross shown, below zero", _COUNT),
    Key("tare", "tare_when_stable", yes_or_no, "true", "tare only in stable equilibrium"),
    Key("tare", "tare_above_zero_only", yes_or_no, "true", "tare only above zero"),
    Key("tare", "largest_tare", number("0", "10"), "1", "largest tare, weighed or preset", "of Max"),
    Key("recording", "record_when_stable", yes_or_no, "true", "record only in stable equilibrium"),
    Key("recording", "record_below_zero", yes_or_no, "false", "record weights below zero"),
    Key("tolerance", "bands", read_bands, "[[500, 1]]", "steps of tolerance", "load, tolerance"),
    Key("tolerance", "beyond", read_beyond, "[500, 1]", "behind the last step", "every, more", optional=True),
    Key("tolerance", "at_most", number("0.01", "10000"), "22", "never above", _COUNT, optional=True),
    Key("tolerance", "stages", read_stages, "{ maintenance = 1 }", "stages", "factor on the steps"),
)
