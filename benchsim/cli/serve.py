"""The verb `serve`: the scale of a scenario file, live, where host software can reach it.

Heavy imports stand inside the function: a verb is loaded when it is typed, and a signal must find its handler
before they begin.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

if TYPE_CHECKING:
    from benchsim.serve.ready import ReadyFile
    from benchsim.serve.session import Options
    from benchsim.serve.stopping import Stopping


@click.command()
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "--serial",
    multiple=True,
    metavar="pty|PORT",
    help="Serve on a new pseudo-terminal or on a real serial port. May be given more than once.",
)
@click.option(
    "--tcp",
    multiple=True,
    metavar="[HOST:]PORT",
    help="Serve on TCP; port 0 takes any free one. This machine only, unless a host is named.",
)
@click.option(
    "--baud", default=9600, show_default=True, type=click.IntRange(50), help="Of real serial ports."
)
@click.option("--ready-file", type=click.Path(path_type=Path), help="Is there while all listens; says where.")
@click.option("--duration", metavar="SECONDS", help="End after so much wall time: 30, 30 s, 5 min.")
@click.option("--speed", default=1.0, show_default=True, help="Bench time a second of wall time.")
@click.option("--seed", help="Of every random stream; the scenario's own when not given.")
@click.option(
    "--commands",
    type=click.Choice(["-"]),
    metavar="-",
    help="Take commands from standard input: loads, faults, zero, tare, ...; type help for all.",
)
@click.option("--hide-faults", is_flag=True, help="Do not tell of faults: somebody is to find them.")
@click.option(
    "--json",
    "as_json",
    is_flag=True,
    help="Tell all as JSON, one object a line: kind ready with the connections, what happens, kind end.",
)
def serve(
    file: Path,
    serial: tuple[str, ...],
    tcp: tuple[str, ...],
    baud: int,
    ready_file: Path | None,
    duration: str | None,
    speed: float,
    seed: str | None,
    commands: str | None,
    hide_faults: bool,
    as_json: bool,
) -> None:
    """Run the scale of a scenario FILE live, until Ctrl-C: a SIMULATED scale that host software can use.

    Without --serial and --tcp it serves on one pseudo-terminal. What happens is told as it happens; what
    clients ask for again and again is told once and counted. About the last hour is kept, so it may run for
    as long as you like.
    """
    from benchsim.serve.stopping import stopped_by_signals

    with stopped_by_signals() as stopping:
        from benchsim.serve.ready import ReadyFile

        ready = ReadyFile(ready_file) if ready_file is not None else None

        from benchsim.serve.session import Options

        options = Options(
            serial=serial or (() if tcp else ("pty",)),
            tcp=tcp,
            baud=baud,
            duration=duration,
            speed=speed,
            commands=commands is not None,
            hide_faults=hide_faults,
            as_json=as_json,
        )
        options.check()
        _serve(file, seed, options, stopping, ready)


def _serve(
    file: Path, seed: str | None, options: Options, stopping: Stopping, ready: ReadyFile | None
) -> None:
    from benchsim.bench.bench import Bench
    from benchsim.scenario.build import assemble
    from benchsim.scenario.loader import load, seed_of
    from benchsim.serve.session import Scene, run_session

    scenario = load(file)
    own_seed = scenario.file.seed if seed is None else seed_of(seed, "--seed")
    built = assemble(scenario, own_seed)
    plan = built.plan
    bench = Bench(plan, built.profile, own_seed)
    protocol = plan.outputs[0] if plan.outputs else "scp0499"
    scene = Scene(
        scenario.file.title, plan.card, protocol, plan.scale.receptor, plan.timeline, built.ways, own_seed
    )
    if not stopping.asked:
        run_session(bench, scene, options, click.echo, stopping, ready)
