"""Verdicts for people: each scenario with its checks, what a failed one wanted and found, and a last line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.text import Text

from benchsim.checks.around import around
from benchsim.cli.text import SIMULATED, console, counted, table
from benchsim.ground.clock import seconds
from benchsim.link.figures import told

if TYPE_CHECKING:
    from rich.console import Console

    from benchsim.scenario.run import Result

INDENT = "     "


def show(results: list[Result], unread: int) -> None:
    """Print all of it.  unread: files that gave no result."""
    out = console()
    for result in results:
        out.print(_head(result), soft_wrap=True)
        for line in told(result.ways):
            out.print(Text(f"     {line}", "dim"), soft_wrap=True)
        if result.verdicts:
            out.print(_checks(result))
            _show_around(out, result)
        else:
            out.print("  no checks: it ran to its end, and nothing was asked of it", style="yellow")
        out.print()
    bad = unread or not all(r.passed for r in results)
    out.print(_summary(results, unread), style="bold red" if bad else "bold green")
    out.print(SIMULATED, style="dim")


def _summary(results: list[Result], unread: int) -> str:
    passed, ran = sum(r.passed for r in results), len(results)
    held = [v.passed for r in results for v in r.verdicts]
    checks = f"{sum(held)} of {counted(len(held), 'check')} held" if held else "no checks"
    failed = f", {held.count(False)} failed" if not all(held) else ""
    lost = f"; {counted(unread, 'file')} could not be read or run" if unread else ""
    return f"{passed} of {counted(ran, 'scenario')} passed; {checks}{failed}{lost}"


def _show_around(out: Console, result: Result) -> None:
    """Under the table: the failed checks that one instant decided, with what lay around that."""
    failed = [(v.at_us, v.name) for v in result.verdicts if not v.passed and v.at_us is not None]
    for t_us in dict(failed):
        lines = around(result.trace, t_us, out.width - len(INDENT))
        names = [name for at_us, name in failed if at_us == t_us] if lines else []
        for line, style in [("", ""), *((n, "bold") for n in names), *((li, "dim") for li in lines)]:
            out.print(Text(INDENT + line if line else "", style), soft_wrap=True)


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
