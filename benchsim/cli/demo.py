"""The verb `demo`: the whole way once.  A truck, a serial port, a client in a process of its own, the truth.

Every figure of the client's is what came over the wire; beside it stands the true mass on the deck at the
instant of that indication, which only the bench knows.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import rich_click as click

if TYPE_CHECKING:
    from benchsim.cli.demo_run import Result


WIDTH = 80
"""Of the table, on any terminal and in any pipe: no figure is cut."""


@click.command()
@click.option(
    "--speed",
    default=4.0,
    show_default=True,
    type=click.FloatRange(1, 20),
    help="Bench time a second of wall time.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the result as one JSON object.")
def demo(speed: float, as_json: bool) -> None:
    """Serve the shipped demo scenario on a pseudo-terminal and weigh with a client of its own process.

    All weights are SIMULATED. Exit code 1 when a stable reading departs by more than the rules allow.
    """
    from benchsim.cli.demo_run import run_demo
    from benchsim.cli.text import print_json

    result = run_demo(speed, lambda line: click.echo(line, err=as_json))
    if as_json:
        print_json(result.document())
    else:
        _show(result)
    raise SystemExit(0 if result.passed else 1)


def _show(result: Result) -> None:
    """The table: what the client did and read, what was true, how far apart."""
    from rich.text import Text

    from benchsim.cli.text import SIMULATED, console, table

    out = console()
    out.width = WIDTH
    unit = result.unit
    figures = ("", "at, s", "sent", f"read, {unit}", f"true, {unit}", "off by, d")
    made = table(*figures[:2], "the client", *figures[2:], narrow=figures)
    made.padding = (0, 1, 0, 0)
    made.width = WIDTH
    for row in result.rows:
        mark = {True: Text("ok", "green"), False: Text("FAIL", "bold red"), None: Text("")}[row.passed]
        made.add_row(mark, *map(Text, row.cells()))
    out.print()
    out.print(f"SIMULATED: {result.title}; d = {result.interval} {result.unit}", style="bold")
    out.print(made)
    style = "bold green" if result.passed else "bold red"
    out.print(result.summary(), style=style)
    out.print(SIMULATED, style="dim")
