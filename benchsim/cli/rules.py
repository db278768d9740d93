"""The verb `rules`: rule profiles listed, told, set side by side, and asked for the tolerance of one load.

What it prints is the profile's: every value with its clause and with how well it is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from benchsim.ground.errors import BadInput

if TYPE_CHECKING:
    from benchsim.rules.layers import Entry
    from benchsim.rules.profile import Profile
    from benchsim.rules.schema import Key

PRACTICE = "practice"
MARKS_TOLD = (
    "Marks: seen in a source; memory: recalled, confirm before you rely on it; computed; "
    f"{PRACTICE}: common practice, no source."
)


@click.command()
@click.argument("name", required=False)
@click.option(
    "--diff", nargs=2, metavar="A B", help="Set two profiles side by side: what differs, with clauses."
)
@click.option("--tolerance", "load", metavar="LOAD", help='Tell the tolerance for a load: 1250, or "18.4 t".')
@click.option("--interval", metavar="D", help="The scale's interval, as 10kg; needed for a load with a unit.")
@click.option("--json", "as_json", is_flag=True, help="Print it as JSON.")
def rules(
    name: str | None, diff: tuple[str, str] | None, load: str | None, interval: str | None, as_json: bool
) -> None:
    """List the rule profiles; with NAME (or the path of one), every value with its clause and mark.

    A profile of your own is a TOML file; with base = "NAME" it says only what differs from another.
    """
    from benchsim.rules.profile import load_profile

    _judge(name, diff, load, interval)
    if diff:
        _compare(load_profile(diff[0]), load_profile(diff[1]), as_json)
    elif name is None:
        _list(as_json)
    elif load is None:
        _tell(load_profile(name), as_json)
    else:
        from benchsim.cli import rules_tolerance

        rules_tolerance.answer(load_profile(name), load, interval, as_json)


def _judge(name: str | None, diff: tuple[str, str] | None, load: str | None, interval: str | None) -> None:
    """What can be asked together.  Raises BadInput."""
    if diff and (name or load or interval):
        extra = name or ("--tolerance" if load else "--interval")
        raise BadInput(f"--diff A B and {extra}", "name just two profiles: benchsim rules --diff A B")
    if load is not None and name is None:
        raise BadInput("--tolerance without a profile", "benchsim rules NAME --tolerance LOAD")
    if interval is not None and load is None:
        raise BadInput("--interval without --tolerance", "benchsim rules NAME --tolerance LOAD --interval D")


# -- the list ------------------------------------------------------------------------------------------


def _list(as_json: bool) -> None:
    from benchsim.cli.text import console, print_json, print_table
    from benchsim.rules.profile import load_profile, profile_names

    profiles = [load_profile(name) for name in profile_names()]
    if as_json:
        print_json({"rules": [document(p) for p in profiles]})
        return
    out = console()
    for standard in sorted({p.standard for p in profiles}):
        out.print(f"[bold]{standard}[/]", markup=True)
        print_table(
            ("profile", "class", "kind", "d from", "n up to Max"),
            (
                (p.name, p.accuracy_class, p.kind, p.entry("smallest_interval_kg").shown, _counts(p))
                for p in sorted(profiles, key=_by_class)
                if p.standard == standard
            ),
            narrow=("profile", "class", "d from"),
        )
        out.print()
    out.print("benchsim rules NAME tells one, --diff A B sets two side by side.")


def _by_class(profile: Profile) -> tuple[Sequence[str], bool, str]:
    """Class by class, each first in the form that has no limits of a kind."""
    return profile.accuracy_class.split(), profile.kind != "other", profile.name


def _counts(profile: Profile) -> str:
    from benchsim.rules.kinds import digits

    least = digits(profile.n_min)
    return f"{least} or more" if profile.n_max is None else f"{least} to {digits(profile.n_max)}"


# -- one -----------------------------------------------------------------------------------------------


def document(profile: Profile) -> dict[str, Any]:
    """A profile for programs: its head, and every value with clause, mark and the file it stands in."""
    return {
        "name": profile.name,
        "title": profile.title,
        "standard": profile.standard,
        "class": profile.accuracy_class,
        "kind": profile.kind,
        "builds on": [Path(file).stem for file in profile.files[1:]],
        "values": [_value(e) for e in profile.entries],
    }


def _value(entry: Entry) -> dict[str, Any]:
    return {
        "key": entry.key,
        "value": _bare(entry.value) if entry.there else None,
        "unit": entry.unit,
        "shown": entry.shown,
        "clause": entry.clause,
        "mark": entry.mark,
        "meaning": entry.what,
        "from": Path(entry.file).stem,
    }


def _bare(value: Any) -> Any:
    """A profile's value as JSON has it: Decimals as numbers."""
    from decimal import Decimal

    if isinstance(value, Decimal):
        return int(value) if value == int(value) else float(value)
    if isinstance(value, list | tuple):
        return [_bare(v) for v in value]
    return {k: _bare(v) for k, v in value.items()} if isinstance(value, dict) else value


