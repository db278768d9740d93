"""What a link is made of: who is who, and the figures both ends keep to.  No behaviour."""

from __future__ import annotations

from dataclasses import dataclass, field

MAX_ADDRESS = 16
BROADCAST_ADDRESS = 0
KEY_OCTETS = 16
FINGERPRINT_OCTETS = 8


@dataclass(frozen=True, slots=True)
class NodeCard:
    """What a node knows of itself.

    serial: its own 64-bit number.  strap: the address set on it, 1 to 16.  network: 16 bits.
    key: the pairing key, 16 octets, never sent.  fingerprint: of its calibration, 8 octets.
    """

    serial: int
    strap: int
    network: int
    key: bytes
    channels: int = 4
    rate_hz: int = 80
    firmware: tuple[int, int] = (1, 0)
    fingerprint: bytes = bytes(FINGERPRINT_OCTETS)
    versions: tuple[int, int] = (1, 1)


@dataclass(frozen=True, slots=True)
class Expected:
    """What a host expects at one address: how many cells, and the fingerprint sealed there, if any."""

    address: int
    cells: int
    sealed_fingerprint: bytes | None = None


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """Figures that the specification lets a host choose.

    samples_per_frame: k, 1 to 80.  liveness_us: silence after which a node counts as lost.
    """

    samples_per_frame: int = 8
    liveness_us: int = 1_000_000
    beat_us: int = 1_000_000
    offer_window_us: int = 200_000
    answer_timeout_us: int = 500_000
    tries: int = 5


@dataclass(frozen=True, slots=True)
class HostCard:
    """What a host knows of itself and of the nodes it is to pair with."""

    host_id: int
    network: int
    key: bytes
    expected: tuple[Expected, ...]
    settings: LinkSettings = field(default_factory=LinkSettings)
    versions: tuple[int, int] = (1, 1)
