"""A scenario's cells and nodes to the scale's parts and the nodes' cards.

A figure of one cell or node wins over the figure of all; what neither gives is the part's own default.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from fractions import Fraction

from benchsim.ground.commands import Expect
from benchsim.ground.readings import CHANNELS_PER_NODE, addresses_needed
from benchsim.link.parts import KEY_OCTETS, Expected, NodeCard
from benchsim.scale.filters import box_for
from benchsim.scale.parts import Digitiser, ScaleParts, Station
from benchsim.scale.resolution import rms_for
from benchsim.scale.supply import HOUR_US, Supply
from benchsim.scenario import schema
from benchsim.scenario.cells import cells_of, pick, wiring_of
from benchsim.scenario.expectation import Expectation
from benchsim.scenario.findings import Findings
from benchsim.scenario.layout import receptor_of
from benchsim.scenario.place import site_of
from benchsim.scenario.quantities import Noise
from benchsim.scenario.text import Loc

DEFAULT_NOISE = Noise(density_v_per_rthz=20e-9)
FIRST_SERIAL = 1001
STRANGER_SERIAL = 9001
MAX_RATE_HZ = 1000


@dataclass(frozen=True, slots=True)
class NodeSpec:
    """A node as the scenario has it.  address: where the host expects it, None for a stranger.

    station: what it reads; a stranger reads nothing.  loc: its place in the file.
    """

    card: NodeCard
    station: Station
    address: int | None
    link: schema.Channel
    loc: Loc
    supply: Supply = field(default_factory=Supply)


def pairing_key(words: str) -> bytes:
    """A pairing key from words, for a bench only: SHA-256, cut."""
    return hashlib.sha256(words.encode()).digest()[:KEY_OCTETS]


# -- cells ---------------------------------------------------------------------------------------------


def scale_parts(file: schema.File, count: int, nodes: list[NodeSpec], findings: Findings) -> ScaleParts:
    """The whole scale."""
    listed: set[int] = set()
    for index, each in enumerate(file.cells.each):
        loc: Loc = ("cells", "each", index, "cell")
        if each.cell > count:
            findings.add(loc, f"there is no cell {each.cell}", f"cells 1 to {count}")
        if each.cell in listed:
            findings.add(loc, f"cell {each.cell} is listed twice", "put its figures into one item")
        listed.add(each.cell)
    return ScaleParts(
        receptor=receptor_of(file, count, findings),
        cells=cells_of(file, count, findings),
        wiring=tuple(wiring_of(file, n) for n in range(1, count + 1)),
        stations=tuple(n.station for n in nodes if n.address is not None),
        site=site_of(file.site, findings),
    )


# -- nodes ---------------------------------------------------------------------------------------------


def nodes_of(file: schema.File, count: int, findings: Findings) -> list[NodeSpec]:
    """Every node: those that the host expects, then the strangers."""
    rate_hz = _rate(file, findings)
    _judge_filters(file, rate_hz, findings)
    listed = file.nodes.each
    if listed is None:
        needed = addresses_needed(count)
        listed = [schema.OneNode.model_validate({}) for _ in range(needed)]
    specs: list[NodeSpec] = []
    first = 1
    for index, own in enumerate(listed):
        given = own.cells
        cells = given if given is not None else list(range(first, min(first + CHANNELS_PER_NODE, count + 1)))
        first = max([first, *(c + 1 for c in cells)])
        specs.append(_node(file, own, index, tuple(c - 1 for c in cells), rate_hz))
    if file.nodes.each is not None:
        _judge(specs, count, findings)
    return specs + [_stranger(file, s, i, rate_hz) for i, s in enumerate(file.nodes.strangers)]


def wired(specs: list[NodeSpec]) -> tuple[tuple[int, int], ...]:
    """(address, cells) of each node that reads the scale."""
    return tuple((s.address, len(s.station.cells)) for s in specs if s.address is not None)


def expect(
    own: Expectation | None, wired: Sequence[tuple[int, int]], count: int, loc: Loc, findings: Findings
) -> Expect:
    """What the host is told, own None: what is wired.  wired: (address, cells) of each node; count: of cells.

    Findings: an address twice, one whose cells nobody gives, more cells at the addresses than on the scale.
    """
    if own is None:
        return Expect(count, tuple(wired))
    cells = own.cells if own.cells is not None else count
    there = dict(wired)
    at: dict[int, int] = {}
    given = own.addresses
    if given is None:
        at = {a: n for a, n in wired if n}
    for index, each in enumerate(given or ()):
        here: Loc = (*loc, "addresses", index)
        if each.address in at:
            findings.add((*here, "address"), f"address {each.address} is listed twice", "each address once")
        number = each.cells if each.cells is not None else there.get(each.address)
        if number is None and findings.sure("cells", "nodes"):
            findings.add(here, f"no node is wired for address {each.address}", "say how many cells: 4 there")
        at[each.address] = number or 0
    carried = sum(at.values())
    if carried > cells and findings.sure("cells", "nodes"):
        findings.add(
            (*loc, "cells") if own.cells is not None else loc,
            f"cells: {cells} on the scale, but {carried} at its addresses",
            f"{carried} or more, or fewer at the addresses",
        )
    return Expect(cells, tuple(at.items()))


def expected(told: Expect, rate_hz: int) -> tuple[Expected, ...]:
    """What the host is told: which addresses, how many cells at each, at which rate."""
    return tuple(Expected(address, cells, None, rate_hz) for address, cells in told.at)


def _rate(file: schema.File, findings: Findings) -> int:
    rate = file.nodes.rate
    if rate != int(rate) or not 1 <= rate <= MAX_RATE_HZ:
        findings.add(
            ("nodes", "rate"), f"rate: {rate:f} Hz", f"a whole number of samples a second, 1 to {MAX_RATE_HZ}"
        )
        return 80
    return int(rate)


def _digitiser(file: schema.File, own: schema.NodeFigures | None, rate_hz: int) -> Digitiser:
    common = file.nodes
    noise = pick("noise", own, common) or DEFAULT_NOISE
    made = Digitiser(
        rate_hz=float(rate_hz),
        noise_rms_counts=noise.rms_counts,
        noise_density_v_per_rthz=noise.density_v_per_rthz,
    )
    if (bits := pick("bits", own, common)) is not None:
        made = replace(made, bits=bits)
    if (full_scale := pick("full_scale", own, common)) is not None:
        made = replace(made, full_scale_mv_per_v=float(full_scale))
    if (excitation := pick("excitation", own, common)) is not None:
        made = replace(made, excitation_v=float(excitation))
    if (rejection := pick("common_mode_rejection", own, common)) is not None:
        made = replace(made, common_mode_error=10.0 ** (-float(rejection) / 20.0))
    if (pickup := pick("pickup", own, common)) is not None:
        made = replace(made, pickup_mv_per_v=float(pickup.amplitude), pickup_hz=float(pickup.frequency))
    if (clean := pick("filter", own, common)) is not None:
        made = replace(made, filter=f"sinc{clean.order}", filter_samples=_box(clean, rate_hz) or 4)
    if (error := pick("clock_error", own, common)) is not None:
        made = replace(made, clock_error_ppm=float(error) * 1e6)
    if noise.noise_free:
        made = replace(made, noise_rms_counts=rms_for(made.bits, noise.noise_free))
    return _with_box(made, own, common)


def _with_box(made: Digitiser, own: schema.NodeFigures | None, common: schema.NodeFigures) -> Digitiser:
    """The digitiser with what its channels and its box add."""
    if (skew := pick("skew", own, common)) is not None:
        made = replace(made, skew_us=skew)
    if (offset := pick("offset", own, common)) is not None:
        made = replace(made, offset_mv_per_v=float(offset))
    if (warmer := pick("warmer", own, common)) is not None:
        made = replace(made, self_heating_k=float(warmer))
    if (effect := pick("reference_effect", own, common)) is not None:
        made = replace(made, reference_effect_per_k=float(effect))
    if (effect := pick("clock_effect", own, common)) is not None:
        made = replace(made, clock_effect_per_k=float(effect) * 1e6)
    return made


def _box(clean: schema.Filter, rate_hz: int) -> int | None:
    """The length of a filter's boxes; None: none takes its notch away."""
    if clean.notch is None:
        return clean.samples or 4
    return box_for(float(rate_hz), Fraction(clean.notch), schema.MAX_BOX)


