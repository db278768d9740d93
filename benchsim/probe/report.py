"""What the cases came to, for programs: JSON, and JUnit XML as CI servers read it.  Values in, text out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any
from xml.etree import ElementTree

from benchsim.probe.case import Side
from benchsim.probe.finding import Verdict
from benchsim.probe.play import Result

# What of a long exchange is shown around the frame that shows a finding.
BEFORE, AFTER = 6, 2


def passed(results: Iterable[Result], unreached_passes: bool = False) -> bool:
    """Whether every case was found conforming.  unreached_passes: those not reached do not count."""
    fine = {Verdict.CONFORMING, *([Verdict.NOT_REACHED] if unreached_passes else ())}
    return all(result.verdict in fine for result in results)


def document(results: Sequence[Result], all_passed: bool, with_frames: bool) -> dict[str, Any]:
    """{"cases": [{"id", "side", "purpose", "section", "verdict"}], "passed"}.

    with_frames: also "why", "at" (index of the frame that shows a finding, or None) and "frames" of each.
    """
    return {"cases": [_case(result, with_frames) for result in results], "passed": all_passed}


def _case(result: Result, with_frames: bool) -> dict[str, Any]:
    case = result.case
    told: dict[str, Any] = {
        "id": case.id,
        "side": str(case.side),
        "purpose": case.purpose,
        "section": case.section,
        "verdict": str(result.verdict),
    }
    if with_frames:
        told["why"], told["at"] = result.why, result.at
        told["frames"] = [
            {"t_us": s.t_us, "from": who(result.case.side, s.by_device), "octets": s.octets.hex()}
            for s in result.said
        ]
    return told


def who(side: Side, by_device: bool) -> str:
    """Who said a frame: the device under test or the probe, each by the end that it is."""
    other = Side.NODE if side is Side.HOST else Side.HOST
    return f"{side} under test" if by_device else f"probe as {other}"


def junit(results: Sequence[Result], side: Side) -> str:
    """JUnit XML: a finding is a failure, a case not reached is skipped."""
    counts = {verdict: sum(r.verdict is verdict for r in results) for verdict in Verdict}
    suite = ElementTree.Element(
        "testsuite",
        name=f"nodelink {side}",
        tests=str(len(results)),
        failures=str(counts[Verdict.NOT_CONFORMING]),
        errors="0",
        skipped=str(counts[Verdict.NOT_REACHED]),
    )
    properties = ElementTree.SubElement(suite, "properties")
    ElementTree.SubElement(properties, "property", name="simulated", value="true")
    for result in results:
        took_us = result.said[-1].t_us - result.said[0].t_us if result.said else 0
        told = ElementTree.SubElement(
            suite, "testcase", classname=f"nodelink.{side}", name=result.case.id, time=f"{took_us / 1e6:.3f}"
        )
        if result.verdict is Verdict.NOT_CONFORMING:
            failure = ElementTree.SubElement(told, "failure", message=result.why)
            failure.text = "\n".join(
                [f"section {result.case.section}: {result.case.purpose}", "", *exchange(result)]
            )
        elif result.verdict is Verdict.NOT_REACHED:
            ElementTree.SubElement(told, "skipped", message=result.why)
    ElementTree.indent(suite)
    return '<?xml version="1.0" encoding="utf-8"?>\n' + ElementTree.tostring(suite, encoding="unicode") + "\n"


def around(result: Result) -> range:
    """Indices of the frames to show: those about the one that shows the finding, or the last ones."""
    at = len(result.said) - 1 if result.at is None else result.at
    return range(max(0, at - BEFORE), min(len(result.said), at + AFTER + 1))


def exchange(result: Result) -> list[str]:
    """The frames to show, a line each: time, who, octets; an arrow at the one that shows the finding."""
    lines = []
    for index in around(result):
        said = result.said[index]
        mark = "->" if index == result.at else "  "
        by = who(result.case.side, said.by_device)
        lines.append(f"{mark} {said.t_us / 1e6:10.6f} s  {by}: {said.octets.hex(' ')}")
    return lines
