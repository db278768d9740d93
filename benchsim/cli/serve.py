"""The verb `serve`: the scale of a scenario file, live, where host software can reach it, or one end of it.

Heavy imports stand inside the functions: a verb is loaded when it is typed, and a signal must find its
handler before they begin.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from benchsim.bench.bench import Bench
    from benchsim.scenario.build import Built
    from benchsim.serve.carrier import Carrier, Side
    from benchsim.serve.node_link import NodeLink
    from benchsim.serve.ready import ReadyFile
    from benchsim.serve.session import Options
    from benchsim.serve.stopping import Stopping

NODE_LINK_BAUD = 115_200
PROTOCOL_BAUD = 9_600


@dataclass(frozen=True, slots=True)
class Asked:
    """The options that say which ends of the link are here, and where; each as typed."""

    serial: tuple[str, ...]
    tcp: tuple[str, ...]
    udp: tuple[str, ...]
    mqtt: tuple[str, ...]
    baud: int | None
    nodes_only: bool
    nodes_at: tuple[str, ...]
    tell_key: bool


@click.command()
@click.argument("file", metavar="FILE|NAME", type=click.Path(path_type=Path))
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
    "--baud",
    type=click.IntRange(50),
    help=f"Of real serial ports: {PROTOCOL_BAUD} when not given, {NODE_LINK_BAUD} with --nodes-only.",
)
@click.option(
    "--nodes-only",
    is_flag=True,
    help="The nodes without a host: --serial, --tcp, --udp and --mqtt bring the node link to your host.",
)
@click.option("--udp", multiple=True, metavar="[HOST:]PORT", help="With --nodes-only: listen on UDP.")
@click.option(
    "--mqtt",
    multiple=True,
    metavar="[HOST:]PORT/PREFIX",
    help="With --nodes-only: by way of a broker; listen-mqtt:[HOST:]PORT/PREFIX brings one along.",
)
@click.option(
    "--nodes-at",
    multiple=True,
    metavar="PLACE",
    help="The host without nodes: yours are at tcp:[HOST:]PORT, udp:[HOST:]PORT, serial:PORT[@BAUD] or "
    "mqtt:[HOST:]PORT/PREFIX, or come to listen-tcp:, listen-mqtt: or pty. May be given more than once.",
)
@click.option(
    "--tell-key", is_flag=True, help="Tell the pairing key that your end needs (--nodes-only, --nodes-at)."
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
    ready_file: Path | None,
    duration: str | None,
    speed: float,
    seed: str | None,
    commands: str | None,
    hide_faults: bool,
    as_json: bool,
    **ends: Any,
) -> None:
    """Run the scale of a scenario live, until Ctrl-C: a SIMULATED scale that host software can use.

    Without --serial and --tcp it serves on one pseudo-terminal. What happens is told as it happens; what
    clients ask for again and again is told once and counted. About the last hour is kept, so it may run for
    as long as you like.

    Either end of the node link can be yours. With --nodes-only the simulated nodes wait for your host, on one
    TCP port, one UDP port and one pseudo-terminal unless you say where. With --nodes-at the built-in host
    seeks your nodes.
    """
    from benchsim.serve.stopping import stopped_by_signals

    with stopped_by_signals() as stopping:
        from benchsim.serve.ready import ReadyFile

        asked = Asked(**ends)
        ready = ReadyFile(ready_file) if ready_file is not None else None
        carriers = _carriers(asked)

        from benchsim.serve.session import Options

        own = () if asked.nodes_only else asked.serial or (() if asked.tcp else ("pty",))
        options = Options(
            serial=own,
            tcp=() if asked.nodes_only else asked.tcp,
            baud=asked.baud or PROTOCOL_BAUD,
            duration=duration,
            speed=speed,
            commands=commands is not None,
            hide_faults=hide_faults,
            as_json=as_json,
        )
        options.check()
        _serve(file, seed, options, stopping, ready, carriers, asked.tell_key)


@dataclass(frozen=True, slots=True)
class Carriers:
    """The media of the node link, and which end of it is here."""

    side: Side
    media: tuple[Carrier, ...]


def _carriers(asked: Asked) -> Carriers | None:
    """Of the link whose other end is somebody else's; None where there is none.  Raises BadInput."""
    _check(asked)
    if not (asked.nodes_only or asked.nodes_at):
        return None

    from benchsim.serve.carrier import Side, check_reach, make_carrier

    side = Side.NODES if asked.nodes_only else Side.HOST
    places = _places(asked) if asked.nodes_only else asked.nodes_at
    for place in places:
        check_reach(place, side)
    return Carriers(side, tuple(make_carrier(place, side) for place in places))


