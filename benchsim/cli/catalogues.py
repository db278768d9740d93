"""The verb that looks things up in the catalogue of host protocols.

Each prints a table, or with --json one document; with a name it tells all about that one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.outputs.output import Description

_as_json = click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
_name = click.argument("name", required=False)


@click.command()
@_name
@_as_json
def protocols(name: str | None, as_json: bool) -> None:
    """List the host protocols; with NAME, its line, its answers and its commands.

    NAME may also be nodelink: what each number of samples a frame costs in air time and latency.
    """
    from benchsim.cli.text import print_json, print_table
    from benchsim.outputs.output import describe, protocol_names

    if name == "nodelink":
        from benchsim.cli import node_link

        if as_json:
            print_json(node_link.document())
        else:
            node_link.show()
        return
    if name is not None:
        described = describe(name)
        if as_json:
            print_json(_protocol(described))
        else:
            _show_protocol(described)
        return
    all_of_them = [describe(n) for n in protocol_names()]
    if as_json:
        print_json({"protocols": [_protocol(p) for p in all_of_them]})
    else:
        print_table(
            ("protocol", "title", "line"),
            ((p.name, p.title, p.line) for p in all_of_them),
            narrow=("protocol",),
        )


def _protocol(described: Description) -> dict[str, Any]:
    return {
        "name": described.name,
        "title": described.title,
        "source": described.source,
        "line": described.line,
        "answer": described.answer,
        "folder": str(described.folder),
        "commands": [
            {"send": c.send, "level": c.level, "meaning": c.meaning, "mark": c.mark}
            for c in described.commands
        ],
    }


def _show_protocol(described: Description) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, facts, print_table

    out = console()
    out.print(Text.assemble((described.name, "bold"), f"  {described.title}"))
    out.print(
        facts(
            [
                ("source", described.source),
                ("line", described.line),
                ("answer", described.answer),
                ("definition", str(described.folder)),
            ]
        )
    )
    out.print()
    print_table(
        ("send", "level", "meaning", "mark"),
        ((c.send, str(c.level), c.meaning, c.mark) for c in described.commands),
        narrow=("send", "level"),
    )
