"""What a file can say of the way between a node and the host: a radio, a cable, or a bare rate.

Also who else is on it.  What they come to stands in stack.py.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from benchsim.scenario import quantities as q

Octets = Annotated[int, Field(strict=True, ge=0, le=255)]
Places = Annotated[int, Field(strict=True, ge=0, le=10_000)]


def _key(name: str) -> str:
    return name.rstrip("_").replace("_", " ")


class _Way(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, alias_generator=_key, allow_inf_nan=False)


class Radio(_Way):
    """A radio, from its distance: rate and bit errors are computed.  Both ends are alike."""

    distance: q.Reach = Field(description="between the antennas")
    frequency: q.RadioFrequency = Field("2.45 GHz", description="of the carrier", validate_default=True)
    power: q.PowerLevel = Field("0 dBm", description="into the antenna", validate_default=True)
    gains: q.Decibels = Field("0 dB", description="of both antennas, less their leads", validate_default=True)
    heights: Annotated[list[q.Length], Field(min_length=2, max_length=2)] = Field(
        ["1.5 m", "1.5 m"], description="of the antennas above ground, for two-ray", validate_default=True
    )
    path: Literal["free space", "two-ray", "log-distance"] = Field(
        "two-ray", description="how power falls off"
    )
    exponent: Annotated[float, Field(strict=True, ge=1.0, le=8.0)] = Field(
        3.0, description="of log-distance, from 1 m on; a bare number"
    )
    shadowing: q.PositiveDecibels = Field(
        "0 dB", description="standard deviation of log-distance; one draw a node", validate_default=True
    )
    modulation: Literal["oqpsk", "fsk", "noncoherent fsk"] = Field(
        "oqpsk", description="oqpsk is the spread one of IEEE 802.15.4 at 2.4 GHz"
    )
    noise_figure: q.PositiveDecibels = Field("10 dB", description="of the receiver", validate_default=True)
    sensitivity: q.PowerLevel | None = Field(
        None, description="instead of the noise figure: power at which 1 % of frames of 20 octets are lost"
    )
    bits: q.DataRate | None = Field(None, description="on the air, for fsk; default 100 kbit/s")
    bandwidth: q.Bandwidth | None = Field(None, description="of the receiver, for fsk; default 200 kHz")
    overhead: Octets | None = Field(None, description="octets around each piece; default 17 (oqpsk), 9 (fsk)")
    queue: Places = Field(16, description="frames that can wait")


class Cable(_Way):
    """A cable, from its length and rate."""

    length: q.Reach = Field(description="from end to end; it delays by 5 ns a metre")
    bits: q.DataRate = Field("115.2 kbit/s", description="on the line", validate_default=True)
    bits_an_octet: Annotated[int, Field(strict=True, ge=8, le=12)] = Field(
        10, description="10 with a start and a stop bit, 11 with parity too"
    )
    bit_errors: q.Fraction = Field("0 %", description="bits that arrive wrong", validate_default=True)
    overhead: Octets = Field(2, description="octets around each frame; COBS and its end take two")
    turnaround: q.Lateness = Field("0 s", description="of a half-duplex driver", validate_default=True)
    queue: Places = Field(16, description="frames that can wait")


class BitRate(_Way):
    """A rate alone: frames take their time and wait for one another."""

    bits: q.DataRate = Field(description="on the way")
    overhead: Octets = Field(0, description="octets around each frame")
    turnaround: q.Lateness = Field("0 s", description="from listening to sending", validate_default=True)
    queue: Places = Field(16, description="frames that can wait; what finds no place is lost")


class OtherNetwork(_Way):
    """Another network on the same channel: its frames spoil those they meet, the others are heard."""

    gap: q.Span = Field(
        "100 ms", description="mean, from one of its frames to the next", validate_default=True
    )
    samples_per_frame: Annotated[int, Field(strict=True, ge=1, le=80)] = Field(
        8, description="of four channels"
    )
    network: Annotated[int, Field(strict=True, ge=0, le=65535)] = Field(
        48879, description="its number; with the link's own it is a rogue node"
    )
