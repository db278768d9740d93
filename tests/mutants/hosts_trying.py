"""Hosts that are wrong in what they count on trial, and in what they make of slow or long frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import frames, framing
from benchsim.link.codec import Frame
from benchsim.link.frames import Accept
from benchsim.link.hub import Hub
from benchsim.link.parts import HostCard
from benchsim.link.watch import Watch
from tests.mutants.odd_host import OddSeat, wrong

# The longest frame in COBS, with its 0x00.
LONGEST_RUN = 1335


@wrong("host-what-is-repeated-does-not-help-a-trial")
class CountsRepeatsInItsTrial(Watch):
    """Counts all that it has in the end, not what came at first sending."""

    def hear(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        heard = super().hear(frame, now_us)
        if isinstance(heard, Samples):
            self.counters.taken += heard.rows
        return heard


@wrong("host-what-was-sent-in-a-silence-is-not-on-trial")
class CountsTheSilenceInItsTrial(Watch):
    """Counts what was sent while it heard nothing against the link."""

    def resumed(self, frame: Frame, answer: frames.Resumed, now_us: int) -> bool:
        trial, self.trial = self.trial, None
        try:
            return super().resumed(frame, answer, now_us)
        finally:
            self.trial = trial


@wrong("host-a-pairing-that-nobody-asked-for-is-not-on-trial")
class TriesEachPairing(OddSeat):
    """Has a trial after each accept, whoever asked for it."""

    def _on_accept(self, frame: Frame, accept: Accept, now_us: int) -> None:
        before = self.watch
        super()._on_accept(frame, accept, now_us)
        if self.watch is not None and self.watch is not before:
            self.watch.on_trial()


@wrong("host-a-slow-node-is-not-lost-between-its-frames")
class HasNoFloor(Watch):
    """Takes the liveness limit as it was set, however long a frame takes."""

    def due(self, now_us: int) -> list[bytes]:
        self.liveness_us = self.settings.liveness_us
        return super().due(now_us)


@wrong("host-the-rest-of-what-is-partly-gone-is-asked-for")
class GivesUpWholeGaps(Watch):
    """Gives a gap up when a part of it is gone."""

    def hear(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        if isinstance(frame.message, frames.Gone):
            for first, count in frame.message.ranges:
                for gap in [g for g in self.gaps.gaps if g.first < first + count and first < g.end]:
                    self.gaps.gone(gap.first, gap.end)
        return super().hear(frame, now_us)


@wrong("host-a-frame-that-is-too-short-or-too-long-is-dropped")
class HearsNothingAfterALongRun(Hub):
    """Has no way back from a run that is longer than its buffer."""

    deaf = False

    def receive(self, frame: bytes, now_us: int) -> Sequence[Samples | ClockReading | LinkState]:
        self.deaf = self.deaf or len(framing.to_stream(frame)) > LONGEST_RUN
        return () if self.deaf else super().receive(frame, now_us)


@wrong("host-frames-without-a-zero-are-taken")
class DecodesLongBlocksWrongly(Hub):
    """Asks for 80 samples a frame, and puts a zero behind each COBS block, also behind one of 254 octets."""

    def __init__(self, card: HostCard, dice: Dice) -> None:
        super().__init__(replace(card, settings=replace(card.settings, samples_per_frame=80)), dice)

    def receive(self, frame: bytes, now_us: int) -> Sequence[Samples | ClockReading | LinkState]:
        run, decoded = framing.to_stream(frame), bytearray()
        at = 0
        while at < len(run) - 1:
            decoded += run[at + 1 : at + run[at]] + b"\0"
            at += run[at]
        return super().receive(bytes(decoded[:-1]), now_us)
