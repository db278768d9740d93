"""The verb `verify`: a standard's own test procedures on the scale of a scenario, on the virtual clock.

0: tests were run and passed.  1: one failed, or none was run.  2: something could not be read or written.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

if TYPE_CHECKING:
    from benchsim.verify.judged import Judged
    from benchsim.verify.run import Report


@click.command()
@click.argument("file", metavar="FILE|NAME")
@click.option("--rules", metavar="PROFILE", help="The rules to test by; default those of the scenario.")
@click.option("--stage", metavar="STAGE", help="Of the tolerances; default that of new scales.")
@click.option("--only", metavar="CLAUSE", help="Only the procedure of this clause, such as A.4.7.")
@click.option("--seed", metavar="N", help="Of every random stream, instead of the scenario's own.")
@click.option("--html", type=click.Path(path_type=Path, dir_okay=False), metavar="OUT", help="Write a page.")
@click.option("--json", "as_json", is_flag=True, help="Print the results as one JSON object.")
def verify(
    file: str,
    rules: str | None,
    stage: str | None,
    only: str | None,
    seed: str | None,
    html: Path | None,
    as_json: bool,
) -> None:
    """Test the scale of a scenario as a standard says: errors before rounding, each with limit and clause.

    The host keeps the scenario's rules and is judged by PROFILE. The scale stands as it was built: of the
    timeline only faults that begin at 0 s are there. SIMULATED, no test report for an instrument.
    Exit code 0: all that was run passed; 1: a test failed, or none was run; 2: bad input.
    """
    from benchsim.cli.text import print_json
    from benchsim.rules.profile import load_profile
    from benchsim.scenario.build import assemble
    from benchsim.scenario.loader import load, seed_of
    from benchsim.verify.on_bench import OnBench, bench_of
    from benchsim.verify.procedures import chosen, procedures_of
    from benchsim.verify.run import verify as carry_out
    from benchsim.verify.subject import subject_of

    scenario = load(file)
    own_seed = scenario.file.seed if seed is None else seed_of(seed, "--seed")
    built = assemble(scenario, own_seed)
    profile = built.profile if rules is None else load_profile(rules)
    procedures = procedures_of(profile)
    if only is not None:
        procedures = chosen(procedures, only)
    subject = subject_of(built.plan, profile, stage)
    report = carry_out(subject, lambda: OnBench(bench_of(built.plan, built.profile, own_seed)), procedures)
    named = f"{scenario.path.name}, its host by {built.profile.name}"
    if html is not None:
        _write(html, report, scenario.file.title, named)
    if as_json:
        print_json(report.document())
    else:
        _show(report, scenario.file.title, named)
    raise SystemExit(0 if report.passed else 1)


def _write(path: Path, report: Report, title: str, file: str) -> None:
    from benchsim.ground.errors import BadInput
    from benchsim.verify.page import page_of

    try:
        path.write_text(page_of(report, title, file), encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}", "name a file that can be written") from None


def _show(report: Report, title: str, file: str) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, facts
    from benchsim.verify.wording import CAUTION, SIMULATED, facts_of, summary_of

    out = console()
    out.print(Text(title, "bold"))
    out.print(facts(facts_of(report, file)))
    for tests in report.by_procedure():
        _procedure(report, tests)
    out.print()
    out.print(summary_of(report), style="bold green" if report.passed else "bold red")
    out.print(SIMULATED, style="bold")
    out.print(CAUTION, style="dim")


def _procedure(report: Report, tests: tuple[Judged, ...]) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, table
    from benchsim.verify.wording import figure, verdict_of

    out, first = console(), tests[0]
    out.print()
    out.print(Text.assemble((first.title, "bold"), "  ", (first.clause, "dim")))
    if first.passed is None:
        out.print(Text(first.indication, "yellow"))
        return
    counted = report.subject.counted
    made = table(
        "", "test", "load", "indication", f"error, {counted}", f"limit, {counted}", narrow=("", "load")
    )
    for column in made.columns[4:]:
        column.justify = "right"
    for test in tests:
        mark = Text(verdict_of(test), "green" if test.passed else "bold red")
        words = (test.part, test.load, test.indication, figure(test.error_e), figure(test.limit_e))
        made.add_row(mark, *map(Text, words))
    out.print(made)
