"""A calibration for people and for programs: the solution, what rules ask for, the seal; all as simulated."""

from __future__ import annotations

from typing import Any

import click
from rich.text import Text

from benchsim.cli.calibrating import Ended, Job, Step
from benchsim.cli.text import console, print_table
from benchsim.host.calibration_parts import Kind, Task, cells_text, signed_kg, weight_text
from benchsim.host.calibration_prompts import SIMULATED
from benchsim.host.calibration_results import Results
from benchsim.host.calibration_solve import Solution, place_text
from benchsim.host.calibration_tasks import tasks_of
from benchsim.host.calibration_theory import SheetFigures, Theory, theoretical

MET = {True: "yes", False: "no", None: "?"}


def show(job: Job, ended: Ended) -> None:
    """Everything that came of it, under the prompts."""
    click.echo()
    click.echo(f"{job.title}: {job.file}, seed {job.seed}, {job.settings.profile.title}")
    _show_theory(job)
    if ended.solution is not None:
        _show_solution(job, ended.solution)
    if ended.results is not None:
        _show_results(job, ended.results)
    for line, style in _last_lines(ended):
        console().print(Text(line, style), soft_wrap=True)
    console().print(Text(SIMULATED, "dim"), soft_wrap=True)


def _last_lines(ended: Ended) -> list[tuple[str, str]]:
    results = ended.results
    if results is None:
        why = str(ended.refusal) if ended.refusal is not None else "steps are left"
        return [(f"Not calibrated: {why}", "bold red")]
    notes = [(f"note: {note}", "yellow") for note in results.notes]
    failed = [(f"Not within the rules: {line}", "bold red") for line in results.failed]
    return [*notes, *(failed or [("Calibrated, within the rules of the profile.", "bold green")])]


def _theory(job: Job) -> Theory:
    digitisers = {cell: s.digitiser for s in job.plan.scale.stations for cell in s.cells}
    return theoretical(
        [
            SheetFigures(
                c.e_max_kg, c.rated_output_mv_per_v, digitisers[i].counts_per_mv_per_v,
                job.settings.sheet_tolerance,
            )
            for i, c in enumerate(job.plan.scale.cells)
        ]
    )  # fmt: skip


def _show_theory(job: Job) -> None:
    theory, max_kg = _theory(job), float(job.settings.capacity_kg)
    d_kg = job.settings.interval_kg
    shared, alone = (weight_text(part * max_kg, d_kg) for part in (2.0 * theory.standard, theory.worst))
    allowed = weight_text(float(job.settings.tolerance_kg(job.settings.capacity_kg)), d_kg)
    click.echo(
        f"By data sheets alone a load of Max would be uncertain by {shared} (k = 2) when all cells share it,"
        f" wrong by up to {alone} at worst; {allowed} are allowed."
    )


# -- the solution --------------------------------------------------------------------------------------


def _show_solution(job: Job, solution: Solution) -> None:
    click.echo()
    settings = job.settings
    rows = []
    for number, group in enumerate(settings.groups):
        for cell in group:
            address, channel = settings.places[cell]
            sheet = f"{solution.factors[number]:.6f}" if settings.sheet is not None else "-"
            rows.append(
                (
                    str(cell + 1), f"{address}.{channel + 1}", f"{solution.kg_per_count[cell]:.8g}", sheet,
                    f"{solution.errors[number]:.1e}",
                    f"{solution.sheet_errors[number]:.1e}" if solution.sheet_errors[number] > 1e-9 else "-",
                )
            )  # fmt: skip
    print_table(("cell", "node", "kg a count", "of data sheet", "standard error", "left to data sheet"), rows)
    click.echo()
    print_table(("load", "residual", "in d", "in e", "allowed"), _residuals(job, solution), ("load",))
    birge = "none to spare" if solution.birge is None else f"residuals over noise {solution.birge:.2f}"
    click.echo(
        f"{solution.told} of {len(settings.groups)} combinations told apart by the loads, condition number"
        f" {solution.condition_told:.3g} (of all: {_many(solution.condition)}, limit"
        f" {settings.condition_limit:g}); degrees of freedom {solution.freedom}, {birge}."
    )
    if solution.told < len(settings.groups):
        kg = weight_text(solution.sheet_kg, settings.interval_kg)
        click.echo(f"The rest stays as the data sheets have it; at most {kg} of these loads hang on that.")


def _corners(job: Job) -> list[Task]:
    return [task for task in tasks_of(job.settings) if task.kind is Kind.CORNER]


def _part(share: float) -> str:
    """So much of an interval, to a hundredth, no zero with a minus."""
    return f"{round(share, 2) + 0.0:+.2f}"


def _many(condition: float) -> str:
    return f"{condition:.3g}" if condition < 1e9 else "beyond any figure"


def _residuals(job: Job, solution: Solution) -> list[tuple[str, ...]]:
    settings, corners = job.settings, _corners(job)
    d_kg, e_kg = float(settings.interval_kg), float(settings.e_kg)
    return [
        (
            place_text(task.group, settings), signed_kg(residual, settings.interval_kg),
            _part(residual / d_kg), _part(residual / e_kg), f"{float(allowed):g} kg",
        )
        for task, residual, allowed in zip(corners, solution.residual_kg, solution.allowed_kg, strict=True)
    ]  # fmt: skip


# -- results -------------------------------------------------------------------------------------------


