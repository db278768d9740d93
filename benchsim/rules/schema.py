"""What may stand in a rule profile: every key with its kind, its range and what it means.

A new value of a standard is one line here, one field of Profile (of Procedures or Audit for the sections
[tests] and [audit]), and a line in each file that builds on no other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from benchsim.ground.errors import BadInput
from benchsim.rules.kinds import (
    ABOVE_COUNT,
    ABOVE_MAX,
    AREA_M,
    BANDS,
    BEYOND,
    FACTORS,
    FROM_INTERVAL,
    FROM_MAX,
    INTERVALS,
    NO_LIMIT,
    PART,
    RANGE,
    STAGES,
    TEXT,
    TEXTS,
    YES_OR_NO,
    Kind,
    mass_kg,
    number,
    one_of,
    share,
    whole,
)

COUNTED = "d or e"  # stands for the one that the profile's limits_count_in names
NONE = "none"
AS_TESTED = "as tested"
MARKS = ("seen", "memory", "computed", "common practice, no source")
HEAD = ("title", "standard", "class", "kind")


@dataclass(frozen=True, slots=True)
class Key:
    """One key: where it stands, how its value is read and told, what it means.

    absent: the word that stands for "the class has none"; "" where a value is needed.  optional: it may be
    left out, which means the same.
    """

    name: str
    kind: Kind
    sample: str
    what: str
    unit: str = ""
    absent: str = ""
    optional: bool = False
    section: str = ""

    def example(self) -> str:
        return f'{self.name} = {{ value = {self.sample}, clause = "...", mark = "memory" }}'


def _may(name: str, kind: Kind, sample: str, what: str, unit: str = "", absent: str = NONE) -> Key:
    """A key that not every class or standard has."""
    return Key(name, kind, sample, what, unit, absent, optional=True)


_N, _D = COUNTED, "d"
_COUNT, _SIZE, _SMALL = whole(1, 10**7), number("0.01", "1000"), number("0", "100")
_MS, _SHARE = whole(1, 60_000), share("0", "1")
_EACH_WAY, _OF_MAX = "of Max, each way", "of Max"

# fmt: off
_SECTIONS: dict[str, tuple[Key, ...]] = {
    "scope": (
        _may("covers", TEXT, '"vehicle scales"', "covers"),
    ),
    "intervals": (
        Key("limits_count_in", one_of("d", "e"), '"d"', "limits count"),
        Key("smallest_interval_kg", mass_kg(), "2", "smallest interval of the class", "kg"),
        Key("n_min", _COUNT, "2000", "fewest intervals up to Max"),
        _may("n_min_coarse", FROM_INTERVAL, "[0.005, 500]", "fewest where the interval is coarse"),
        _may("n_min_lb", INTERVALS, "[[5, 2000]]", "fewest of a scale in pounds", "lb"),
        _may("n_min_oz", INTERVALS, "[[0.25, 500]]", "fewest of a scale in ounces", "oz"),
        Key("n_max", _COUNT, "10000", "most intervals up to Max", absent=NO_LIMIT),
        Key("min_load_d", whole(0, 10**6), "50", "smallest load that should be weighed", _N),
        _may("min_load_coarse", FROM_INTERVAL, "[0.0001, 50]", "smallest where the interval is coarse", _N),
        _may("min_load_tariff_d", whole(0, 10**6), "5", "smallest where a conveying tariff is found", _N),
    ),
    "motion": (
        Key("motion_band_d", _SIZE, "3.0", "stable within, plus or minus", _N),
        _may("motion_band_above", ABOVE_MAX, "[2000, 3]", "stable within, scales of large Max", _N),
        Key("stable_for_ms", _MS, "400", "stable for at least", "ms"),
        Key("settled_within_d", _SIZE, "0.5", "and drifting in that time by at most", _N),
        Key("late_after_ms", _MS, "200", "stable while a frame is late by at most", "ms"),
        Key("oldest_ms", _MS, "500", "stable while samples are no older than", "ms"),
    ),
    "zero": (
        Key("centre_of_zero_d", number("0.01", "10"), "0.25", "centre of zero is shown within", _N),
        _may("centre_of_zero_net", YES_OR_NO, "true", "it may be shown at net zero, too"),
        _may("centre_of_zero_spared_d_per_s", _SIZE, "0.25", "not needed where zero-tracking runs at", "d/s"),
        _may("zero_stands_within_d", _SIZE, "0.5", "a zero that is shown is zero within", _N),
        _may("zero_set_within_d", _SIZE, "0.25", "zero is set or held to within", _N),
        Key("zero_when_stable", YES_OR_NO, "true", "zero-setting only in stable equilibrium"),
        Key("zero_setting_range", _SHARE, "0.02", "zero-setting with zero-tracking", _EACH_WAY),
        Key("initial_zero_range", _SHARE, "0.10", "initial zero-setting", _EACH_WAY),
        _may("automatic_zero_after_ms", _MS, "5000", "automatic zero-setting when below zero for", "ms"),
        Key("zero_tracking_window_d", _SMALL, "0.5", "zero-tracking acts within", _D),
        _may("zero_tracking_window_before_2007_d", _SMALL, "0.6", "within, made 1981 to 2006", _D),
        Key("zero_tracking_at_zero_only", YES_OR_NO, "true", "zero-tracking only while zero is shown"),
        _may("zero_tracking_range_net", _SHARE, "0.04", "after tare only near true zero, within", _OF_MAX),
        Key("zero_tracking_rate_d_per_s", number("0", "1000"), "0.5", "zero-tracking moves by", "d/s"),
        Key("zero_tracking_after_ms", whole(0, 600_000), "2000", "zero-tracking only after a rest of", "ms"),
        Key("zero_tracking_rest_d", _SMALL, "0.25", "in which the weight moves at most", _D),
        _may("zero_tracking_switch", YES_OR_NO, "true", "zero-tracking can be switched off for a test"),
        Key("zero_while_net", one_of("refused", "clears tare"), '"refused"', "zero-setting while net"),
    ),
    "limits": (
        Key("overload_percent", number("100", "1000"), "105", "largest gross shown, of Max", "%"),
        Key("overload_divisions", whole(0, 10**6), "9", "and so many intervals more", _N),
        _may("overload_last_range", whole(0, 10**6), "9", "multi-interval: as many of the last range", _N),
        Key("underload_d", whole(0, 10**7), "20", "smallest gross shown, below zero", _N),
    ),
    "tare": (
        Key("tare_when_stable", YES_OR_NO, "true", "tare only in stable equilibrium"),
        Key("tare_above_zero_only", YES_OR_NO, "true", "tare only above zero"),
        Key("largest_tare", share("0", "10"), "1", "largest tare, weighed or preset", _OF_MAX),
        _may("tare_interval_d", number("0.01", "100"), "1", "tare is kept in steps of", _D),
        _may("tare_set_within_d", _SIZE, "0.25", "tare is set to within", _N),
        _may("tare_clears_after_use", YES_OR_NO, "true", "automatic clearing waits for the transaction"),
        _may("net_is_told", YES_OR_NO, "true", "net is told while tare acts"),
        _may("load_above_max_told", YES_OR_NO, "true", "a load above Max is blocked or told, tare or not"),
    ),
    "recording": (
        Key("record_when_stable", YES_OR_NO, "true", "record only in stable equilibrium"),
        Key("record_below_zero", YES_OR_NO, "false", "record weights below zero"),
        _may("record_within_d", _SIZE, "1", "a record lies off the final value by at most", _N),
        _may("record_watched_ms", _MS, "5000", "after a record the weight is watched for", "ms"),
        _may("record_neighbours", whole(1, 100), "2", "and shows so many neighbouring values"),
        _may("indicators_differ_d", whole(0, 100), "0", "indications of one weight differ by at most", _N),
        _may("record_adds_up", YES_OR_NO, "true", "gross, tare and net add up as recorded"),
        _may("gross_signs", TEXTS, '["G", "B"]', "gross is marked (alone it may be bare)"),
        _may("net_signs", TEXTS, '["N"]', "net is marked (alone it may be bare)"),
        _may("tare_signs", TEXTS, '["T"]', "tare is marked"),
        _may("preset_tare_signs", TEXTS, '["PT"]', "preset tare is marked"),
    ),
    "tolerance": (
        Key("bands", BANDS, "[[500, 1]]", "steps of tolerance", _N),
        _may("beyond", BEYOND, "[500, 1]", "behind the last step", _N),
        _may("at_most", number("0.01", "10000"), "22", "never above", _N, NO_LIMIT),
        Key("stages", STAGES, "{ maintenance = 1 }", "stages, times the steps"),
        _may("for_net", YES_OR_NO, "true", "holds for net, too (not with a preset tare)"),
        _may("rounding_counts_up_to", _SHARE, "0.2", "rounding is taken off unless d is at most", "of e"),
        _may("fractions", FACTORS, '{ "load cell" = 0.7 }', "parts tested alone, share of it"),
        _may("fraction_range", RANGE, "[0.3, 0.8]", "shares lie from"),
        _may("fraction_digital", _SMALL, "0", "share of a digital part"),
        _may("fraction_weighing_module", _SMALL, "1", "share of a whole weighing module"),
        _may("fraction_squares", _SMALL, "1", "squares of the shares sum up to at most"),
        _may("main_element_fraction", _SMALL, "0.7", "share of a main element tested alone"),
    ),
    "tests": (
        _may("repeatability_stage", TEXT, '"maintenance"', "repeated weighings agree within, stage"),
        _may("weighings", whole(1, 1000), "10", "repeated weighings, at about 50 % and 100 % of Max"),
        _may("weighings_large", FROM_MAX, "[1000, 3]", "repeated weighings, scales of large Max"),
        _may("weighings_in_use", whole(1, 1000), "3", "repeated weighings, in the field"),
        _may("weighings_in_use_load", share("0", "1"), "0.8", "at a load in the field", _OF_MAX),
        _may("loads_at_first", whole(1, 1000), "10", "loads up to Max, for the intrinsic error"),
        _may("loads", whole(1, 1000), "5", "loads up to Max, otherwise"),
        _may("small_weight_d", _SIZE, "0.1", "small weights that find the step, each", _N),
        _may("eccentricity_stage", TEXT, '"maintenance"', "eccentric loads agree within, stage"),
        _may("eccentricity_load", PART, '"1/3"', "eccentric load on each part", _OF_MAX),
        _may("eccentricity_supports", whole(1, 100), "4", "1/(N - 1) on each of N supports if more than"),
        _may("eccentricity_support_load", PART, '"1/4"', "or over each main support", _OF_MAX),
        _may("eccentricity_rolling", share("0", "1"), "0.8", "rolling loads: the usual, at most", _OF_MAX),
        _may("shift_load", share("0", "1"), "0.125", "one load moved about is at least", _OF_MAX),
        _may("shift_area_m", AREA_M, "[1.2, 3.0]", "on an area of at most", "m"),
        _may("shift_concentrated", _SHARE, "0.9", "and at most, times the table's factor r", "of CLC"),
        _may("discrimination_load_d", _SIZE, "1.4", "discrimination: an extra load of", _D),
        _may("discrimination_change_d", whole(1, 100), "1", "moves the indication by at least", _D),
        _may("discrimination_from_kg", mass_kg(), "0.000005", "needed where d is at least", "kg"),
        _may("zone_of_uncertainty_d", _SIZE, "0.3", "zone of uncertainty", _D),
        _may("creep_30min_d", _SIZE, "0.5", "creep in 30 min", _N),
        _may("creep_15_to_30min_d", _SIZE, "0.2", "creep between 15 and 30 min", _N),
        _may("creep_in_tolerance_min", whole(1, 1440), "240", "or else within tolerance over", "min"),
        _may("creep_temperature_k", _SIZE, "2", "at a temperature that holds within", "K"),
        _may("zero_return_d", _SIZE, "0.5", "zero return after 30 min of load", _N),
        _may("zero_return_above", ABOVE_COUNT, "[4000, 0.83]", "zero return, scales of many intervals", _N),
        _may("zero_return_share", _SHARE, "0.5", "zero return", "of the load's tolerance"),
        _may("cell_creep_30min", _SHARE, "1", "load cell: creep in 30 min", "of its tolerance"),
        _may("cell_creep_20_to_30min", _SHARE, "0.15", "load cell: from 20 to 30 min", "of its tolerance"),
        _may("zero_shift_d", _SIZE, "1", "no-load shift with temperature", _N),
        _may("zero_shift_per_k", _SIZE, "5", "for each", "K"),
        _may("tilt_per_mille", _SMALL, "50", "tilted by up to", "in 1000"),
        _may("tilt_zero_shift_d", _SIZE, "2", "no-load shift when tilted", _N),
        _may("disturbance_d", _SIZE, "1", "under a disturbance it shifts by at most", _N),
    ),
    "audit": (
        _may("category_1", TEXT, '"seal or two event counters"', "no remote configuration"),
        _may("category_2", TEXT, '"seal or two event counters"', "remote, enabled by hardware on site"),
        _may("category_3", TEXT, '"event logger"', "remote, unlimited or by password"),
        _may("event_counters", TEXTS, '["calibration"]', "event counters"),
        _may("event_counter_top", whole(1, 10**9), "999", "event counter counts up to"),
        _may("event_counter_resets", YES_OR_NO, "false", "event counter can be reset"),
        _may("event_counter_once", YES_OR_NO, "true", "steps once a visit in which anything changed"),
        _may("log_fields", TEXTS, '["date", "time"]', "each event of a logger has"),
        _may("log_per_parameter", whole(1, 1000), "10", "events kept for each sealable parameter"),
        _may("log_enough", whole(1, 10**6), "1000", "events that suffice in any case"),
        _may("log_printable", YES_OR_NO, "true", "the logger can be printed"),
    ),
}
# fmt: on

KEYS = tuple(replace(key, section=section) for section, keys in _SECTIONS.items() for key in keys)
SECTIONS = tuple(_SECTIONS)
KEY_OF = {(key.section, key.name): key for key in KEYS}


def read_value(key: Key, value: Any) -> Any:
    """A key's value; None where the class has none.  Raises BadInput, without a place."""
    if key.absent and value == key.absent:
        return None
    try:
        return key.kind.read(value)
    except BadInput as error:
        if not key.absent:
            raise
        raise BadInput(error.found, f'{error.right}, or "{key.absent}"') from None
