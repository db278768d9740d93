"""Plans for tests of the bench: scales of our own invention, built without a scenario file."""

from __future__ import annotations

from decimal import Decimal

from benchsim.bench.plan import NodePlan, Plan, Scheduled
from benchsim.ground.commands import Command
from benchsim.ground.readings import CHANNELS_PER_NODE, InstrumentCard, addresses_needed
from benchsim.host.parts import CellSeat, HostParts
from benchsim.link.impairment import Impairment
from benchsim.link.parts import Expected, HostCard, LinkSettings, NodeCard
from benchsim.scale.nominal import nominal
from benchsim.scale.parts import Cell, Digitiser, Receptor, ScaleParts, Station, Support, Wiring

KEY = bytes(range(16))
NETWORK = 7
CREEP = ((0.00012, 60.0), (0.00008, 400.0), (0.00004, 2400.0))


def scale_parts(
    cells: int, noise_rms_counts: float = 20.0, ppm: tuple[float, ...] = (0.0,), creep: bool = True
) -> ScaleParts:
    """A deck with two rows of cells (one cell: in the middle), four on a node."""
    rows = max(1, -(-cells // 2))
    length_m, width_m = 2.0 + 3.0 * rows, 3.0
    places = [
        (1.0 + (i // 2) * (length_m - 2.0) / max(1, rows - 1), 0.3 if i % 2 == 0 else width_m - 0.3)
        for i in range(cells)
    ]
    if cells <= 2:  # under the middle, so that the dead load lies on what carries it
        places = [(length_m / 2, y_m) for _, y_m in places] if cells == 2 else [(length_m / 2, width_m / 2)]
    stations = tuple(
        Station(
            tuple(range(first, min(first + CHANNELS_PER_NODE, cells))),
            Digitiser(noise_rms_counts=noise_rms_counts, clock_error_ppm=ppm[i % len(ppm)]),
        )
        for i, first in enumerate(range(0, cells, CHANNELS_PER_NODE))
    )
    return ScaleParts(
        receptor=Receptor(length_m, width_m, 400.0 * cells, tuple(Support(x, y) for x, y in places)),
        cells=tuple(
            Cell(20_000.0, nonlinearity=1e-4, hysteresis=1e-4, creep=CREEP if creep else ()) for _ in places
        ),
        wiring=tuple(Wiring() for _ in places),
        stations=stations,
    )


def plan(
    *timeline: tuple[float, Command],
    cells: int = 4,
    seconds: float = 30.0,
    up: tuple[Impairment, ...] = (),
    down: tuple[Impairment, ...] = (),
    samples_per_frame: int = 8,
    parts: ScaleParts | None = None,
    interval: str = "20",
    capacity: str = "60000",
    profile: str = "r76-iii",
    host_key: bytes = KEY,
    settings: LinkSettings | None = None,
) -> Plan:
    """A whole bench; timeline times are in seconds."""
    scale = parts or scale_parts(cells)
    worth = nominal(scale)
    seats = tuple(
        CellSeat(address, channel, *worth[cell])
        for address, station in enumerate(scale.stations, 1)
        for channel, cell in enumerate(station.cells)
    )
    nodes = tuple(
        NodePlan(NodeCard(0x5100 + i, i, NETWORK, KEY), up, down)
        for i in range(1, addresses_needed(cells) + 1)
    )
    expected = tuple(Expected(i, len(s.cells)) for i, s in enumerate(scale.stations, 1))
    return Plan(
        scale=scale,
        nodes=nodes,
        link=HostCard(
            0xB0B, NETWORK, host_key, expected, settings or LinkSettings(samples_per_frame=samples_per_frame)
        ),
        host=HostParts(profile, "kg", Decimal(capacity), Decimal(interval), 80, seats),
        card=InstrumentCard(
            "SIMULATED", "1", "1", "deck", "kg", int(Decimal(capacity) / Decimal(interval)), Decimal(interval)
        ),
        lasts_us=round(seconds * 1e6),
        timeline=tuple(Scheduled(round(t * 1e6), command) for t, command in timeline),
    )
