"""The verb `probe`: is a host or a node what the specification of the node link says, case by case?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.probe.case import Case
    from benchsim.probe.play import Result
    from benchsim.probe.setting import Setting

OWN_KEY = bytes(range(0x50, 0x60))


@click.group(invoke_without_command=False)
def probe() -> None:
    """Is a host or a node what the specification of the node link says, case by case?

    `probe host` plays the nodes against a host under test, `probe node` the host against nodes under test,
    over tcp, udp, a serial port or mqtt. With --self the built-in end is under test, without any port.
    """


def _of_device(command: Callable[..., None]) -> Callable[..., None]:
    """Options that tell of the device under test."""
    for option in reversed(
        (
            click.option(
                "--key",
                metavar="HEX",
                help="The pairing key that is set in the device, 32 digits; else that of the stand-ins, "
                f"{OWN_KEY.hex()}.",
            ),
            click.option(
                "--key-file", type=click.Path(path_type=Path), help="A file that holds these digits."
            ),
            click.option("--network", default=7, show_default=True, type=click.IntRange(0, 0xFFFF)),
            click.option(
                "--address",
                "addresses",
                multiple=True,
                type=click.IntRange(1, 16),
                help="An address with a device under test; may be repeated. 1 and 2 when none is given.",
            ),
            click.option(
                "--liveness",
                default=1000,
                show_default=True,
                type=click.IntRange(10, 60_000),
                metavar="MS",
                help="The liveness limit of the host, under test or played.",
            ),
            click.option(
                "--answer-timeout",
                default=500,
                show_default=True,
                type=click.IntRange(1, 60_000),
                metavar="MS",
                help="How long it waits for an answer.",
            ),
            click.option(
                "--tries",
                default=5,
                show_default=True,
                type=click.IntRange(1, 100),
                help="How often it asks.",
            ),
            click.option("--host-id", metavar="HEX", help="Of the host that the probe plays."),
        )
    ):
        command = option(command)
    return command


def _of_expected(command: Callable[..., None]) -> Callable[..., None]:
    """Options that tell what a host under test was told of its nodes."""
    for option in reversed(
        (
            click.option(
                "--cells",
                default=4,
                show_default=True,
                type=click.IntRange(1, 4),
                help="How many cells a host under test expects at an address.",
            ),
            click.option(
                "--sealed",
                metavar="HEX",
                help="The fingerprint, 16 digits, that a host under test was told to expect at each address.",
            ),
            click.option(
                "--told-rate",
                type=click.IntRange(1, 0xFFFF),
                metavar="HZ",
                help="The rate that a host under test was told to expect at each address.",
            ),
        )
    ):
        command = option(command)
    return command


def _of_play(command: Callable[..., None]) -> Callable[..., None]:
    """Options of a run of cases."""
    for option in reversed(
        (
            click.option(
                "--self",
                "itself",
                is_flag=True,
                help="Put the built-in end under test, on the virtual clock.",
            ),
            click.option(
                "--at",
                "place",
                metavar="PLACE",
                help="Where the device is: tcp:HOST:PORT, listen-tcp:[HOST:]PORT, udp:…, listen-udp:…, pty, "
                "serial:PORT@BAUD, mqtt:HOST:PORT/PREFIX, listen-mqtt:….",
            ),
            click.option(
                "--attendant",
                metavar="COMMAND",
                help="A program that does deliberate acts at the device. It says `at PLACE` or `ready`, then "
                "gets a line like `pair 1`, `restart 1`, `state 1` and answers with one: `done`, `cannot`, "
                "of a state the step (`flow`) or `failed: REASON`. {at}: where the probe listens.",
            ),
            click.option("--ask-me", is_flag=True, help="You do these acts, when you are asked to."),
            click.option(
                "--case", "ids", multiple=True, metavar="ID", help="Play this case only. May be repeated."
            ),
            click.option("--list", "listing", is_flag=True, help="List the cases and play none."),
            click.option(
                "--patience",
                default=50,
                show_default=True,
                type=click.IntRange(1, 10_000),
                metavar="MS",
                help="What medium and device may cost each way, beyond the times of the specification.",
            ),
            click.option("--seed", default="1", help="Of all that the probe draws."),
            click.option("--reached-only", is_flag=True, help="Do not count what could not be reached."),
            click.option("--json", "as_json", is_flag=True, help="Print the verdicts as JSON."),
            click.option(
                "--frames", "with_frames", is_flag=True, help="Tell every frame that was exchanged."
            ),
            click.option("--junit", type=click.Path(path_type=Path), help="Write JUnit XML there."),
        )
    ):
        command = option(command)
    return command


@probe.command()
@_of_play
@_of_device
@_of_expected
def host(**options: Any) -> None:
    """Play the nodes against a HOST under test, over --at PLACE; or --self.

    Exit code 0 when every case found it conforming, 1 when not, 2 for bad input.
    """
    _probe("host", options)


@probe.command()
@_of_play
@_of_device
@_of_expected
def node(**options: Any) -> None:
    """Play the host against NODEs under test, over --at PLACE; or --self.

    Exit code 0 when every case found them conforming, 1 when not, 2 for bad input.
    """
    _probe("node", options)


@probe.command("stand-in")
@click.argument("side", type=click.Choice(["host", "node"]))
@click.option("--at", "place", default="listen-tcp:0", show_default=True, metavar="PLACE")
@_of_device
@_of_expected
def stand_in(side: str, place: str, **options: Any) -> None:
    """Be a device under test: the built-in end behind a real medium, in a process of its own.

    It says on its first line at which PLACE it is, then does what it is asked for on stdin, an act a line
    (pair 1, release 1, restart 1, recommission 1, state 1), until its input ends. So it is an attendant:
    benchsim probe node --attendant "benchsim probe stand-in node". A host calls its nodes over udp:
    benchsim probe host --at listen-udp:0 --attendant "benchsim probe stand-in host --at {at}".
    """
    from benchsim.cli.probing import be_stand_in

    be_stand_in(side, place, setting_of(options))


def setting_of(options: dict[str, Any]) -> Setting:
    """What was said of the device.  Raises BadInput."""
    from benchsim.ground.errors import BadInput
    from benchsim.ground.library import read_text
    from benchsim.link.parts import FINGERPRINT_OCTETS, KEY_OCTETS
    from benchsim.probe.setting import HOST_ID, Setting

    key, file = options["key"], options["key_file"]
    if key is not None and file is not None:
        raise BadInput("--key and --key-file", "name one of both")
    digits = read_text(file) if file is not None else key
    octets = OWN_KEY if digits is None else _octets(digits, "the pairing key", KEY_OCTETS)
    sealed, rate_hz = options["sealed"], options["told_rate"]
    addresses = tuple(dict.fromkeys(options["addresses"])) or (1, 2)
    host_id = HOST_ID if options["host_id"] is None else _number(options["host_id"])
    return Setting(
        key=octets,
        network=options["network"],
        addresses=addresses,
        host_id=host_id,
        cells=options["cells"],
        sealed=None if sealed is None else _octets(sealed, "the sealed fingerprint", FINGERPRINT_OCTETS),
        rate_hz=rate_hz,
        patience_us=1000 * options.get("patience", 50),
        settings=replace(
            Setting(octets).settings,
            liveness_us=1000 * options["liveness"],
            answer_timeout_us=1000 * options["answer_timeout"],
            tries=options["tries"],
        ),
    )


def _octets(digits: str, what: str, count: int) -> bytes:
    from benchsim.ground.errors import BadInput

    try:
        octets = bytes.fromhex(digits)
    except ValueError:
        octets = b""
    if len(octets) != count:
        raise BadInput(f"{what} is not {2 * count} hexadecimal digits", f"write {2 * count} of 0-9, a-f")
    return octets


def _number(digits: str) -> int:
    from benchsim.ground.errors import BadInput

    try:
        number = int(digits, 16)
    except ValueError:
        number = -1
    if not 0 <= number < 1 << 64:
        raise BadInput(f"host number {digits!r}", "up to 16 hexadecimal digits")
    return number


def _probe(side: str, options: dict[str, Any]) -> None:
    from benchsim.cli.probing import list_cases, play_live, play_self
    from benchsim.ground.errors import BadInput
    from benchsim.probe.case import Side, chosen

    picked: tuple[Case, ...] = chosen(Side(side), options["ids"])
    if options["listing"]:
        list_cases(picked, options["as_json"])
        return
    ways = [w for w in ("itself", "place", "attendant") if options[w]]
    if not ways or (options["itself"] and len(ways) > 1):
        raise BadInput(
            "no device under test" if not ways else "--self with a device elsewhere",
            "name it with --at PLACE or --attendant COMMAND, or take --self for the built-in one",
        )
    if options["ask_me"] and (options["attendant"] or options["itself"]):
        raise BadInput("--ask-me with --attendant or --self", "name one of them")
    setting = setting_of(options)
    if not options["ids"]:  # what the device was not told needs no word; named, such a case is not reached
        picked = tuple(case for case in picked if case.fits(setting))
    results: list[Result] = (
        play_self(picked, setting, options) if options["itself"] else play_live(picked, setting, options)
    )
    from benchsim.cli.probing import finish

    finish(Side(side), results, options)
