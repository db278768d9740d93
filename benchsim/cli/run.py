"""The verb `run`: scenario files or folders of them, on the virtual clock, to verdicts and an exit code.

0: every check held.  1: a check failed.  2: something could not be read; the rest still runs.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import rich_click as click

if TYPE_CHECKING:
    from benchsim.scenario.run import Result

SUFFIXES = (".yaml", ".yml")
LONG_S = 0.7
EACH_S = 0.1
"""Progress is drawn only for work that takes longer than LONG_S, each EACH_S, and only for people."""

Advance = Callable[[int, int], None]


@click.command()
@click.argument("paths", nargs=-1, required=True, metavar="FILE|FOLDER...", type=click.Path(path_type=Path))
@click.option("--seed", metavar="SEED", help="Of every random stream, instead of the scenario's own.")
@click.option(
    "--record", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="Keep the run in FILE."
)
@click.option("--json", "as_json", is_flag=True, help="Print the results as one JSON object.")
def run(paths: tuple[Path, ...], seed: str | None, record: Path | None, as_json: bool) -> None:
    """Run scenarios on the virtual clock and tell which checks held.

    A FOLDER runs all its *.yaml files. Exit code 0: all held; 1: a check failed; 2: bad input.
    """
    from benchsim.cli.text import print_json

    files, bad = _files(paths)
    if record is not None and len(files) != 1:
        raise click.UsageError(f"--record keeps one run, but {len(files)} scenarios are named")
    results, more_bad = _run_all(files, seed, record)
    bad += more_bad
    passed = not bad and all(r.passed for r in results)
    if as_json:
        print_json({"scenarios": [r.document() for r in results], "passed": passed})
    else:
        from benchsim.cli.verdicts import show

        show(results, bad)
    raise SystemExit(2 if bad else 0 if passed else 1)


def _files(paths: tuple[Path, ...]) -> tuple[list[Path], int]:
    """The files to run, each once, and how many of the paths were no use (told on stderr)."""
    files: list[Path] = []
    bad = 0
    for path in paths:
        found = [path]
        if path.is_dir():
            found = sorted(p for p in path.iterdir() if p.suffix in SUFFIXES)
            if not found:
                click.echo(f"{path}: no scenario in this folder; scenarios end in .yaml", err=True)
                bad += 1
        files.extend(f for f in found if f not in files)
    return files, bad


def _run_all(files: list[Path], seed: str | None, record: Path | None) -> tuple[list[Result], int]:
    """Each file's result, and how many files could not be read or run (told on stderr)."""
    from benchsim.ground.errors import BenchsimError
    from benchsim.scenario.run import run as run_scenario

    own_seed: int | str | None = int(seed) if seed is not None and seed.isdecimal() else seed
    results: list[Result] = []
    bad = 0
    with _progress(len(files)) as begin:
        for file in files:
            try:
                results.append(run_scenario(file, own_seed, record, begin(file), perf_counter))
            except BenchsimError as error:
                bad += 1
                click.echo(str(error), err=True)
    return results, bad


@contextmanager
def _progress(count: int) -> Iterator[Callable[[Path], Advance | None]]:
    """Gives, for each file, what the run calls on its way; None when nobody looks."""
    import sys

    if not sys.stderr.isatty():
        yield lambda _file: None
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    from benchsim.cli.text import console

    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TextColumn("{task.percentage:>3.0f} %"),
        TimeRemainingColumn(),
    )
    bar = Progress(*columns, console=console(stderr=True), transient=True, auto_refresh=False)
    next_s, done = perf_counter() + LONG_S, -1
    task = bar.add_task("", total=max(count, 1))

    def begin(file: Path) -> Advance:
        nonlocal done
        done += 1

        def advance(now_us: int, ends_us: int) -> None:
            nonlocal next_s
            if perf_counter() > next_s:
                next_s = perf_counter() + EACH_S
                bar.start()
                bar.update(task, completed=done + now_us / max(ends_us, 1), description=file.stem)
                bar.refresh()

        return advance

    try:
        yield begin
    finally:
        bar.stop()
