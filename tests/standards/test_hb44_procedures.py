"""Handbook 44 notes and tolerances as `verify` carries them out (memory)."""

from __future__ import annotations

from decimal import Decimal

import pytest

from benchsim.ground.errors import BadInput
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import Receptor, Support
from benchsim.verify import limits
from benchsim.verify.procedures import chosen, procedures_of
from benchsim.verify.subject import Subject

DECK = Receptor(18.0, 3.0, 12_000.0, tuple(Support(x, y) for x in (0.3, 9.0, 17.7) for y in (0.3, 2.7)))


def scale(rules: str, max_kg: int, d_kg: int) -> Subject:
    return Subject(load_profile(rules), "acceptance", Decimal(max_kg), Decimal(d_kg), Decimal(d_kg), DECK)


@pytest.mark.parametrize(
    ("rules", "max_kg", "d_kg", "limit_d"),
    [
        ("hb44-iii", 4000, 1, "0.5"),
        ("hb44-iii", 5000, 1, "0.83"),
        # Half the tolerance for the load: 3 000 d of III L have 6 d in use, 3 d when new.
        ("hb44-iiil-vehicle", 60_000, 20, "1.5"),
    ],
)
def test_t_n_4_5_3_zero_return_by_class_and_number_of_intervals(
    rules: str, max_kg: int, d_kg: int, limit_d: str
) -> None:
    assert limits.zero_return_e(scale(rules, max_kg, d_kg), Decimal(max_kg)) == Decimal(limit_d)


def test_t_n_4_5_2_creep_of_iii_l_is_three_times_that_of_iii_and_named_by_its_own_clause() -> None:
    iii, iii_l = (scale(r, 3000, 1) for r in ("hb44-iii", "hb44-iiil-vehicle"))
    for key, wide, narrow in (("creep_30min_d", "1.5", "0.5"), ("creep_15_to_30min_d", "0.6", "0.2")):
        assert (limits.of(iii_l, key), limits.of(iii, key)) == (Decimal(wide), Decimal(narrow))
    named = {p.title: p.clause for p in procedures_of(iii_l.profile)}
    assert named["creep"] == "T.N.4.5.2"


def test_n_1_3_a_vehicle_scale_has_its_sections_tested_and_others_their_quarters() -> None:
    vehicle, other = (
        {p.title for p in procedures_of(load_profile(r))} for r in ("hb44-iiil-vehicle", "hb44-iii")
    )
    assert vehicle - other == {"sections"}
    assert other - vehicle == {"shift"}


def test_t_n_4_4_the_range_of_results_is_held_to_the_maintenance_tolerance() -> None:
    it = scale("hb44-iii", 3000, 1)
    assert limits.stage_of(it, "eccentricity_stage") == "maintenance"
    assert limits.stage_of(it, "repeatability_stage") == "maintenance"
    # R 76 3.6.1 says the absolute tolerance for the load: of whatever stage is tested.
    assert limits.stage_of(scale_r76(), "repeatability_stage") == "initial"


def scale_r76() -> Subject:
    return Subject(load_profile("r76-iii"), "initial", Decimal(3000), Decimal(1), Decimal(1), DECK)


def test_what_a_class_has_no_limit_for_is_not_run_and_says_so() -> None:
    creep = next(p for p in procedures_of(load_profile("hb44-i")) if p.title == "creep")
    assert "creep_30min_d" in creep.not_run


def test_a_clause_chooses_its_procedure_and_those_below_it() -> None:
    procedures = procedures_of(load_profile("hb44-iii"))
    assert [p.title for p in chosen(procedures, "T.N.7.2")] == ["discrimination"]
    assert [p.title for p in chosen(procedures, "T.N.4.5")] == ["creep", "zero-load return"]
    with pytest.raises(BadInput, match=r"did you mean 'T\.N\.7\.2'"):
        chosen(procedures, "T.N.7.22")


def test_a_standard_whose_procedures_are_not_known_is_refused() -> None:
    with pytest.raises(BadInput, match="OIML R 76 or NIST Handbook 44"):
        procedures_of(load_profile("canada-iii"))
