"""The line between a case and the device under test: send, hear, wait, ask for a deliberate act.

Sans I/O: a script only ever waits for a time or for whoever attends the device; play.py wakes it.  All that
was said is kept in order, so that a finding can name the frame at which it showed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable
from dataclasses import dataclass
from typing import Any

from benchsim.ground.clock import seconds
from benchsim.ground.randomness import Dice
from benchsim.link import codec
from benchsim.link.codec import Bad, Frame
from benchsim.link.frames import Kind
from benchsim.probe.finding import Differs, NotReached
from benchsim.probe.setting import Setting

# The answer of an attendant who will do at once what was asked, and has not done it yet: a person.
SOON = "soon"


@dataclass(frozen=True, slots=True)
class Said:
    """One frame that was exchanged.  by_device: whether the device under test said it."""

    t_us: int
    by_device: bool
    octets: bytes


@dataclass(frozen=True, slots=True)
class Until:
    """A script waits for a frame, and until t_us at the longest."""

    t_us: int


@dataclass(frozen=True, slots=True)
class Act:
    """A script waits for whoever attends the device to do something, in words ("pair 1")."""

    text: str


class _Pause:
    """Hands a wait to whoever plays the script."""

    __slots__ = ("_what",)

    def __init__(self, what: Until | Act) -> None:
        self._what = what

    def __await__(self) -> Generator[Until | Act, Any, Any]:
        return (yield self._what)


class Line:
    """One case's way to the device.  dice: for all that a peer draws."""

    def __init__(self, setting: Setting, dice: Dice, now_us: int) -> None:
        self.setting, self.dice, self.now_us = setting, dice, now_us
        self.said: list[Said] = []
        self.out: list[bytes] = []
        self._unread: deque[int] = deque()
        self._read: int | None = None

    @property
    def address(self) -> int:
        """The first address under test."""
        return self.setting.addresses[0]

    @property
    def shown_by(self) -> int | None:
        """Index of the frame read last: what shows a finding when nothing else is named."""
        return self._read

    # -- what play.py does ---------------------------------------------------------------------------

    def heard(self, octets: bytes, now_us: int) -> None:
        """The device said a frame."""
        self.now_us = now_us
        self._unread.append(len(self.said))
        self.said.append(Said(now_us, True, octets))

    # -- what a script does --------------------------------------------------------------------------

    def send(self, octets: bytes) -> None:
        """Say a frame, good or bad."""
        self.said.append(Said(self.now_us, False, octets))
        self.out.append(octets)

    async def pause(self, time_us: int) -> None:
        """Let time pass; what is heard meanwhile waits to be read."""
        end_us = self.now_us + time_us
        while self.now_us < end_us:
            await _Pause(Until(end_us))

    async def hear(self, within_us: int) -> Frame | None:
        """The next frame of the device, within a time; None when there is none.

        Raises Differs for a frame that is none by sections 1 and 2: no device may say such a thing.
        """
        end_us = self.now_us + within_us
        while not self._unread:
            if self.now_us >= end_us:
                return None
            await _Pause(Until(end_us))
        self._read = self._unread.popleft()
        heard = codec.read(self.said[self._read].octets)
        if isinstance(heard, Bad):
            raise Differs(f"what it said is no frame: {heard.why}")
        return heard

    def forget(self) -> None:
        """Leave unread what came so far."""
        self._unread.clear()

    async def expect(
        self,
        kind: Kind,
        within_us: int,
        which: Callable[[Frame], bool] = lambda _frame: True,
        never: Iterable[Kind] = (),
        why: str = "",
    ) -> Frame:
        """The next frame of a kind for which `which` holds; others are passed over, but none of `never`.

        within_us: by the specification; the setting's patience is added for both ways.  Raises Differs.
        """
        end_us = self.now_us + within_us + 2 * self.setting.patience_us
        forbidden = frozenset(never)
        while (frame := await self.hear(end_us - self.now_us)) is not None:
            if frame.header.kind in forbidden:
                raise Differs(f"it said {name(frame)} where {kind.name.lower()} is due{_because(why)}")
            if frame.header.kind == kind and which(frame):
                return frame
        raise Differs(f"no {kind.name.lower()} within {seconds(within_us)}{_because(why)}", self.newest)

    async def silence(
        self,
        kinds: Iterable[Kind],
        for_us: int,
        why: str,
        which: Callable[[Frame], bool] = lambda _frame: True,
    ) -> None:
        """For so long the device says nothing of these kinds (for which `which` holds).  Raises Differs."""
        forbidden = frozenset(kinds)
        end_us = self.now_us + for_us
        while (frame := await self.hear(end_us - self.now_us)) is not None:
            if frame.header.kind in forbidden and which(frame):
                raise Differs(f"it said {name(frame)}, though {why}")

    async def ask(self, text: str) -> str:
        """Have an act done at the device ("pair 1", "restart 1"): what the attendant says of it.

        Raises NotReached when nobody can do it.
        """
        answer = await self.tell(text)
        if answer is None:
            raise NotReached(f"nobody could do this at the device: {text}")
        return answer

    async def tell(self, text: str) -> str | None:
        """The same, None when nobody can do it."""
        answer: str | None = await _Pause(Act(text))
        return answer

    @property
    def newest(self) -> int | None:
        """Index of the newest frame of all."""
        return len(self.said) - 1 if self.said else None


def name(frame: Frame) -> str:
    """A frame's kind in words."""
    return Kind(frame.header.kind).name.lower()


def _because(why: str) -> str:
    return f": {why}" if why else ""
