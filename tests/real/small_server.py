"""Serves the small bench in a process of its own: python -m tests.real.small_server --serial pty."""

from __future__ import annotations

from pathlib import Path

import click

from benchsim.ground.errors import BenchsimError
from benchsim.serve.ready import ReadyFile
from benchsim.serve.session import Options, run_session
from benchsim.serve.sockets import Limits
from benchsim.serve.stopping import stopped_by_signals
from tests.serve.small_bench import SCENE, SmallBench


@click.command()
@click.option("--serial", multiple=True)
@click.option("--tcp", multiple=True)
@click.option("--ready-file", type=click.Path(path_type=Path))
@click.option("--duration")
def main(
    serial: tuple[str, ...], tcp: tuple[str, ...], ready_file: Path | None, duration: str | None
) -> None:
    try:
        limits = Limits(patience_s=1.0)  # as a test has less of it
        options = Options(serial=serial, tcp=tcp, duration=duration, limits=limits)
        with stopped_by_signals() as stopping:
            ready = ReadyFile(ready_file) if ready_file is not None else None
            run_session(SmallBench(), SCENE, options, click.echo, stopping, ready)
    except BenchsimError as error:
        click.echo(str(error), err=True)
        raise SystemExit(error.exit_code) from None


if __name__ == "__main__":
    main()
