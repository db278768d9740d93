"""The verbs about scenario files: the ones that ship, the check sentences, the schema of the format."""

from __future__ import annotations

import rich_click as click

_as_json = click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")


@click.command()
@_as_json
def scenarios(as_json: bool) -> None:
    """List the scenarios that come with benchsim, ready to run, copy and change."""
    from benchsim.cli.text import print_json, print_table
    from benchsim.ground.library import shipped
    from benchsim.scenario.loader import load

    loaded = [load(path) for path in sorted(shipped("scenarios").glob("*.yaml"))]
    if as_json:
        print_json(
            {
                "scenarios": [
                    {"file": str(s.path), "title": s.file.title, "about": s.file.about} for s in loaded
                ]
            }
        )
        return
    print_table(
        ("file", "title"), ((s.path.name, s.file.title) for s in loaded), narrow=("file",)
    )  # fmt: skip
    click.echo(f"in {shipped('scenarios')}")


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
