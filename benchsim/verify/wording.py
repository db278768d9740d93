"""The words of a report, the same as text and as a page."""

from __future__ import annotations

from decimal import Decimal

from benchsim.ground.units import mass_text
from benchsim.verify.judged import Judged
from benchsim.verify.run import Report

SIMULATED = "SIMULATED, not a test report for an instrument."
CAUTION = (
    "Approval and verification of an instrument belong to the authority and to licensed people under local "
    "law. The limits and procedures are as they are known here; confirm them in the standard in force."
)
VERDICTS = {True: "ok", False: "FAIL", None: "not run"}


def verdict_of(test: Judged) -> str:
    return VERDICTS[test.passed]


def figure(value: Decimal | None) -> str:
    """An error or a limit: two decimals at most; a dash for none."""
    if value is None:
        return "-"
    return f"{value.quantize(Decimal('0.01')).normalize():f}"


def summary_of(report: Report) -> str:
    """How many passed, failed, and were not run."""
    run = [t for t in report.tests if t.passed is not None]
    failed = len(report.failed)
    told = f"{len(run) - failed} of {len(run)} tests passed"
    if failed:
        titles = ", ".join(dict.fromkeys(t.title for t in report.failed))
        told += f", {failed} failed ({titles})"
    if report.not_run:
        told += f"; not run: {', '.join(t.title for t in report.not_run)}"
    return told


def facts_of(report: Report, file: str) -> list[tuple[str, str]]:
    """What was tested and by which rules."""
    subject = report.subject
    profile = subject.profile
    steps = f"d {mass_text(subject.d_kg)}"
    if subject.counted == "e":
        steps = f"e {mass_text(subject.e_kg)}, {steps}"
    return [
        ("scale", f"Max {mass_text(subject.max_kg)}, {steps}, {len(subject.receptor.supports)} cells"),
        ("described by", file),
        ("rules", f"{profile.name}: {profile.title}"),
        ("tolerances", f"{subject.stage}"),
        ("errors", f"before rounding, in {subject.counted}"),
    ]
