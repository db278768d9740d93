"""One healthy part of each stage, for folds to work on; figures are away from 0 so that a change shows."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from benchsim.faults.fault import HostPart, LinkPart, NodePart
from benchsim.host.parts import CellSeat, HostParts
from benchsim.link.parts import Expected, HostCard, NodeCard
from benchsim.scale.parts import Cell, Digitiser, Receptor, Site, Support, Wiring

CELL = Cell(
    e_max_kg=30_000.0,
    rated_output_mv_per_v=2.0,
    zero_balance_mv_per_v=0.01,
    nonlinearity=0.0001,
    hysteresis=0.0001,
    creep=((0.0001, 300.0),),
    zero_effect_per_k=1e-6,
    span_effect_per_k=1e-6,
)
RECEPTOR = Receptor(
    length_m=12.0,
    width_m=3.0,
    dead_load_kg=8_000.0,
    supports=tuple(Support(x, y) for x in (0.5, 6.0, 11.5) for y in (0.3, 2.7)),
)
NODE = NodePart(
    NodeCard(serial=0x0102030405060708, strap=1, network=7, key=bytes(16)), Digitiser(noise_rms_counts=12.0)
)

SEATS = tuple(CellSeat(1 + n // 4, n % 4, 0.01 + n * 1e-4, 1000.0 * n) for n in range(16))
HOST = HostPart(
    HostParts("r76-iii", "kg", Decimal(60_000), Decimal(20), 80, SEATS),
    HostCard(0xB0B, 7, bytes(16), tuple(Expected(n, 4) for n in range(1, 5))),
)

HEALTHY: dict[str, Any] = {
    "site": Site(),
    "deck": RECEPTOR,
    "cell": CELL,
    "wiring": Wiring(lead_resistance_ohm=0.5),
    "node": NODE,
    "link": LinkPart(),
    "host": HOST,
}
