"""A stack of impairments, one each way: a frame enters at the top, none, one or several come out.

What becomes of one frame enters the next impairment in order of time.  Frames are handed over in the order
in which they were sent, so one that was held back is handed on before those that overtake it: an impairment
that cares for order goes by the times at which frames enter, or stands before all that hold frames back.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Streams
from benchsim.link.impairment import Impairment, Passage
from benchsim.link.impairments.delay import Delay
from benchsim.link.impairments.duplicate import Duplicate
from benchsim.link.impairments.rate import Rate
from benchsim.link.impairments.reorder import Reorder
from benchsim.link.impairments.replay import Replay
from benchsim.link.impairments.stranger import Stranger


def check_order(stack: Sequence[Impairment]) -> None:
    """Raises BadInput where a rate, or who shares it, would meet frames out of the order of their times.

    A frame that was held back would take the way before those that overtake it, and they would wait for it.
    """
    held: Impairment | None = None
    for impairment in stack:
        if held is not None and isinstance(impairment, Rate | Stranger):
            first, then = _name(impairment), _name(held)
            raise BadInput(f"{then} before {first} in a stack", f"the other way round: {first}, {then}")
        if _holds_back(impairment):
            held = impairment


def _holds_back(impairment: Impairment) -> bool:
    if isinstance(impairment, Delay):
        return impairment.overtaking and impairment.jitter_us > 0
    return isinstance(impairment, Duplicate | Reorder | Replay)


def _name(impairment: Impairment) -> str:
    return type(impairment).__name__.lower()


class Channel:
    """One direction of one link.  The i-th impairment draws from its own stream, a new one at each start.

    Raises BadInput for a stack in an order that cannot be.
    """

    __slots__ = ("_begun", "_passages", "_stack", "_streams")

    def __init__(self, stack: tuple[Impairment, ...], streams: Streams) -> None:
        self._streams = streams
        self._begun: dict[int, int] = {}
        self._stack: tuple[Impairment, ...] = ()
        self._passages: tuple[Passage, ...] = ()
        self.change(stack)

    @property
    def stack(self) -> tuple[Impairment, ...]:
        return self._stack

    def carry(self, frame: bytes, sent_us: int) -> list[tuple[int, bytes]]:
        """(arrival time, frame) of what comes out of a frame sent now, in order of time."""
        t_us = sent_us
        for number, passage in enumerate(self._passages, 1):
            frames = passage.carry(frame, t_us)
            if len(frames) != 1:
                return self._through(number, frames)
            t_us, frame = frames[0]
        return [(t_us, frame)]

    def _through(self, number: int, frames: Sequence[tuple[int, bytes]]) -> list[tuple[int, bytes]]:
        """None or several frames through the passages from this one on."""
        for passage in self._passages[number:]:
            frames = [out for t_us, one in sorted(frames, key=_time) for out in passage.carry(one, t_us)]
        return sorted(frames, key=_time)

    def change(self, stack: tuple[Impairment, ...]) -> None:
        """Another stack from now on.  An impairment that stands in both keeps what it remembers.

        Raises BadInput as for a new channel.
        """
        check_order(stack)
        old = list(zip(self._stack, self._passages, strict=True))
        passages: list[Passage] = []
        for index, impairment in enumerate(stack):
            kept = next((pair for pair in old if pair[0] == impairment), None)
            if kept:
                old.remove(kept)
                passages.append(kept[1])
            else:
                passages.append(self._begin(impairment, index))
        self._stack, self._passages = stack, tuple(passages)

    def _begin(self, impairment: Impairment, index: int) -> Passage:
        again = self._begun.get(index, 0)
        self._begun[index] = again + 1
        names = ("impairment", index, again) if again else ("impairment", index)
        return impairment.start(self._streams.dice(*names))


def _time(item: tuple[int, bytes]) -> int:
    return item[0]
