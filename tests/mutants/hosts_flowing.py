"""Hosts that are wrong in one way each while data flow, or fail to come."""

from __future__ import annotations

from collections.abc import Sequence

from benchsim.ground.readings import ClockReading, Samples
from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind
from benchsim.link.limits import AGAIN_GRACE_US, FIRST_BEATS, REPLAY_WINDOW
from benchsim.link.seat import Told
from benchsim.link.session import Session
from benchsim.link.steps import Step
from benchsim.link.watch import Watch
from tests.mutants.odd_host import OddSeat, wrong


@wrong("host-first-beats-come-at-once-and-three-soon-after")
class BeatsSlowlyFromTheStart(Watch):
    """Leaves out the first beats that tell the clock soon."""

    def due(self, now_us: int) -> list[bytes]:
        self._beats = max(self._beats, FIRST_BEATS)
        return super().due(now_us)


@wrong("host-beats-keep-to-the-beat-time")
class BeatsTooSeldom(Watch):
    """Beats at another time than its seek named."""

    def due(self, now_us: int) -> list[bytes]:
        before = self._beat_us
        out = super().due(now_us)
        if self._beat_us != before and self._beats >= FIRST_BEATS:
            self._beat_us += 2 * self.settings.beat_us
        return out


@wrong("host-beats-count-from-0-and-tell-a-clock")
class CountsFromOne(Session):
    """Begins its control lane with sequence 1."""

    __slots__ = ()

    def control_frame(self, message: frames.Message) -> bytes:
        self.sequence = max(self.sequence, 1)
        return super().control_frame(message)


@wrong("host-data-alone-keep-a-flow")
class WatchesEchoesOnly(OddSeat):
    """Counts a node as silent that sends data but whose echoes do not come."""

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        heard_us = self.watch.heard_us if self.watch is not None else 0
        said = super().hear_data(frame, now_us)
        if self.watch is not None:
            self.watch.heard_us = heard_us
        return said


@wrong("host-a-frame-that-comes-late-is-not-asked-for")
class TakesNoLateData(Watch):
    """Takes data in order only; what comes late has to be sent again."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        late = int.from_bytes(frame[14:22], "little") < self.gaps.next
        return None if late else super().take(frame, now_us)


@wrong("host-a-sequence-within-the-window-is-taken")
class TakesRisingNumbersOnly(Watch):
    """Keeps the highest sequence number instead of a window."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        behind = int.from_bytes(frame[10:14], "little") < self.session.data.highest
        return None if behind else super().take(frame, now_us)


@wrong("host-an-offer-of-fewer-samples-a-frame-holds")
class KeepsItsOwnK(Watch):
    """Expects as many samples a frame as it asked for when the node offers a single one."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        if self._shape[0] == 1:
            self._shape = (self.settings.samples_per_frame, self._shape[1])
        return super().take(frame, now_us)


@wrong("host-an-echo-tells-of-samples-that-never-came")
class UsesTheBeatsNumberAgain(Session):
    """Sends a list with the sequence number of the frame before it, once lists come between beats."""

    __slots__ = ()

    def control_frame(self, message: frames.Message) -> bytes:
        if isinstance(message, frames.Again) and self.sequence:
            self.sequence -= 1
        return super().control_frame(message)


@wrong("host-a-gap-is-asked-for-after-the-grace")
class NeverAsksAgain(Watch):
    """Notices gaps and never asks for them."""

    def due(self, now_us: int) -> list[bytes]:
        for gap in self.gaps.gaps:
            gap.ask_us = now_us + 60_000_000
        return super().due(now_us)


@wrong("host-a-gap-is-asked-for-after-the-grace")
class AsksAtOnce(Watch):
    """Asks for a gap without waiting for frames that are only late."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        taken = super().take(frame, now_us)
        for gap in self.gaps.gaps:
            gap.ask_us -= 0 if gap.asked else AGAIN_GRACE_US
        return taken


@wrong("host-only-what-still-lacks-is-asked-for")
class AsksForWhatItHas(Session):
    """Asks for all samples from the first that lacks to the last that lacks."""

    __slots__ = ()

    def control_frame(self, message: frames.Message) -> bytes:
        if isinstance(message, frames.Again):
            first = message.ranges[0][0]
            message = frames.Again(((first, sum(message.ranges[-1]) - first),))
        return super().control_frame(message)


@wrong("host-what-is-gone-is-not-asked-for-again")
class DoesNotHearGone(OddSeat):
    """Does not know the message gone, and asks on."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        return [] if frame.header.kind == Kind.GONE else super().hear(frame, now_us)


@wrong("host-a-wrong-tag-is-dropped")
class UsesNumbersUpBeforeTheTag(OddSeat):
    """Marks a sequence number as taken before it looks at the tag."""

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        watch, read = self.watch, codec.read(frame)
        said = super().hear_data(frame, now_us)
        if watch is not None and isinstance(read, Frame) and watch.session.ours(read):
            window, sequence = watch.session.data, read.header.sequence
            window.take(sequence if window.fresh(sequence) else window.highest)
        return said


@wrong("host-a-replayed-frame-is-dropped")
class KeepsNoWindow(OddSeat):
    """Takes a sequence number as often as it comes."""

    def hear_data(self, frame: bytes, now_us: int) -> Sequence[Samples]:
        if self.watch is not None:
            self.watch.session.data.__init__()  # type: ignore[misc]
        return super().hear_data(frame, now_us)


@wrong("host-an-echo-of-no-beat-is-dropped")
class BelievesAnyEcho(OddSeat):
    """Believes echoes of beats that it never sent."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        if isinstance(frame.message, frames.Echo) and self.watch is not None:
            self.watch._told_us.append(frame.message.host_t_us)
        return super().hear(frame, now_us)


