"""The host's end: all addresses on one medium, a seat each.

It reads what is heard, hands it to the seat of its address, and asks each seat when its time has come.
"""

from __future__ import annotations

from collections.abc import Sequence

from benchsim.ground.errors import BadInput
from benchsim.ground.randomness import Dice
from benchsim.ground.readings import ClockReading, LinkState, Samples
from benchsim.link import codec, data, parts
from benchsim.link.codec import Bad
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.limits import SEEK_STAGGER_US, SHORTEST_FRAME
from benchsim.link.parts import HostCard
from benchsim.link.seat import Seat, Told
from benchsim.link.steps import Step

_DATA = int(Kind.DATA)
ANSWERS = (int(Kind.OFFER), int(Kind.ACCEPT))


class Hub:
    """The host's end of the node link.

    card: who it is and whom it expects.  dice: private keys, nonces and session numbers, fresh at each start
    of the host: whoever starts one again with a seed puts a count of starts into the stream's name.  Raises
    BadInput for a card that cannot be.
    """

    def __init__(self, card: HostCard, dice: Dice) -> None:
        parts.check_host(card)
        self.card = card
        self._dice = dice
        self.seats = {e.address: Seat(card, e, dice) for e in card.expected}
        self.bad_frames = 0
        self.wake_us: int | None = None
        self._told: list[LinkState] = []

    @property
    def states(self) -> tuple[LinkState, ...]:
        """Each expected address as it stands, in the order of the card."""
        return tuple(seat.state for seat in self.seats.values())

    @property
    def settled(self) -> bool:
        """Whether no address is on its way: all flow, failed, or were let go."""
        return all(s.step in (Step.FLOW, Step.FAILED, Step.RELEASED) for s in self.seats.values())

    def receive(self, frame: bytes, now_us: int) -> Sequence[Samples | ClockReading | LinkState]:
        """Hear a frame; whatever it is, it raises nothing."""
        if not data.whole(frame):
            self._hear_broken(frame)
            return ()
        seat = self.seats.get(frame[4])
        if seat is None:
            return ()
        if frame[1] == _DATA:
            told: Sequence[Told] = seat.hear_data(frame, now_us)
            if seat.told:  # the trial is over: whoever asked to pair waits for the word
                told, seat.told = [*told, *seat.told], []
            if seat.watch is None or seat.watch.gaps.gaps:
                self._arm()
            return told
        heard = codec.read(frame)
        if isinstance(heard, Bad):
            self.bad_frames += 1
            return ()
        if heard.header.network != self.card.network:
            return ()
        told = seat.hear(heard, now_us)
        self._arm()
        return told

    def due(self, now_us: int) -> tuple[list[tuple[int, bytes]], list[LinkState], int | None]:
        """(address or 0 for everyone, frame) to send now, states that changed, when to ask again."""
        out: list[tuple[int, bytes]] = []
        told, self._told = self._told, []
        for seat in self.seats.values():
            if seat.wake_us is not None and seat.wake_us <= now_us:
                seat.act(now_us)
            if seat.out:
                out += seat.out
                seat.out = []
            if seat.told:
                told += seat.told
                seat.told = []
        self._arm()
        return out, told, self.wake_us

    def pair(self, address: int, now_us: int) -> None:
        """Pair an address from whatever step; with 0 all that do not flow.

        Raises BadInput: not expected.
        """
        if address:
            self._seat(address).pair(now_us)
        else:
            waiting = [s for s in self.seats.values() if s.step is not Step.FLOW]
            for place, seat in enumerate(waiting):
                seat.pair(now_us, place * SEEK_STAGGER_US)
        self._arm(now_us)

    def release(self, address: int, now_us: int) -> None:
        """Let the node at an address go.  Raises BadInput: not expected."""
        self._seat(address).release(now_us)
        self._arm(now_us)

    def instruct(self, card: HostCard, now_us: int) -> None:
        """Take another card: an address of which nothing changed goes on, any other begins anew, idle.

        A node that is no longer expected is not told; it stays bound.  Raises BadInput for a card that
        cannot be.
        """
        parts.check_host(card)
        ours = (card.host_id, card.network, card.key, card.settings, card.versions)
        mine = self.card
        same = ours == (mine.host_id, mine.network, mine.key, mine.settings, mine.versions)
        kept = {s.expected: s for s in self.seats.values()} if same else {}
        before = self.seats
        self.seats = {e.address: kept.get(e) or Seat(card, e, self._dice) for e in card.expected}
        for address, old in before.items():
            if old is not self.seats.get(address):
                detail = "" if address in self.seats else "no longer expected"
                self._told.append(LinkState(address, str(Step.IDLE), "", detail, now_us))
        for seat in self.seats.values():
            seat.card = card
        self.card = card
        self._arm(now_us)

    def _hear_broken(self, frame: bytes) -> None:
        """A frame with a wrong CRC: counted, also at the address that it may have been of."""
        self.bad_frames += 1
        if len(frame) >= SHORTEST_FRAME and frame[1] in ANSWERS and frame[5] == FROM_NODE:
            seat = self.seats.get(frame[4])
            if seat is not None and int.from_bytes(frame[2:4], "little") == self.card.network:
                seat.hear_broken()

    def _seat(self, address: int) -> Seat:
        if address not in self.seats:
            known = ", ".join(map(str, self.seats))
            raise BadInput(f"address {address} is not expected by this host", f"expected: {known}")
        return self.seats[address]

    def _arm(self, at_us: int | None = None) -> None:
        """Work out when to be asked again: at_us at the latest."""
        times = [s.wake_us for s in self.seats.values() if s.wake_us is not None]
        if at_us is not None:
            times.append(at_us)
        self.wake_us = min(times, default=None)