def short(mark: str) -> str:
    """A mark in a column."""
    return PRACTICE if mark.startswith("common practice") else mark


def _tell(profile: Profile, as_json: bool) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, print_json
    from benchsim.rules.schema import SECTIONS

    if as_json:
        print_json(document(profile))
        return
    out = console()
    out.print(Text.assemble((profile.name, "bold"), f"  {profile.title}"))
    if profile.files[1:]:
        out.print(Text(f"builds on {', '.join(Path(file).stem for file in profile.files[1:])}", "dim"))
    for section in SECTIONS:
        rows = [
            (e.what, e.shown, e.clause, short(e.mark)) for e in profile.entries if e.section == section
        ]  # fmt: skip
        if rows:
            out.print()
            out.print(_columns((section, "", "clause", "mark"), rows, (5, 3, 4, 0)))
        if section == "tolerance":
            from benchsim.cli import rules_tolerance

            out.print()
            out.print(rules_tolerance.steps_of(profile))
    out.print()
    out.print(Text(MARKS_TOLD, "dim"))


def _columns(head: Sequence[str], rows: Sequence[Sequence[str]], ratios: Sequence[int]) -> Any:
    """A table as wide as the page whatever its rows, so that the tables of a page stand in line.

    ratios: how the columns share the width; 0: as wide as the widest mark, and never broken.
    """
    from rich.text import Text

    from benchsim.cli.text import table

    made = table(*head)
    made.expand = True
    for column, ratio in zip(made.columns, ratios, strict=True):
        column.ratio = ratio or None
        column.overflow = "fold"
        if not ratio:
            column.no_wrap, column.min_width = True, len(PRACTICE)
    for row in rows:
        made.add_row(*map(Text, row))
    return made


# -- two -----------------------------------------------------------------------------------------------


def _compare(one: Profile, two: Profile, as_json: bool) -> None:
    from rich.text import Text

    from benchsim.cli.text import console, counted, print_json
    from benchsim.rules.schema import SECTIONS

    pairs = _pairs(one, two)
    other = [(key, a, b) for key, a, b in pairs if _said(a) != _said(b)]
    same = len(pairs) - len(other)
    if as_json:
        differs = [{"key": _name(key), "a": _side(a), "b": _side(b)} for key, a, b in other]
        print_json({"a": one.name, "b": two.name, "differs": differs, "same": same})
        return
    out = console()
    for profile in (one, two):
        out.print(Text.assemble((profile.name, "bold"), f"  {profile.title}"))
    for section in SECTIONS:
        rows = [(key.what, _cell(a), _cell(b)) for key, a, b in other if key.section == section]
        if rows:
            out.print()
            out.print(_columns((section, one.name, two.name), rows, (3, 4, 4)))
    out.print()
    out.print(Text(f"{counted(same, 'value')} the same, whatever the clause.  {MARKS_TOLD}", "dim"))


def _name(key: Key) -> str:
    return f"{key.section}.{key.name}"


def _pairs(one: Profile, two: Profile) -> list[tuple[Key, Entry | None, Entry | None]]:
    """Every value that either has, in the order of the files."""
    from benchsim.rules.schema import KEYS

    left, right = ({e.key: e for e in profile.entries} for profile in (one, two))
    sides = [(key, left.get(_name(key)), right.get(_name(key))) for key in KEYS]
    return [(key, a, b) for key, a, b in sides if a or b]


def _said(entry: Entry | None) -> Any:
    """What a value comes to: one that is not there and one that says so are the same."""
    return entry.value if entry is not None and entry.there else None


def _side(entry: Entry | None) -> dict[str, Any] | None:
    return None if entry is None else _value(entry)


def _cell(entry: Entry | None) -> str:
    return "-" if entry is None else f"{entry.shown}\n{entry.clause}; {short(entry.mark)}"
