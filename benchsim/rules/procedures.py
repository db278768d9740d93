"""What a standard's tests allow and how an audit trail is kept, as a profile has it.

Each field is the key of the same name in schema.py, where its meaning stands; None: the class has none.  A
suffix _d counts d or e, as the profile's limits_count_in says, except for discrimination, which counts d.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Procedures:
    """Section [tests].  Shares are of Max where nothing else is said; a stage may be "as tested".

    weighings_large, zero_return_above: (from this Max in kg on, number), (above this n, limit).
    """

    repeatability_stage: str | None
    weighings: int | None
    weighings_large: tuple[Decimal, int] | None
    weighings_in_use: int | None
    weighings_in_use_load: Decimal | None
    loads_at_first: int | None
    loads: int | None
    small_weight_d: Decimal | None
    eccentricity_stage: str | None
    eccentricity_load: Fraction | None
    eccentricity_supports: int | None
    eccentricity_support_load: Fraction | None
    eccentricity_rolling: Decimal | None
    shift_load: Decimal | None
    shift_area_m: tuple[Decimal, Decimal] | None
    shift_concentrated: Decimal | None
    discrimination_load_d: Decimal | None
    discrimination_change_d: int | None
    discrimination_from_kg: Decimal | None
    zone_of_uncertainty_d: Decimal | None
    creep_30min_d: Decimal | None
    creep_15_to_30min_d: Decimal | None
    creep_in_tolerance_min: int | None
    creep_temperature_k: Decimal | None
    zero_return_d: Decimal | None
    zero_return_above: tuple[int, Decimal] | None
    zero_return_share: Decimal | None
    cell_creep_30min: Decimal | None
    cell_creep_20_to_30min: Decimal | None
    zero_shift_d: Decimal | None
    zero_shift_per_k: Decimal | None
    tilt_per_mille: Decimal | None
    tilt_zero_shift_d: Decimal | None
    disturbance_d: Decimal | None


@dataclass(frozen=True, slots=True)
class Audit:
    """Section [audit]: means of sealing and audit trails."""

    category_1: str | None
    category_2: str | None
    category_3: str | None
    event_counters: tuple[str, ...] | None
    event_counter_top: int | None
    event_counter_resets: bool | None
    event_counter_once: bool | None
    log_fields: tuple[str, ...] | None
    log_per_parameter: int | None
    log_enough: int | None
    log_printable: bool | None