def _check(asked: Asked) -> None:
    """Raises BadInput for options that mean nothing together."""
    from benchsim.ground.errors import BadInput

    if asked.nodes_only and asked.nodes_at:
        raise BadInput(
            "--nodes-only and --nodes-at", "only one end of the link can be yours: give one of them"
        )
    for option, given in (("--udp", asked.udp), ("--mqtt", asked.mqtt)):
        if given and not asked.nodes_only:
            right = f"--nodes-at {option[2:]}:..." if asked.nodes_at else "give --nodes-only with it"
            raise BadInput(f"{option} carries the node link of nodes without a host", right)
    if asked.tell_key and not (asked.nodes_only or asked.nodes_at):
        raise BadInput("--tell-key is about the node link", "give --nodes-only or --nodes-at with it")


def _places(asked: Asked) -> tuple[str, ...]:
    """Where nodes without a host are to be had."""
    baud = asked.baud or NODE_LINK_BAUD
    found = (
        *(f"listen-tcp:{address}" for address in asked.tcp),
        *(f"listen-udp:{address}" for address in asked.udp),
        *(name if name == "pty" else f"serial:{name}@{baud}" for name in asked.serial),
        *(m if m.startswith(("mqtt:", "listen-mqtt:")) else f"mqtt:{m}" for m in asked.mqtt),
    )
    return found or ("listen-tcp:0", "listen-udp:0", "pty")


def _serve(
    file: Path,
    seed: str | None,
    options: Options,
    stopping: Stopping,
    ready: ReadyFile | None,
    carriers: Carriers | None,
    tell_key: bool,
) -> None:
    from benchsim.scenario.build import assemble
    from benchsim.scenario.loader import load, seed_of
    from benchsim.serve.session import Scene, run_session

    scenario = load(file)
    own_seed = scenario.file.seed if seed is None else seed_of(seed, "--seed")
    built = assemble(scenario, own_seed)
    plan = built.plan
    protocol = plan.outputs[0] if plan.outputs else "scp0499"
    ways = built.ways if carriers is None or carriers.side == "nodes" else ()  # yours go their own ways
    scene = Scene(
        scenario.file.title, plan.card, protocol, plan.scale.receptor, plan.timeline, ways, own_seed
    )
    bench, link = _bench(built, own_seed, carriers, tell_key)
    if not stopping.asked:
        run_session(bench, scene, options, click.echo, stopping, ready, link)


def _bench(
    built: Built, seed: int | str, carriers: Carriers | None, tell_key: bool
) -> tuple[Bench, NodeLink | None]:
    """The bench, and its node link where the other end is somebody else's."""
    from benchsim.bench.bench import Bench

    if carriers is None:
        return Bench(built.plan, built.profile, seed), None

    import secrets

    from benchsim.serve.node_link import SIDES, Facts, NodeLink, ours

    plan = replace(built.plan, foreign=SIDES[carriers.side], start=secrets.randbits(63) + 1)
    bench = Bench(ours(plan, carriers.side), built.profile, seed)
    return bench, NodeLink(bench, Facts.of(plan, carriers.side, tell_key), carriers.media)
