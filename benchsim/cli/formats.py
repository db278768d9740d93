"""The verbs about scenario files: the ones that ship, the check sentences, the schema of the format."""

from __future__ import annotations

import shlex
from pathlib import Path

import rich_click as click

_as_json = click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")


@click.command()
@click.option(
    "--copy",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="Write them into FOLDER, to change them.",
)
@_as_json
def scenarios(copy: Path | None, as_json: bool) -> None:
    """List the scenarios that come with benchsim: run and serve take them by name."""
    from benchsim.cli.text import counted, print_json, print_table
    from benchsim.ground.library import shipped
    from benchsim.scenario.loader import load

    folder = shipped("scenarios")
    files = sorted(folder.glob("*.yaml"))
    if copy is not None:
        folder, files = copy, _copied(files, copy)
    loaded = [load(path) for path in files]
    if as_json:
        listed = [{"file": str(s.path), "title": s.file.title, "about": s.file.about} for s in loaded]
        print_json({"scenarios": listed, "folder": str(folder)})
        return
    if copy is not None:
        click.echo(f"{counted(len(files), 'scenario')} written; benchsim run {shlex.quote(str(copy))}")
        return
    print_table(("file", "title"), ((s.path.name, s.file.title) for s in loaded), narrow=("file",))
    click.echo(f"in {folder}")
    click.echo(f"Run one by its name, as benchsim run {files[0].stem}; --copy FOLDER writes them out.")


def _copied(files: list[Path], folder: Path) -> list[Path]:
    """The files, in another folder.  Nothing is written when one there would be lost.  Raises BadInput."""
    from benchsim.ground.errors import BadInput

    made = [folder / file.name for file in files]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file, copy in zip(files, made, strict=True):
            if copy.exists() and copy.read_bytes() != file.read_bytes():
                raise BadInput(f"{copy} is there already, and another", "name a folder without it")
        for file, copy in zip(files, made, strict=True):
            if not copy.exists():
                copy.write_bytes(file.read_bytes())
    except OSError as error:
        raise BadInput(f"{error.filename or folder}: {error.strerror}", "name a folder to write to") from None
    return made


@click.command()
@_as_json
def checks(as_json: bool) -> None:
    """Show the sentences that a scenario can check, a form a line, with an example of each."""
    from benchsim.checks.forms import FORMS
    from benchsim.cli.text import console, print_json, table

    if as_json:
        forms = [{"part": f.part, "form": f.form, "meaning": f.meaning, "example": f.example} for f in FORMS]
        print_json({"forms": forms})
        return
    from rich.text import Text

    made = table("part", "form and meaning", "example", narrow=("part",))
    last = ""
    for form in FORMS:
        meaning = f"\n{form.meaning}" if form.meaning else ""
        made.add_row(
            form.part if form.part != last else "",
            Text.assemble((form.form, "bold"), (meaning, "dim")),
            Text(form.example),
        )
        last = form.part
    console().print(made)
    click.echo("A sentence: [when] [how] statement [while a state] [how often].")


@click.command()
def schema() -> None:
    """Print the JSON Schema of a scenario file, for editors and other tools."""
    from benchsim.cli.text import print_json
    from benchsim.scenario.published import json_schema

    print_json(json_schema())
