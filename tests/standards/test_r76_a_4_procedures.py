"""R 76-1 annex A.4 as `verify` carries it out: loads, places and limits (memory, unless marked seen)."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest

from benchsim.bench.plan import Plan
from benchsim.rules.profile import load_profile
from benchsim.scale.parts import Receptor, Support
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load
from benchsim.verify import limits
from benchsim.verify.on_bench import OnBench, bench_of
from benchsim.verify.procedures import chosen, procedures_of
from benchsim.verify.r76_eccentricity import eccentric_load_kg, spots
from benchsim.verify.run import Report, verify
from benchsim.verify.subject import Subject, subject_of


def deck(cells: int) -> Receptor:
    return Receptor(8.0, 2.0, 100.0, tuple(Support(float(n // 2), 2.0 * (n % 2)) for n in range(cells)))


def scale(cells: int, max_kg: int = 3000, rules: str = "r76-iii") -> Subject:
    return Subject(load_profile(rules), "initial", Decimal(max_kg), Decimal(1), Decimal(1), deck(cells))


@pytest.mark.parametrize(
    ("cells", "load_kg"), [(1, 1000), (3, 1000), (4, 1000), (5, 750), (6, 600), (8, 428)]
)
def test_3_6_2_a_third_of_max_or_one_by_n_less_one_on_each_of_more_than_four(
    cells: int, load_kg: int
) -> None:
    # Seen: a copy of the rule of its day.
    it = scale(cells)
    assert eccentric_load_kg(it) == load_kg
    assert len(spots(it)) == max(4, cells)


def test_3_6_2_a_tenth_of_max_on_each_support_of_a_hopper() -> None:
    it = scale(3, rules="r76-iii-hopper")
    assert eccentric_load_kg(it) == 300
    assert [spot for _, spot in spots(it)] == [(0.0, 0.0), (0.0, 2.0), (1.0, 0.0)]


@pytest.mark.parametrize(("max_kg", "times"), [(600, 10), (999, 10), (1000, 3), (3000, 3)])
def test_a_4_10_ten_weighings_or_three_from_1000_kg_on(max_kg: int, times: int) -> None:
    assert limits.weighings(scale(4, max_kg)) == times


def test_3_9_4_2_zero_return_within_half_an_e() -> None:
    assert limits.zero_return_e(scale(4), Decimal(3000)) == Decimal("0.5")


def plan_of(name: str) -> Plan:
    return assemble(load(name)).plan


def report_on(plan: Plan, rules: str, clause: str = "", stage: str | None = None) -> Report:
    profile = load_profile(rules)
    procedures = procedures_of(profile)
    if clause:
        procedures = chosen(procedures, clause)
    return verify(subject_of(plan, profile, stage), lambda: OnBench(bench_of(plan, profile, 1)), procedures)


def test_a_shipped_scale_passes_every_procedure_of_annex_a() -> None:
    report = report_on(plan_of("data-sheet-cells"), "r76-iii")
    assert report.passed
    assert {t.title for t in report.not_run} == {"tare accuracy", "warm-up"}
    # What was not run is never passed.
    assert all(t.passed is None and "not run" in t.indication for t in report.not_run)
    assert {t.limit_e for t in report.tests if t.title == "weighing performance"} == {
        Decimal("0.5"),
        Decimal("1.0"),
        Decimal("1.5"),
    }


def test_3_5_2_in_service_the_limits_are_twice_as_wide() -> None:
    plan = plan_of("quiet-platform")
    new, used = (report_on(plan, "r76-iii", "A.4.7", stage) for stage in ("initial", "in service"))
    assert [t.limit_e for t in used.tests] == [2 * t.limit_e for t in new.tests if t.limit_e is not None]


def test_an_e_that_is_not_d_is_what_limits_and_errors_count() -> None:
    # The same scale and host, once with e = d = 1 kg and once with e = 2 kg: half the errors, in e.
    plan = plan_of("data-sheet-cells")
    coarse = replace(plan, host=replace(plan.host, verification_interval=Decimal(2)))
    one, two = (report_on(p, "r76-iii", "3.5.1") for p in (plan, coarse))
    by_load = {(t.part, t.load): t for t in one.tests}
    both = [(by_load[t.part, t.load], t) for t in two.tests if (t.part, t.load) in by_load]
    assert len(both) >= 15
    for of_d, of_e in both:
        assert of_d.error_e is not None
        assert of_e.error_e is not None
        # The base at which E0 was found is 10 e, so the two may be a small weight apart.
        assert abs(of_d.error_e - 2 * of_e.error_e) <= Decimal("0.2")
    assert {t.limit_e for t in two.tests} == {Decimal("0.5"), Decimal("1.0")}
    assert two.passed
