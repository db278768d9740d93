"""What a person is told of a link: how much is lost, how long a frame is on its way, how old samples are."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass, replace
from typing import Any

from benchsim.ground.clock import SECOND_US
from benchsim.link.data import FOOT_OCTETS, HEAD
from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.link.impairments.rate import Rate
from benchsim.link.radio import Budget

SOME_K = (1, 2, 4, 8, 16, 40, 80)


def data_octets(samples: int, channels: int) -> int:
    """Length of a data frame: header, head of the message, status, samples, tag and CRC."""
    return HEAD.size + channels + 4 * samples * channels + FOOT_OCTETS


@dataclass(frozen=True, slots=True)
class Flow:
    """What a node sends.  samples: k, in each frame.  rate_hz: of samples.  channels: of each sample."""

    samples: int = 8
    rate_hz: int = 80
    channels: int = 4

    @property
    def octets(self) -> int:
        return data_octets(self.samples, self.channels)


@dataclass(frozen=True, slots=True)
class Figures:
    """Of one node's data frames on an idle way.

    octets: length of a frame.  frame_error: share that arrives damaged.  air_us: on the way, overhead
    included.  busy: share of the time that the flow takes; above 1 frames are lost.  latency_us: age of a
    frame's first sample as the frame arrives.
    """

    octets: int
    frame_error: float
    air_us: int
    busy: float
    latency_us: int


def figures(flow: Flow, rate: Rate, bit_error: float = 0.0, delay_us: int = 0) -> Figures:
    """The figures of a flow over a way of this rate, with this much further delay."""
    octets = flow.octets
    air_us = rate.air_us(octets)
    filling_us = (flow.samples - 1) * SECOND_US // flow.rate_hz
    return Figures(
        octets=octets,
        frame_error=BitErrors(bit_error).frame_error(octets),
        air_us=air_us,
        busy=rate.utilisation(octets, flow.rate_hz / flow.samples),
        latency_us=filling_us + rate.turnaround_us + air_us + delay_us,
    )


def batching(flow: Flow, rate: Rate, bit_error: float = 0.0, delay_us: int = 0) -> list[tuple[int, Figures]]:
    """(k, figures) for some k: air time against latency, to choose by.  The flow's own k is among them."""
    return [
        (k, figures(replace(flow, samples=k), rate, bit_error, delay_us))
        for k in sorted({*SOME_K, flow.samples})
    ]


@dataclass(frozen=True, slots=True)
class Way:
    """One node's way to the host, as it is told.

    length_m: of a radio or a cable; None for a bare rate, of bits_per_s.  budget: of a radio.
    """

    length_m: float | None
    flow: Flow
    figures: Figures
    budget: Budget | None = None
    bits_per_s: int | None = None

    @property
    def text(self) -> str:
        """As "420 m, -93.1 dBm, margin 6.9 dB, PER 1.8e-3 for 176 octets, air time 6.72 ms ..."."""
        found, budget = self.figures, self.budget
        reach = f"{self.length_m:g} m of cable" if self.length_m is not None else f"{self.bits_per_s} bit/s"
        if budget is not None:
            received = f"{budget.received_dbm:.1f} dBm, margin {budget.margin_db:.1f} dB"
            reach = f"{self.length_m:g} m, {received}"
        busy = f"{100 * found.busy:.0f} % of the time"
        if found.busy > 1:
            busy += ", more than there is: frames will be lost"
        return (
            f"{reach}, PER {probability(found.frame_error)} for {found.octets} octets, "
            f"air time {ms(found.air_us)} ({busy}), "
            f"latency {ms(found.latency_us)} at k = {self.flow.samples}"
        )

    def document(self) -> dict[str, Any]:
        """The same as numbers, for programs; six digits of what is not whole."""
        budget = None if self.budget is None else _short(asdict(self.budget))
        about = {
            "length_m": self.length_m,
            "bits_per_s": self.bits_per_s,
            "samples_per_frame": self.flow.samples,
            "budget": budget,
        }
        return about | _short(asdict(self.figures))


def told(ways: Iterable[tuple[int, Way]]) -> list[str]:
    """A line a node, as "node 2: 420 m, ..."."""
    return [f"node {address}: {way.text}" for address, way in ways]


def _short(values: dict[str, Any]) -> dict[str, Any]:
    return {name: float(f"{v:.6g}") if isinstance(v, float) else v for name, v in values.items()}


def ms(time_us: int) -> str:
    """A time with three digits: "94.4 ms"."""
    return f"{time_us / 1000:.3g} ms" if time_us < 1_000_000 else f"{time_us / 1e6:.3g} s"


def probability(value: float) -> str:
    """Two digits: "0.57", "1.8e-3", "0" below 1e-12."""
    if value < 1e-12:
        return "0"
    if value >= 0.1:
        return f"{value:.2g}"
    digits, _, power = f"{value:.1e}".partition("e")
    return f"{digits}e{int(power)}"