def _nearest_notch(wanted_hz: Decimal, rate_hz: int) -> float:
    """The frequency nearest to one that some box takes away."""
    notches = [
        Fraction((round(wanted_hz * box / rate_hz) + step) * rate_hz, box)
        for box in range(2, schema.MAX_BOX + 1)
        for step in (-1, 0, 1)
    ]
    return float(min((n for n in notches if n % rate_hz), key=lambda hz: abs(hz - Fraction(wanted_hz))))


def _judge_filters(file: schema.File, rate_hz: int, findings: Findings) -> None:
    """A notch that there can be, and a box that is given once."""
    given: list[tuple[Loc, schema.Filter | None]] = [(("nodes", "filter"), file.nodes.filter)]
    given += [(("nodes", "each", n, "filter"), own.filter) for n, own in enumerate(file.nodes.each or ())]
    for loc, clean in given:
        if clean is None or clean.notch is None:
            continue
        if clean.samples is not None:
            findings.add((*loc, "samples"), "both samples and notch", "keep one of them", key=True)
        if _box(clean, rate_hz) is None:
            near = _nearest_notch(clean.notch, rate_hz)
            findings.add(
                (*loc, "notch"),
                f"notch: {clean.notch.normalize():f} Hz cannot be taken away at {rate_hz} samples a second",
                f"boxes of up to {schema.MAX_BOX} samples: the nearest is {near:.6g} Hz",
            )


