"""A rule profile: the limits of one standard for one class and kind, each with its clause and its mark.

A profile is one TOML file; a user's own is a path to one, and gets the same errors.  Code asks a Profile
for a limit and never writes one down; what a value may be stands in schema.py.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from decimal import Decimal
from pathlib import Path
from typing import Any

from benchsim.ground.errors import unknown
from benchsim.rules import layers
from benchsim.rules.layers import Entry
from benchsim.rules.procedures import Audit, Procedures

_TIMES = ("stable_for", "late_after", "oldest", "zero_tracking_after")


@dataclass(frozen=True, slots=True)
class Tolerance:
    """Steps of tolerance by load.

    bands: (largest load of the band, tolerance), rising, in counts of d or e; the last load is None where
    neither the band nor n_max ends it.  beyond: behind the last band, so much more for each further so many
    or part of it.  at_most: the tolerance never grows above this.  stages: name to factor.
    """

    bands: tuple[tuple[int | None, Decimal], ...]
    beyond: tuple[int, Decimal] | None
    at_most: Decimal | None
    stages: tuple[tuple[str, Decimal], ...]


@dataclass(frozen=True, slots=True)
class Profile:
    """The limits in force.  A suffix _d counts d or e, as limits_count_in says; zero-tracking counts d.

    None stands for what the class or the standard does not have; what no comment here is about means what
    schema.py says of it.

    files: those it was read from, its own first, then what it builds on.
    min_load_d: below it a weight is shown all the same (R 76-1 T.3.1.2: it may only be far off); it is
    told to people and stops nothing.
    n_max: None: no limit.  n_min_coarse, min_load_coarse: from this interval in kg on, so many.
    n_min_lb, n_min_oz: the same of intervals in that unit, rising.
    motion_band_above: (kg, band): the band of scales whose Max is above; ask motion_band_of.
    settled_within_d: the newer half of the stretch that must be stable may lie so far from the older one.
    late_after_us, oldest_us: how far samples may be late beyond a frame's filling, and how old the newest
    instant of a weight may be, for the weight to count as stable.
    zero_setting_range, initial_zero_range: fraction of Max, each way.
    zero_tracking_after_us, zero_tracking_rest_d: it acts when the weight has moved no more in that time.
    zero_while_net: "refused", or "clears tare".  largest_tare: fraction of Max.
    smallest_interval_kg: of the class.
    overload: the largest gross shown is capacity * overload_percent / 100 + overload_divisions; of a
    multi-interval scale Max of its last range and overload_last_range intervals of that.
    """

    name: str
    title: str
    standard: str
    accuracy_class: str
    kind: str
    files: tuple[str, ...]
    covers: str | None
    limits_count_in: str
    smallest_interval_kg: Decimal
    n_min: int
    n_min_coarse: tuple[Decimal, int] | None
    n_min_lb: tuple[tuple[Decimal, int], ...] | None
    n_min_oz: tuple[tuple[Decimal, int], ...] | None
    n_max: int | None
    min_load_d: int
    min_load_coarse: tuple[Decimal, int] | None
    min_load_tariff_d: int | None
    motion_band_d: Decimal
    motion_band_above: tuple[Decimal, Decimal] | None
    stable_for_us: int
    settled_within_d: Decimal
    late_after_us: int
    oldest_us: int
    centre_of_zero_d: Decimal
    centre_of_zero_net: bool | None
    centre_of_zero_spared_d_per_s: Decimal | None
    zero_stands_within_d: Decimal | None
    zero_set_within_d: Decimal | None
    zero_when_stable: bool
    zero_setting_range: Decimal
    initial_zero_range: Decimal
    automatic_zero_after_ms: int | None
    zero_tracking_window_d: Decimal
    zero_tracking_window_before_2007_d: Decimal | None
    zero_tracking_at_zero_only: bool
    zero_tracking_range_net: Decimal | None
    zero_tracking_rate_d_per_s: Decimal
    zero_tracking_after_us: int
    zero_tracking_rest_d: Decimal
    zero_tracking_switch: bool | None
    zero_while_net: str
    overload_percent: Decimal
    overload_divisions: int
    overload_last_range: int | None
    underload_d: int
    tare_when_stable: bool
    tare_above_zero_only: bool
    largest_tare: Decimal
    tare_interval_d: Decimal | None
    tare_set_within_d: Decimal | None
    tare_clears_after_use: bool | None
    net_is_told: bool | None
    load_above_max_told: bool | None
    record_when_stable: bool
    record_below_zero: bool
    record_within_d: Decimal | None
    record_watched_ms: int | None
    record_neighbours: int | None
    indicators_differ_d: int | None
    record_adds_up: bool | None
    gross_signs: tuple[str, ...] | None
    net_signs: tuple[str, ...] | None
    tare_signs: tuple[str, ...] | None
    preset_tare_signs: tuple[str, ...] | None
    for_net: bool | None
    rounding_counts_up_to: Decimal | None
    fractions: tuple[tuple[str, Decimal], ...] | None
    fraction_range: tuple[Decimal, Decimal] | None
    fraction_digital: Decimal | None
    fraction_weighing_module: Decimal | None
    fraction_squares: Decimal | None
    main_element_fraction: Decimal | None
    tolerance: Tolerance
    tests: Procedures
    audit: Audit
    entries: tuple[Entry, ...]

    def up_to_n_max(self, load_d: int) -> int:
        """A load in intervals, or n_max where it is above that."""
        return load_d if self.n_max is None else min(load_d, self.n_max)

    def n_min_of(self, interval_kg: Decimal) -> int:
        """The fewest intervals up to Max that a scale of this interval may have."""
        if self.n_min_coarse is not None and interval_kg >= self.n_min_coarse[0]:
            return self.n_min_coarse[1]
        return self.n_min

    def min_load_of(self, interval_kg: Decimal) -> int:
        """The smallest load that should be weighed on a scale of this interval, in intervals."""
        if self.min_load_coarse is not None and interval_kg >= self.min_load_coarse[0]:
            return self.min_load_coarse[1]
        return self.min_load_d

    def motion_band_of(self, capacity_kg: Decimal) -> Decimal:
        """Within what a weight is stable on a scale of this Max, each way, in counts of d or e."""
        if self.motion_band_above is not None and capacity_kg > self.motion_band_above[0]:
            return self.motion_band_above[1]
        return self.motion_band_d

    def overload_limit_d(self, capacity_d: int, counted_d: Decimal = Decimal(1)) -> int:
        """The largest gross, in counts of d, that may be shown.  counted_d: what limits count, in d."""
        divisions_d = self.overload_divisions * counted_d
        return int(capacity_d * self.overload_percent / 100 + divisions_d)

    @property
    def stages(self) -> tuple[str, ...]:
        """Names of the stages that tolerances are asked for."""
        return tuple(name for name, _ in self.tolerance.stages)

    def entry(self, key: str) -> Entry:
        """One value with its clause, by its name with or without the section.  BadInput: no such value."""
        for entry in self.entries:
            if key in (entry.key, entry.key.partition(".")[2]):
                return entry
        raise unknown("value", key, [e.key for e in self.entries])


def profile_names() -> tuple[str, ...]:
    """The shipped profiles, in alphabetical order."""
    return layers.names()


def load_profile(name_or_path: str) -> Profile:
    """A shipped profile by name, or the user's own by the path of its file.

    Raises BadInput: no such name or file, not TOML; ManyBadInputs: all that is wrong inside the file.
    """
    path = layers.path_of(name_or_path, Path(), "rule profile")
    return read_profile(layers.text_of(path), path.stem, str(path))


def read_profile(text: str, name: str, file: str) -> Profile:
    """A profile from the text of its file.

    file: what errors call it; a base that is a path is looked for from its folder.  Raises as load_profile.
    """
    found = layers.read(text, file)
    values = dict(found.values)
    *below, (top, allowed) = values["bands"]
    values["bands"] = (*below, (values["n_max"] if top is None else top, allowed))
    times_us = {f"{word}_us": 1000 * values.pop(f"{word}_ms") for word in _TIMES}
    return Profile(
        name=name,
        title=found.head["title"],
        standard=found.head["standard"],
        accuracy_class=found.head["class"],
        kind=found.head["kind"],
        files=found.files,
        tolerance=_taken(Tolerance, values),
        tests=_taken(Procedures, values),
        audit=_taken(Audit, values),
        entries=found.entries,
        **times_us,
        **values,
    )


def _taken(made: Any, values: dict[str, Any]) -> Any:
    """A dataclass from the values of its fields' names, which are taken out."""
    return made(**{field.name: values.pop(field.name) for field in fields(made)})
