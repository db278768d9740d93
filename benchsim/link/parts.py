"""What a link is made of: who is who, and the figures both ends keep to.  No behaviour."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from benchsim.ground.commands import Expect
from benchsim.ground.errors import BadInput
from benchsim.ground.readings import CHANNELS_PER_NODE

MAX_ADDRESS = 16
MAX_CELLS = MAX_ADDRESS * CHANNELS_PER_NODE
BROADCAST_ADDRESS = 0
KEY_OCTETS = 16
FINGERPRINT_OCTETS = 8


@dataclass(frozen=True, slots=True)
class NodeCard:
    """What a node knows of itself.

    serial: its own 64-bit number.  strap: the address set on it, 1 to 16.  network: 16 bits.
    key: the pairing key, 16 octets, never sent.  fingerprint: of its calibration, 8 octets.
    versions: lowest and highest protocol version it speaks.  buffer_samples: how many of its last samples
    it can send again.  most_samples_per_frame: the largest k its radio or cable takes.
    """

    serial: int
    strap: int
    network: int
    key: bytes = field(repr=False)
    channels: int = 4
    rate_hz: int = 80
    firmware: tuple[int, int] = (1, 0)
    fingerprint: bytes = bytes(FINGERPRINT_OCTETS)
    versions: tuple[int, int] = (1, 1)
    buffer_samples: int = 1024
    most_samples_per_frame: int = 80


@dataclass(frozen=True, slots=True)
class Expected:
    """What a host expects at one address: how many cells, and the fingerprint sealed there, if any.

    cells: more than a node has channels is a mistake that asking to pair will name.  rate_hz: of the node's
    samples, when the host was told one.
    """

    address: int
    cells: int
    sealed_fingerprint: bytes | None = None
    rate_hz: int | None = None


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """Figures that the specification lets a host choose.

    samples_per_frame: k, 1 to 80.  liveness_us: silence after which a node counts as lost;
    never less than two frame times and a margin, however small it is set.  beat_us: time
    between beats.  offer_window_us: how long offers are collected.  answer_timeout_us: how long an answer
    is waited for before the question is asked again.  tries: how often a question is asked.
    """

    samples_per_frame: int = 8
    liveness_us: int = 1_000_000
    beat_us: int = 1_000_000
    offer_window_us: int = 200_000
    answer_timeout_us: int = 500_000
    tries: int = 5


@dataclass(frozen=True, slots=True)
class HostCard:
    """What a host knows of itself and of the nodes it is to pair with.

    scale_cells: how many cells its scale has; None: as many as the addresses carry.
    """

    host_id: int
    network: int
    key: bytes = field(repr=False)
    expected: tuple[Expected, ...]
    settings: LinkSettings = field(default_factory=LinkSettings)
    versions: tuple[int, int] = (1, 1)
    scale_cells: int | None = None


def told_anew(card: HostCard, told: Expect) -> HostCard:
    """The card of a host that is told of its scale anew; what is sealed and the rate stay as they were."""
    known = {e.address: e for e in card.expected}
    rates = {e.rate_hz for e in card.expected}
    rate_hz = rates.pop() if len(rates) == 1 else None
    expected = tuple(replace(known.get(a, Expected(a, n, None, rate_hz)), cells=n) for a, n in told.at)
    return replace(card, expected=expected, scale_cells=told.cells)


def check_node(card: NodeCard) -> None:
    """Raises BadInput for a node that cannot be."""
    _check(1 <= card.strap <= MAX_ADDRESS, f"strap address {card.strap}", f"1 to {MAX_ADDRESS}")
    _check(0 <= card.serial < 1 << 64, f"serial number {card.serial}", "64 bits")
    _check(1 <= card.channels <= 4, f"{card.channels} channels", "1 to 4")
    _check(1 <= card.rate_hz <= 0xFFFF, f"rate of {card.rate_hz} Hz", "1 to 65535 Hz")
    _check(0 <= card.buffer_samples <= 0xFFFF, f"buffer of {card.buffer_samples} samples", "0 to 65535")
    _check(
        len(card.fingerprint) == FINGERPRINT_OCTETS,
        f"fingerprint of {len(card.fingerprint)} octets",
        f"{FINGERPRINT_OCTETS} octets",
    )
    _check(
        1 <= card.most_samples_per_frame <= 80, f"{card.most_samples_per_frame} samples a frame", "1 to 80"
    )
    _check_shared(card.network, card.key, card.versions)


def check_host(card: HostCard) -> None:
    """Raises BadInput for a host that cannot be."""
    settings = card.settings
    addresses = [e.address for e in card.expected]
    _check(0 <= card.host_id < 1 << 64, f"host number {card.host_id}", "64 bits")
    _check(all(1 <= a <= MAX_ADDRESS for a in addresses), f"addresses {addresses}", f"1 to {MAX_ADDRESS}")
    _check(len(set(addresses)) == len(addresses), f"addresses {addresses}", "each address once")
    _check(1 <= settings.samples_per_frame <= 80, f"{settings.samples_per_frame} samples a frame", "1 to 80")
    _check(10_000 <= settings.beat_us <= 60_000_000, f"a beat of {settings.beat_us} us", "10 ms to 60 s")
    _check(
        1_000 <= settings.offer_window_us <= 10_000_000,
        f"an offer window of {settings.offer_window_us} us",
        "1 ms to 10 s",
    )
    _check(settings.answer_timeout_us >= 1_000, f"{settings.answer_timeout_us} us to answer", "1 ms or more")
    _check(settings.liveness_us >= 10_000, f"a liveness limit of {settings.liveness_us} us", "10 ms or more")
    _check(settings.tries >= 1, f"{settings.tries} tries", "1 or more")
    for expected in card.expected:
        _check(
            0 <= expected.cells <= MAX_CELLS, f"{expected.cells} cells at one address", f"0 to {MAX_CELLS}"
        )
        rate_hz = expected.rate_hz
        _check(rate_hz is None or 1 <= rate_hz <= 0xFFFF, f"rate of {rate_hz} Hz", "1 to 65535 Hz")
    cells, carried = card.scale_cells, sum(e.cells for e in card.expected)
    if cells is not None:
        _check(1 <= cells <= MAX_CELLS, f"a scale of {cells} cells", f"1 to {MAX_CELLS}")
        found = f"{carried} cells at the addresses of a scale of {cells}"
        _check(carried <= cells, found, "no more at the addresses than the scale has")
    _check_shared(card.network, card.key, card.versions)


def _check_shared(network: int, key: bytes, versions: tuple[int, int]) -> None:
    _check(0 <= network <= 0xFFFF, f"network {network}", "0 to 65535")
    _check(len(key) == KEY_OCTETS, f"pairing key of {len(key)} octets", f"{KEY_OCTETS} octets")
    _check(1 <= versions[0] <= versions[1] <= 0xFF, f"versions {versions}", "lowest first, 1 to 255")


def _check(right: bool, found: str, allowed: str) -> None:
    if not right:
        raise BadInput(found, allowed)