def _show_results(job: Job, results: Results) -> None:
    d_kg = job.settings.interval_kg
    click.echo()
    click.echo(f"Span factor {results.span_factor:.7f}.")
    if results.gravity_factor != 1.0:
        click.echo(f"Gravity factor {results.gravity_factor:.7f} for the place of use.")
    if results.rows:
        print_table(
            ("load", "error", "in e", "allowed", "the load itself (k = 2)"),
            [
                (
                    weight_text(row.load_kg, d_kg), signed_kg(row.error_kg, d_kg),
                    _part(row.error_kg / float(job.settings.e_kg)), f"{float(row.allowed_kg):g} kg",
                    "test weights" if row.carried is None else f"{row.carried.expanded:.3g} kg, built up",
                )
                for row in results.rows
            ],
        )  # fmt: skip
    if results.spread_kg is not None:
        click.echo(
            f"{len(results.repeated_kg)} weighings lie {weight_text(results.spread_kg, d_kg)} apart,"
            f" {float(results.spread_allowed_kg):g} kg are allowed; empty deck at the end"
            f" {signed_kg(results.zero_return_kg, d_kg)} from the first."
        )
    click.echo()
    print_table(
        ("the rules ask of", "for", "here", "met", "clause"),
        [(a.what, a.asked, a.found, MET[a.met], a.clause) for a in results.asked],
        ("met",),
    )
    if results.passed:
        made = results.seal()
        nodes = ", ".join(f"address {a} {octets.hex()}" for a, octets in made.nodes.items())
        click.echo(f"Seal: whole scale {made.whole.hex()}; {nodes}")


# -- for programs --------------------------------------------------------------------------------------


def document(job: Job, ended: Ended) -> dict[str, Any]:
    """All of it as JSON has it.  Masses in kg."""
    theory = _theory(job)
    return {
        "simulated": True,
        "notice": SIMULATED,
        "title": job.title,
        "file": job.file,
        "seed": job.seed,
        "profile": job.settings.profile.name,
        "stage": job.settings.stage,
        "steps": [_step(step) for step in ended.steps],
        "theory": {
            "kg_per_count": list(theory.kg_per_count), "relative_standard": theory.standard,
            "relative_worst": theory.worst,
        },
        "solution": None if ended.solution is None else _solution(job, ended.solution),
        "refused": None if ended.refusal is None else _refused(ended.refusal.found, ended.refusal.right),
        "results": None if ended.results is None else _results(ended.results),
        "passed": ended.passed,
    }  # fmt: skip


def _refused(found: str, right: str) -> dict[str, str]:
    return {"found": found, "right": right}


def _step(step: Step) -> dict[str, Any]:
    prompt = step.prompt
    return {
        "number": prompt.number,
        "kind": str(prompt.kind),
        "text": prompt.text,
        "expects": prompt.expects,
        "cautions": list(prompt.cautions),
        "load_kg": float(prompt.load_kg),
        "read_kg": step.read_kg,
        "refused": None if step.refusal is None else _refused(step.refusal.found, step.refusal.right),
        "notes": list(step.notes),
    }


def _solution(job: Job, solution: Solution) -> dict[str, Any]:
    groups = job.settings.groups
    return {
        "cells": [
            {
                "cell": cell + 1, "address": job.settings.places[cell][0],
                "channel": job.settings.places[cell][1], "kg_per_count": solution.kg_per_count[cell],
                "factor": solution.factors[number], "standard_error": solution.errors[number],
                "left_to_data_sheet": solution.sheet_errors[number], "with": cells_text(group),
            }
            for number, group in enumerate(groups)
            for cell in group
        ],
        "residuals": [
            {"place": place_text(task.group, job.settings), "kg": residual, "allowed_kg": float(allowed)}
            for task, residual, allowed in zip(
                _corners(job), solution.residual_kg, solution.allowed_kg, strict=True
            )
        ],
        "fits_least": None if solution.suspect is None else solution.suspect + 1,
        "condition": solution.condition if solution.condition < 1e9 else None,
        "condition_told": solution.condition_told,
        "told": solution.told,
        "freedom": solution.freedom,
        "birge": solution.birge,
        "hangs_on_data_sheets_kg": solution.sheet_kg,
    }  # fmt: skip


def _results(results: Results) -> dict[str, Any]:
    made = results.seal() if results.passed else None
    return {
        "span_factor": results.span_factor,
        "gravity_factor": results.gravity_factor,
        "kg_per_count": list(results.kg_per_count),
        "zero_counts": list(results.zero_counts),
        "linearity": [
            {
                "load_kg": row.load_kg, "error_kg": row.error_kg, "allowed_kg": float(row.allowed_kg),
                "within": row.within,
                "load_expanded_kg": None if row.carried is None else row.carried.expanded,
            }
            for row in results.rows
        ],
        "repeated_kg": list(results.repeated_kg),
        "spread_kg": results.spread_kg,
        "spread_allowed_kg": float(results.spread_allowed_kg),
        "zero_return_kg": results.zero_return_kg,
        "asked": [
            {"what": a.what, "asked": a.asked, "clause": a.clause, "found": a.found, "met": a.met}
            for a in results.asked
        ],
        "failed": list(results.failed),
        "notes": list(results.notes),
        "seal": None if made is None else {
            "fingerprint": made.whole.hex(),
            "addresses": {str(a): octets.hex() for a, octets in made.nodes.items()},
        },
    }  # fmt: skip
