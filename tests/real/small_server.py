"""Serves the small bench in a process of its own: python -m tests.real.small_server --serial pty."""

from __future__ import annotations

from pathlib import Path

import click

from benchsim.ground.errors import BenchsimError
from benchsim.serve.session import Options, run_session
from benchsim.serve.sockets import Limits
from tests.serve.small_bench import CARD, SmallBench


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
        options = Options(serial=serial, tcp=tcp, ready_file=ready_file, duration=duration, limits=limits)
        run_session(SmallBench(), CARD, "scp0499", options, click.echo)
    except BenchsimError as error:
        click.echo(str(error), err=True)
        raise SystemExit(error.exit_code) from None


if __name__ == "__main__":
    main()
