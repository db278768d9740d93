"""What the probe must be told of a device under test, and the figures it plays with."""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.link.parts import LinkSettings

# Addresses and numbers that the built-in ends use when they are under test themselves.
NETWORK = 7
HOST_ID = 0xB0B0_0001


@dataclass(frozen=True, slots=True)
class Setting:
    """network, key, addresses: as they are set in the device.  host_id: of the host that the probe plays.

    patience_us: what a medium and a device may cost beyond the times of the specification, each way.
    settings: of the host, played or under test.  cells: how many the host under test expects an address.
    sealed, rate_hz: the fingerprint and the rate that it was told to expect at each, None when it was not.
    """

    key: bytes = field(repr=False)
    network: int = NETWORK
    addresses: tuple[int, ...] = (1,)
    host_id: int = HOST_ID
    cells: int = 4
    patience_us: int = 50_000
    sealed: bytes | None = None
    rate_hz: int | None = None
    settings: LinkSettings = field(default_factory=LinkSettings)