def _node(
    file: schema.File, own: schema.OneNode, index: int, cells: tuple[int, ...], rate_hz: int
) -> NodeSpec:
    address = own.address if own.address is not None else index + 1
    major, _, minor = (pick("firmware", own, file.nodes) or "1.0").partition(".")
    card = NodeCard(
        serial=own.serial if own.serial is not None else FIRST_SERIAL + index,
        strap=own.strap if own.strap is not None else address,
        network=own.network if own.network is not None else file.link.network,
        key=pairing_key(own.pairing_key or file.link.pairing_key),
        channels=own.channels if own.channels is not None else CHANNELS_PER_NODE,
        rate_hz=rate_hz,
        firmware=(int(major), int(minor)),
    )
    station = Station(cells, _digitiser(file, own, rate_hz))
    return NodeSpec(
        card, station, address, own.link or file.link, ("nodes", "each", index), _supply(file, own)
    )


def _supply(file: schema.File, own: schema.OneNode) -> Supply:
    told = pick("supply", own, file.nodes)
    if told is None:
        return Supply()
    lasts_h = told.lasts / HOUR_US if told.lasts is not None else 0.0
    return Supply(
        told.source, float(told.voltage), float(told.charge), lasts_h, float(told.drop), float(told.brown_out)
    )


def _stranger(file: schema.File, own: schema.Stranger, index: int, rate_hz: int) -> NodeSpec:
    card = NodeCard(
        serial=own.serial if own.serial is not None else STRANGER_SERIAL + index,
        strap=own.strap,
        network=own.network if own.network is not None else file.link.network,
        key=pairing_key(own.pairing_key or file.link.pairing_key),
        channels=own.channels,
        rate_hz=rate_hz,
    )
    return NodeSpec(card, Station(()), None, file.link, ("nodes", "strangers", index))


def _judge(specs: list[NodeSpec], count: int, findings: Findings) -> None:
    """Each cell on one channel of one node, each address once."""
    addresses: dict[int, int] = {}
    seats: dict[int, int] = {}
    for number, spec in enumerate(specs, 1):
        assert spec.address is not None
        first = addresses.setdefault(spec.address, number)
        if first != number:
            findings.add(
                (*spec.loc, "address"), f"address {spec.address} is given to nodes {first} and {number}",
                "give each its own; two nodes on one address are made with strap",
            )  # fmt: skip
        if not spec.station.cells:
            findings.add(spec.loc, f"node {number} has no cells left", "give it cells, or make it a stranger")
        for cell in spec.station.cells:
            if cell >= count:
                findings.add((*spec.loc, "cells"), f"there is no cell {cell + 1}", f"cells 1 to {count}")
            elif seats.setdefault(cell, number) != number or spec.station.cells.count(cell) > 1:
                findings.add(
                    (*spec.loc, "cells"), f"cell {cell + 1} is on node {seats[cell]} already",
                    "each cell goes on one channel of one node",
                )  # fmt: skip
    missing = [str(c + 1) for c in range(count) if c not in seats]
    if missing:
        findings.add(
            ("nodes", "each"),
            f"no node reads cell {', '.join(missing)}",
            "each cell goes on one channel",
            key=True,
        )
