"""The verb `calibrate`: the scale of a scenario file taken through a guided calibration, step by step.

By itself the bench does what each prompt asks for, on the virtual clock; with --by-hand a person says when.
0: calibrated.  1: refused, left unfinished, or outside what the rules allow.  2: bad input.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import rich_click as click


@click.command()
@click.argument("file", metavar="FILE|NAME", type=click.Path(path_type=Path))
@click.option("--weight", metavar="MASS", help="The test weight that goes over each place in turn.")
@click.option("--test-weights", metavar="MASS", help="All test weights at hand; up to Max when not given.")
@click.option("--class", "weight_class", default="M1", show_default=True, help="Of the weights, R 111.")
@click.option("--piece", metavar="MASS", help="Nominal mass of one test weight: 20 kg, 1 t.")
@click.option(
    "--sections",
    type=click.Choice(["cells", "sections"]),
    default="cells",
    show_default=True,
    help="Whether the weight goes over each cell or over each section (cells side by side).",
)
@click.option(
    "--linearity",
    metavar="LOADS|none",
    help="Loads at which the error is told, with commas: 20 t, 40 t, or 50 %, 100 %. Without it: Min,"
    " the steps of the tolerance, Max.",
)
@click.option("--repeats", type=click.IntRange(0, 20), default=3, show_default=True, help="0 for none.")
@click.option(
    "--no-data-sheet", is_flag=True, help="Take the cells as unknown; refused where loads cannot tell."
)
@click.option("--used-at", metavar="GRAVITY", help="Gravity where it will be used: 9.7803 m/s2.")
@click.option("--seed", metavar="N", help="Of every random stream, instead of the scenario's own.")
@click.option("--by-hand", is_flag=True, help="Wait for done, again or back on standard input; type help.")
@click.option("--seal", "seal_path", type=click.Path(path_type=Path, dir_okay=False), metavar="OUT.toml",
              help="Write the coefficients with their fingerprints.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print all of it as one JSON object.")
def calibrate(
    file: Path, seed: str | None, by_hand: bool, seal_path: Path | None, as_json: bool, **words: Any
) -> None:
    """Calibrate the SIMULATED scale of a scenario, guided step by step.

    Zero, the test weight over each place, coefficients by least squares, span, linearity (built up by
    substitution where the weights do not reach), repeatability, and a seal. The faults of the file's timeline
    act; its loads and commands are left out. Exit code 0: calibrated; 1: refused or outside the rules; 2: bad
    input. It proves a procedure, never an instrument: local law and licensed people decide on a real scale.
    """
    from benchsim.cli.calibrating import Words, by_itself, guided, prepared
    from benchsim.cli.calibration_told import document, show
    from benchsim.cli.text import print_json
    from benchsim.ground.errors import BadInput

    if by_hand and as_json:
        raise BadInput("--by-hand and --json", "give one of them: a person is told in words")
    job = prepared(file, seed, Words(**words))
    ended = guided(job) if by_hand else by_itself(job, quiet=as_json)
    if as_json:
        print_json(document(job, ended))
    else:
        show(job, ended)
    if seal_path is not None:
        if ended.results is not None and ended.passed:
            _write(seal_path, ended.results.seal().text())
            click.echo(f"seal written to {seal_path}", err=True)
        else:
            click.echo(f"no seal written to {seal_path}: not calibrated", err=True)
    raise SystemExit(0 if ended.passed else 1)


def _write(path: Path, text: str) -> None:
    from benchsim.ground.errors import BadInput

    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror}", "name a file that can be written") from None
