"""The verbs that look things up in the catalogues: rule profiles, host protocols.

Each prints a table, or with --json one document; with a name it tells all about that one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.outputs.output import Description
    from benchsim.rules.profile import Profile

_as_json = click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
_name = click.argument("name", required=False)


# -- rules ---------------------------------------------------------------------------------------------


@click.command()
@_name
@_as_json
def rules(name: str | None, as_json: bool) -> None:
    """List the rule profiles; with NAME (or the path of one), every value with its clause and mark."""
    from benchsim.cli.text import print_json, print_table
    from benchsim.rules.profile import load_profile, profile_names

    if name is not None:
        profile = load_profile(name)
        if as_json:
            print_json(_profile(profile))
        else:
            _show_profile(profile)
        return
    profiles = [load_profile(n) for n in profile_names()]
    if as_json:
        print_json({"rules": [_profile(p) for p in profiles]})
    else:
        print_table(
            ("profile", "class", "kind", "title"),
            ((p.name, p.accuracy_class, p.kind, p.title) for p in profiles),
            narrow=("profile", "class", "kind"),
        )


def _profile(profile: Profile) -> dict[str, Any]:
    return {
        "name": profile.name,
        "title": profile.title,
        "standard": profile.standard,
        "class": profile.accuracy_class,
        "kind": profile.kind,
        "values": [
            {"key": e.key, "value": _bare(e.value), "unit": e.unit, "clause": e.clause, "mark": e.mark,
             "meaning": e.what}
            for e in profile.entries
        ],
    }  # fmt: skip


def _bare(value: Any) -> Any:
    """A profile's value as JSON has it: Decimals as numbers."""
    from decimal import Decimal

    if isinstance(value, Decimal):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, list | tuple):
        return [_bare(v) for v in value]
    return {k: _bare(v) for k, v in value.items()} if isinstance(value, dict) else value


def _words(value: Any) -> str:
    """A profile's value in a table."""
    bare = _bare(value)
    if isinstance(bare, bool):
        return "yes" if bare else "no"
    if isinstance(bare, list):
        return "; ".join(" ".join(map(str, v)) if isinstance(v, list) else str(v) for v in bare)
    if isinstance(bare, dict):
        return "; ".join(f"{k} {v}" for k, v in bare.items())
    return str(bare)


def _show_profile(profile: Profile) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, print_table

    out = console()
    out.print(Text.assemble((profile.name, "bold"), f"  {profile.title}"))
    print_table(
        ("rule", "value", "clause", "mark"),
        ((e.what, f"{_words(e.value)} {e.unit}".strip(), e.clause, e.mark) for e in profile.entries),
    )
    out.print(Text("Marks: seen in a source; memory: recalled, confirm before you rely on it.", "dim"))


# -- protocols -----------------------------------------------------------------------------------------


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
