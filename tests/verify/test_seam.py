"""No host is looked into: its figures over a protocol do as well, and so does whoever keeps to the seam."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.commands import PresetTare
from benchsim.ground.errors import BadInput
from benchsim.verify.by_lines import ByLines, read_line
from benchsim.verify.judged import Judged
from benchsim.verify.on_bench import bench_of
from benchsim.verify.procedures import chosen, procedures_of
from benchsim.verify.reader import Reading
from benchsim.verify.run import verify
from tests.verify.model import Model, subject
from tests.verify.scales import LONG, PLATFORM, SEED, Spoiled, failing, good, plan_of, verified

SHORT = ("zero accuracy", "eccentricity", "equilibrium stability", "tare weighing")
MOVING_COUNTS = Spoiled(
    host={"motion_band_d": Decimal(500), "settled_within_d": Decimal(500), "stable_for_us": 100_000}
)


def test_a_host_that_is_read_by_its_lines_is_judged_like_one_that_is_read_directly() -> None:
    direct = [test for test in good(PLATFORM, "r76-iii").tests if test.title in SHORT]
    by_lines = verified(PLATFORM, "r76-iii", among=SHORT, reader=ByLines)
    assert list(by_lines.tests) == direct
    assert by_lines.passed


def test_a_host_that_prints_in_motion_is_found_out_by_its_lines() -> None:
    report = verified(PLATFORM, "r76-iii", MOVING_COUNTS, reader=ByLines, only="A.4.12")
    assert failing(report) == {"equilibrium stability"}


def test_a_line_is_read_as_the_standard_has_it() -> None:
    # The answer layout of SCP-0499: LF s r n m f, weight in 10, unit in 3, CR (protocols/scp0499).
    line = read_line(b"\n 1NM      -12.5kg \r")
    assert (line.net, line.motion, line.figure_kg) == (True, True, Decimal("-12.5"))
    assert read_line(b"\nO1G  ----------kg \r").figure_kg is None
    with pytest.raises(BadInput, match="holds no weight"):
        read_line(b"\n?\r")


def test_what_no_line_can_ask_for_is_refused() -> None:
    plan = plan_of(PLATFORM, "r76-iii")
    reader = ByLines(bench_of(plan, subject("r76-iii", "3000", "1").profile, SEED))
    with pytest.raises(BadInput, match="cannot be asked for"):
        reader.command(PresetTare(Decimal(1)))


def tracking(scale: Model) -> list[Judged]:
    it = subject("r76-iii", "3000", "1")
    procedures = chosen(procedures_of(it.profile), "4.5.7")
    return list(verify(it, lambda: scale, procedures).tests)


def test_a_host_whose_tracking_keeps_up_with_what_is_poured_fails() -> None:
    # 4.5.7: at most 0.5 d/s (memory).
    assert [t.passed for t in tracking(Model("1"))] == [True, True, True]
    poured = tracking(Model("1", takes_d_per_s=2))[-1]
    assert poured.part == "a load poured at 1 d/s shows"
    assert poured.passed is False


@pytest.mark.parametrize(("step_kg", "passed"), [("0.01", True), ("0.2", True), ("1", False)])
def test_a_tare_of_whole_intervals_is_not_fine_enough(step_kg: str, passed: bool) -> None:
    # 4.6.3: within 0.25 e (memory); a tare of whole d may be 0.5 d off.
    it = subject("r76-iii", "3000", "1")
    scale = Model("1", lambda load: load + Fraction(2, 100), tare_step_kg=step_kg)
    (found,) = verify(it, lambda: scale, chosen(procedures_of(it.profile), "A.4.6.2")).tests
    assert found.passed is passed


def test_what_the_built_in_host_does_not_meet_is_said_and_shown_to_who_asks() -> None:
    whole = good(PLATFORM, "r76-iii")
    (told,) = (t for t in whole.tests if t.title == "tare accuracy")
    assert told.passed is None
    assert "does not meet it" in told.indication
    (found,) = verified(PLATFORM, "r76-iii", only="A.4.6.2").tests
    assert found.passed is False
    assert found.error_e is not None
    assert 0.25 < abs(found.error_e) <= 0.5


def test_a_host_that_obeys_no_key_fails_what_needs_one() -> None:
    it = subject("r76-iii", "3000", "1")
    report = verify(it, lambda: Model("1"), [p for p in procedures_of(it.profile) if p.title not in LONG])
    assert failing(report) == {"zero accuracy", "equilibrium stability", "tare weighing"}


class Silent(Model):
    """A display that stays dark, and keys that do nothing."""

    def read(self) -> Reading:
        return Reading(None, motion=False)


@pytest.mark.parametrize(("rules", "stage"), [("r76-iii", "initial"), ("hb44-iii", "acceptance")])
def test_a_scale_that_shows_nothing_passes_nothing(rules: str, stage: str) -> None:
    it = subject(rules, "3000", "1", stage=stage)
    report = verify(it, lambda: Silent("1"), procedures_of(it.profile))
    assert not report.passed
    assert not any(t.passed for t in report.tests)
    assert len(report.failed) >= 9


@given(
    st.binary(max_size=60)
    | st.builds(lambda a, b: b"\n" + a + b"kg \r" + b, st.binary(max_size=15), st.binary())
)
def test_whatever_a_host_sends_is_a_line_or_is_told(octets: bytes) -> None:
    try:
        line = read_line(octets)
    except BadInput:
        return
    assert line.figure_kg is None or line.figure_kg.is_finite()
