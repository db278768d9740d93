"""The command line: the verbs, each loaded when it is typed, and what becomes of errors.

`--help` loads no verb and draws with plain text when nobody looks at a terminal; what a person wrote wrongly
is told on stderr with exit code 2; how else a verb can end stands in endings.py, for all of them.
"""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Any

import click

from benchsim.cli.endings import have_outputs, told

# verb: (module, what it does in one line)
VERBS = {
    "run": ("run", "Run scenarios on the virtual clock; tell what passed."),
    "serve": ("serve", "Run the scale of a scenario live, for host software to talk to."),
    "demo": ("demo", "See the whole way once: a truck, a serial port, a client."),
    "decode": ("decode", "Explain captured octets of the node link, frame by frame."),
    "calibrate": ("calibrate", "Calibrate the scale of a scenario file, guided step by step."),
    "verify": ("verify", "Test a scale as a standard's own procedures say."),
    "probe": ("probe", "Judge a host or a node under test, case by case."),
    "diagnose": ("diagnose", "Name the likeliest causes of what a scale does."),
    "scenarios": ("formats", "List the scenarios that come with benchsim."),
    "faults": ("faults", "List the faults, or tell all about one."),
    "rules": ("rules", "List the rule profiles, tell or compare them."),
    "protocols": ("catalogues", "List the host protocols, or tell all about one."),
    "checks": ("formats", "Show the sentences that a scenario can check."),
    "schema": ("formats", "Print the JSON Schema of a scenario file."),
}
EPILOG = "Everything here is simulated: it proves software, never an instrument."


class Verbs(click.Group):
    """A group whose verbs are loaded when they are called, not when they are listed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(VERBS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """What stands in the list: a name and a line.  The verb itself is loaded by resolve_command."""
        if cmd_name not in VERBS:
            return None
        return click.Command(cmd_name, help=VERBS[cmd_name][1], short_help=VERBS[cmd_name][1])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name in VERBS:
            return name, load(name), args[1:]
        if name.startswith("-"):
            return super().resolve_command(ctx, args)
        from benchsim.ground.errors import unknown

        error = unknown("verb", name, VERBS)
        raise click.UsageError(f"{error.found}; {error.right}", ctx)

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        with told():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        with told():
            return super().invoke(ctx)


def load(verb: str) -> click.Command:
    """The command of a verb."""
    module = importlib.import_module(f"{__package__}.{VERBS[verb][0]}")
    command: click.Command = getattr(module, verb)
    return command


def _group() -> type[Verbs]:
    """Coloured help for people at a terminal, plain text for pipes."""
    if not sys.stdout.isatty():
        return Verbs
    import rich_click

    class RichVerbs(Verbs, rich_click.RichGroup):  # type: ignore[misc]  # rich_click's own mixture
        """The same verbs, with help drawn by rich."""

    return RichVerbs


def _version(ctx: click.Context, _option: click.Parameter, value: bool) -> None:
    if value and not ctx.resilient_parsing:
        from importlib.metadata import version

        click.echo(f"benchsim {version('benchsim')}")
        ctx.exit()


def main(args: Sequence[str] | None = None) -> Any:
    """The program.  args: instead of the command line's."""
    have_outputs()
    group = _group()(
        "benchsim",
        help="A multi-cell weighing system on your desk, to prove host software without hardware.",
        epilog=EPILOG,
        no_args_is_help=True,
        context_settings={"help_option_names": ["-h", "--help"]},
        params=[
            click.Option(
                ["--version"],
                is_flag=True,
                expose_value=False,
                is_eager=True,
                callback=_version,
                help="Show the version and exit.",
            )
        ],
    )
    return group.main(args=None if args is None else list(args), prog_name="benchsim")


if __name__ == "__main__":
    main()
