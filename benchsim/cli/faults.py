"""The verb `faults`: the catalogue of all that can go wrong, or all about one fault."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.faults.fault import Entry, Parameter


MORE = "benchsim faults NAME: its cause, how to make sure, what to mind, and a plot of what it does."


@click.command()
@click.argument("name", required=False)
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def faults(name: str | None, as_json: bool) -> None:
    """List the faults; with NAME, tell what is seen, how to make sure, and its figures."""
    from benchsim.cli.text import console, print_json, print_table
    from benchsim.faults.fault import catalogue, entry_of

    if name is not None:
        entry = entry_of(name)
        if as_json:
            print_json(_fault(entry))
        else:
            _show_fault(entry)
        return
    entries = list(catalogue().values())
    if as_json:
        print_json([_fault(e) for e in entries])
    else:
        print_table(
            ("fault", "acts on", "figures", "what is seen"),
            ((e.name, e.stage, _figures(e), e.seen) for e in entries),
            narrow=("fault", "acts on"),
        )
        console().print(MORE, style="dim")


def _figures(entry: Entry) -> str:
    """Its figures with their defaults, in a line."""
    return ", ".join(f"{p.word} {p.shown(p.default)}" for p in entry.parameters)


def _fault(entry: Entry) -> dict[str, Any]:
    return {
        "name": entry.name,
        "stage": entry.stage,
        "parameters": [_parameter(p) for p in entry.parameters],
        "seen": entry.seen,
        "cause": entry.cause,
        "confirm": entry.confirm,
        "caution": entry.caution,
    }


def _parameter(parameter: Parameter) -> dict[str, Any]:
    return {
        "name": parameter.word,
        "default": parameter.shown(parameter.default),
        "unit": parameter.unit,
        "allowed": parameter.range_text,
        "meaning": parameter.doc,
    }


def _show_fault(entry: Entry) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, facts, print_table

    out = console()
    out.print(Text.assemble((entry.name, "bold"), f"  {entry.summary}"))
    rows = [
        ("acts on", entry.stage),
        ("seen", entry.seen),
        ("cause", entry.cause),
        ("make sure", entry.confirm),
        ("caution", entry.caution),
    ]
    out.print(facts((n, t) for n, t in rows if t))
    if entry.parameters:
        out.print()
        print_table(
            ("figure", "default", "allowed", "meaning"),
            (
                (p.word, p.shown(p.default), p.range_text, p.doc)
                for p in entry.parameters
            ),
            narrow=("figure", "default"),
        )  # fmt: skip
    out.print()
    _show_story(entry)
    out.print(Text(example(entry), "dim"))


def _show_story(entry: Entry) -> None:
    """What it does to a reading: run now, on the bench."""
    from benchsim.cli.fault_story import lines, play
    from benchsim.cli.text import SIMULATED, console

    out = console()
    for line in [*lines(play(entry), out.width), SIMULATED]:
        out.print(line, soft_wrap=True)
    out.print()


def example(entry: Entry) -> str:
    """A timeline's item with this fault."""
    where = {"cell": ", on: cell 1", "wiring": ", on: cell 1", "node": ", on: node 1", "link": ", on: node 1"}
    figure = next(iter(entry.parameters), None)
    with_ = f", with: {{{figure.word}: {figure.shown(figure.default)}}}" if figure else ""
    return f"{{at: 20 s, fault: {entry.name}{where.get(entry.stage, '')}{with_}, until: 60 s}}"
