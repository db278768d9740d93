"""Verdicts for people: each scenario with its checks, what a failed one wanted and found, and a last line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from benchsim.cli.text import SIMULATED, console, table
from benchsim.ground.clock import seconds

if TYPE_CHECKING:
    from benchsim.scenario.run import Result


def show(results: list[Result], bad: int) -> None:
    """Print all of it.  bad: files that gave no result."""
    out = console()
    for result in results:
        out.print(_head(result), soft_wrap=True)
        if result.verdicts:
            out.print(_checks(result))
        else:
            out.print("  no checks: it ran to its end, and nothing was asked of it", style="yellow")
        out.print()
    failed = sum(not r.passed for r in results)
    checks = sum(len(r.verdicts) for r in results)
    unread = f", {bad} could not be read or run" if bad else ""
    style = "bold red" if failed or bad else "bold green"
    ran = "1 scenario" if len(results) == 1 else f"{len(results)} scenarios"
    out.print(f"{ran}, {checks} checks: {len(results) - failed} passed, {failed} failed{unread}", style=style)
    out.print(SIMULATED, style="dim")


def _head(result: Result) -> Text:
    word, style = ("PASS", "bold green") if result.passed else ("FAIL", "bold red")
    wall = f"{result.wall_seconds:.2f} s"
    return Text.assemble(
        (word, style), " ", (result.title, "bold"), "\n",
        (f"     {result.file}, seed {result.seed}, {seconds(result.sim_us)} in {wall}", "dim"),
    )  # fmt: skip


def _checks(result: Result) -> object:
    made = table("", "check", "at", "found", narrow=("", "at"))
    for verdict in result.verdicts:
        at = "" if verdict.at_us is None else seconds(verdict.at_us)
        found = Text(verdict.found)
        if not verdict.passed:
            found = Text.assemble((verdict.found, "red"), ("\nexpected ", "dim"), verdict.expected)
        mark = Text("ok", "green") if verdict.passed else Text("FAIL", "bold red")
        made.add_row(mark, Text(verdict.name), at, found)
    return made
