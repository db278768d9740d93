"""The verb `run`: scenario files or folders of them, on the virtual clock, to verdicts and an exit code.

0: every check held.  1: a check failed.  2: something could not be read or written; the rest still runs.
A run that a signal stops gives no verdict at all: 130 after Ctrl-C, 143 after SIGTERM.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

import rich_click as click

from benchsim.cli.endings import Brake, Interrupted, lines_of

if TYPE_CHECKING:
    from benchsim.ground.errors import BenchsimError
    from benchsim.scenario.run import Result

SUFFIXES = (".yaml", ".yml")
LONG_S = 0.7
EACH_S = 0.1
"""Progress is drawn only for work that takes longer than LONG_S, each EACH_S, and only for people."""

Advance = Callable[[int, int], object]


class Mistakes:
    """What could not be read or run: told on stderr as it comes, kept for the document."""

    def __init__(self) -> None:
        self.files = 0
        self.documents: list[dict[str, Any]] = []

    def add(self, file: Path, error: BenchsimError) -> None:
        """One file's or folder's."""
        self.files += 1
        click.echo("\n".join(lines_of(error)), err=True)
        each: Any  # of BadInput's kind: what a person wrote has no other
        for each in getattr(error, "errors", (error,)):
            place = each.place
            name = place.file if place else str(file)
            self.documents.append(
                {
                    "file": name,
                    "line": place.line or None if place else None,
                    "column": place.column or None if place else None,
                    "found": each.found.removeprefix(f"{name}: "),
                    "right": each.right,
                }
            )


@click.command()
@click.argument("paths", nargs=-1, required=True, metavar="FILE|FOLDER|NAME...")
@click.option("--seed", metavar="N", help="Of every random stream, instead of the scenario's own.")
@click.option(
    "--record", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="Keep the run in FILE."
)
@click.option(
    "--record-depth",
    "depth",
    type=click.Choice(["frames", "indications"]),
    default=None,
    help="How much is kept: with all frames of the link (default), or only what is shown and what happens.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the results as one JSON object.")
def run(
    paths: tuple[str, ...], seed: str | None, record: Path | None, depth: str | None, as_json: bool
) -> None:
    """Run scenarios on the virtual clock and tell which checks held.

    A FOLDER runs all its *.yaml files; a NAME is that of a scenario that comes with benchsim
    (`benchsim scenarios`). Exit code 0: all held; 1: a check failed; 2: bad input, or no way to write;
    130, 143: stopped by Ctrl-C, SIGTERM; 141: nobody reads.
    """
    from benchsim.cli.text import print_json
    from benchsim.scenario.loader import seed_of

    mistakes = Mistakes()
    files = _files(paths, mistakes)
    if record is not None and len(files) != 1:
        raise click.UsageError(f"--record keeps one run, but {len(files)} scenarios are named")
    if depth is not None and record is None:
        raise click.UsageError("--record-depth says how much --record keeps, but there is no --record")
    own_seed = None if seed is None else seed_of(seed, "--seed")
    results = _run_all(files, own_seed, record, depth or "frames", mistakes)
    passed = not mistakes.files and all(r.passed for r in results)
    if as_json:
        documents = [r.document() for r in results]
        print_json({"scenarios": documents, "passed": passed, "errors": mistakes.documents})
    elif results:
        from benchsim.cli.verdicts import show

        show(results, mistakes.files)
    raise SystemExit(2 if mistakes.files else 0 if passed else 1)


def _files(words: tuple[str, ...], mistakes: Mistakes) -> list[Path]:
    """The files to run, each once however it is named."""
    from benchsim.ground.errors import BadInput
    from benchsim.scenario.loader import find
    from benchsim.scenario.quantities import shorten

    files: dict[Path, Path] = {}
    for word in words:
        if not word.strip():
            raise BadInput(f"{word!r} names nothing", "name a scenario file, a folder or a shipped scenario")
        path = Path(word)
        try:
            is_folder = path.is_dir()
            found = sorted(p for p in path.iterdir() if p.suffix in SUFFIXES) if is_folder else [find(path)]
        except OSError as error:
            mistakes.add(path, BadInput(f"{shorten(word)}: {error.strerror}", "name what can be read"))
            continue
        if is_folder and not found:
            mistakes.add(path, BadInput(f"{path}: no scenario in this folder", "scenarios end in .yaml"))
        for file in found:
            files.setdefault(file.resolve(), file)
    return list(files.values())


def _run_all(
    files: list[Path], seed: int | None, record: Path | None, depth: str, mistakes: Mistakes
) -> list[Result]:
    """Each file's result.  A signal stops the run it comes in, and those that would follow."""
    from benchsim.ground.errors import BenchsimError
    from benchsim.scenario.run import Stopped
    from benchsim.scenario.run import run as run_scenario

    results: list[Result] = []
    with Brake() as brake, _progress(len(files), brake) as begin:
        for file in files:
            try:
                results.append(run_scenario(file, seed, record, begin(file), perf_counter, depth))
            except BenchsimError as error:
                mistakes.add(file, error)
            except Stopped as stop:
                raise Interrupted(brake.number, str(stop)) from None
    return results


@contextmanager
def _progress(count: int, brake: Brake) -> Iterator[Callable[[Path], Advance]]:
    """Gives, for each file, what the run calls on its way: the brake, and a bar when somebody looks."""
    if not sys.stderr.isatty():
        yield lambda _file: brake.report
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

        def advance(now_us: int, ends_us: int) -> bool:
            nonlocal next_s
            if perf_counter() > next_s:
                next_s = perf_counter() + EACH_S
                bar.start()
                bar.update(task, completed=done + now_us / max(ends_us, 1), description=file.stem)
                bar.refresh()
            return brake.report(now_us, ends_us)

        return advance

    try:
        yield begin
    finally:
        bar.stop()