@wrong("host-data-too-far-ahead-is-dropped")
class BelievesAnyCounter(Watch):
    """Takes whatever an authentic frame says of its counter."""

    def _plausible(self, first: int, now_us: int) -> bool:
        return True


@wrong("host-data-of-other-rows-than-agreed-is-dropped")
class TakesAnyRows(Watch):
    """Takes as many rows as a frame has, whatever was agreed."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        agreed, self._shape = self._shape, (frame[30] if len(frame) > 30 else 0, self._shape[1])
        try:
            return super().take(frame, now_us)
        finally:
            self._shape = agreed


@wrong("host-a-high-sequence-of-data-brings-new-keys")
class NeverChangesKeys(Watch):
    """Goes on under the same keys until its numbers are spent."""

    def _tired(self) -> bool:
        return False


@wrong("host-samples-that-are-had-already-are-dropped")
class CountsBackwards(Watch):
    """Believes a counter that goes back, and then lacks what it had."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        taken = super().take(frame, now_us)
        first = int.from_bytes(frame[14:22], "little")
        if taken is None and first < self.gaps.next and not self.gaps.gaps:
            self.gaps.next = first
        return taken


@wrong("host-the-lanes-count-for-themselves")
class ComparesTheLanes(Watch):
    """Drops control frames whose number is far behind that of the data."""

    def verify(self, frame: Frame, now_us: int) -> bool:
        old = frame.header.sequence + REPLAY_WINDOW < self.session.data.highest
        return not old and super().verify(frame, now_us)


@wrong("host-a-list-is-repeated-then-given-up")
class AsksForEver(Watch):
    """Never lets a gap be."""

    def due(self, now_us: int) -> list[bytes]:
        for gap in self.gaps.gaps:
            gap.asked = min(gap.asked, 1)
        return super().due(now_us)


@wrong("host-an-echo-tells-of-samples-that-never-came")
class LooksAtClocksOnly(OddSeat):
    """Reads the clock in an echo and passes over its next sample."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        watch = self.watch
        before = watch.gaps.next if watch is not None else 0
        told = super().hear(frame, now_us)
        if isinstance(frame.message, frames.Echo) and watch is not None and watch.gaps.next > before:
            watch.gaps.gaps.pop()
            watch.gaps.next = before
        return told


@wrong("host-a-repeat-that-is-not-wholly-lacking-is-not-taken")
class TakesWhatOverlaps(Watch):
    """Takes a repeat that has a part of a gap in it."""

    def hear(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        message = frame.message
        taken = super().hear(frame, now_us)
        if isinstance(message, frames.Repeat):
            self.gaps.gone(message.first, message.first + message.rows)
        return taken


@wrong("host-a-flow-begins-where-its-accept-says")
class BeginsWithTheFirstFrame(Watch):
    """Begins to count at the first frame that it hears."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        if self.session.data.highest < 0:
            self.gaps.next = int.from_bytes(frame[14:22], "little")
        return super().take(frame, now_us)


@wrong("host-data-ahead-as-a-late-node-may-be-is-taken")
class BelievesNoJump(Watch):
    """Drops data that are more than a few frames ahead."""

    def _plausible(self, first: int, now_us: int) -> bool:
        return first <= self.gaps.next + 15 * self._shape[0] and super()._plausible(first, now_us)


@wrong("host-data-of-other-channels-than-agreed-is-dropped")
class TakesAnyChannels(Watch):
    """Takes as many channels as a frame has, whatever was offered."""

    def take(self, frame: bytes, now_us: int) -> Samples | None:
        agreed, self._shape = self._shape, (self._shape[0], frame[31] if len(frame) > 31 else 0)
        try:
            return super().take(frame, now_us)
        finally:
            self._shape = agreed


@wrong("host-gone-of-samples-that-are-to-come-takes-nothing-away")
class RemembersWhatIsGone(Watch):
    """Keeps in mind what was called gone, also what was still to come."""

    gone: tuple[tuple[int, int], ...] = ()

    def hear(self, frame: Frame, now_us: int) -> Samples | ClockReading | None:
        if isinstance(frame.message, frames.Gone):
            self.gone += frame.message.ranges
        return super().hear(frame, now_us)

    def due(self, now_us: int) -> list[bytes]:
        for first, count in self.gone:
            self.gaps.gone(first, first + count)
        return super().due(now_us)


@wrong("host-answers-that-nobody-asked-for-move-nothing")
class BelievesAnyReleased(OddSeat):
    """Lets a node go that says released without having been asked."""

    def hear(self, frame: Frame, now_us: int) -> list[Told]:
        watch = self.watch
        flows = watch is not None and self.step is Step.FLOW
        if flows and watch is not None and isinstance(frame.message, frames.Released):
            self.release(now_us)
        return super().hear(frame, now_us)
