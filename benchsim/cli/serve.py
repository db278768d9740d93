"""The verb `serve`: the scale of a scenario file, live, where host software can reach it.

Heavy imports stand inside the function: a verb is loaded when it is typed.
"""

from __future__ import annotations

from pathlib import Path

import rich_click as click


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
@click.option("--ready-file", type=click.Path(path_type=Path), help="Write where all listens, once it does.")
@click.option("--duration", metavar="SECONDS", help="End after so much wall time: 30, 30 s, 5 min.")
@click.option("--speed", default=1.0, show_default=True, help="Bench time a second of wall time.")
@click.option("--seed", help="Of every random stream; the scenario's own when not given.")
def serve(
    file: Path,
    serial: tuple[str, ...],
    tcp: tuple[str, ...],
    baud: int,
    ready_file: Path | None,
    duration: str | None,
    speed: float,
    seed: str | None,
) -> None:
    """Run the scale of a scenario FILE live, until Ctrl-C: a SIMULATED scale that host software can use.

    Without --serial and --tcp it serves on one pseudo-terminal.
    """
    from benchsim.bench.bench import Bench
    from benchsim.scenario.build import build
    from benchsim.scenario.loader import load
    from benchsim.serve.session import Options, run_session

    scenario = load(file)
    plan, profile, _checks = build(scenario)
    bench = Bench(plan, profile, seed if seed is not None else scenario.file.seed)
    protocol = plan.outputs[0] if plan.outputs else "scp0499"
    options = Options(
        serial=serial or (() if tcp else ("pty",)),
        tcp=tcp,
        baud=baud,
        ready_file=ready_file,
        duration=duration,
        speed=speed,
    )
    click.echo(scenario.file.title)
    run_session(bench, plan.card, protocol, options, click.echo)
