"""Hosts that pass over one row of section 3 each: they take what is wrong in one way as if it were right."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from benchsim.link import codec
from benchsim.link.data import whole
from benchsim.link.frames import FROM_NODE, Kind
from benchsim.link.hub import Hub
from benchsim.link.limits import CRC_OCTETS, HEADER_OCTETS, TAG_OCTETS
from benchsim.link.session import Session
from tests.mutants.odd_host import wrong

_NOT_A_FRAME = HEADER_OCTETS + CRC_OCTETS + TAG_OCTETS


class Lenient(Hub):
    """Puts right what it shall not notice, and tags it anew: only for frames whose tag was right before."""

    def mend(self, body: bytearray, session: Session) -> None:
        """Change a body to what this host takes it for."""

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        if len(frame) > _NOT_A_FRAME and whole(frame):
            body, tag = frame[: -CRC_OCTETS - TAG_OCTETS], frame[-CRC_OCTETS - TAG_OCTETS : -CRC_OCTETS]
            for seat in self.seats.values():
                session = None if seat.watch is None else seat.watch.session
                if session is not None and session.into.fits(body, tag):
                    mended = bytearray(body)
                    self.mend(mended, session)
                    frame = codec.seal(bytes(mended), session.into.tag(bytes(mended)))
                    break
        return super().receive(frame, now_us)


@wrong("host-a-wrong-crc-is-dropped")
class ChecksNoCrc(Hub):
    """Takes frames whose CRC is wrong."""

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        return super().receive(codec.seal(frame[:-CRC_OCTETS]), now_us)


@wrong("host-a-frame-of-an-address-not-expected-is-dropped")
class ChecksNoAddress(Lenient):
    """Takes frames of another address for those of the session that they name."""

    def mend(self, body: bytearray, session: Session) -> None:
        if body[4] not in self.seats:
            body[4] = session.address


@wrong("host-frames-of-one-address-move-no-other")
class GoesBySessionOnly(Lenient):
    """Finds the address of a frame by its session number."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[4] = session.address


@wrong("host-a-field-out-of-range-is-dropped")
class ChecksNoFlags(Lenient):
    """Looks at one bit of the flags and passes over the others."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[5] &= FROM_NODE


@wrong("host-an-unknown-kind-is-dropped")
class TakesUnknownKindsForData(Lenient):
    """Takes every kind that it does not know for data."""

    def mend(self, body: bytearray, session: Session) -> None:
        if body[1] not in set(Kind):
            body[1] = Kind.DATA


@wrong("host-a-frame-of-the-wrong-direction-is-dropped")
class ChecksNoDirection(Lenient):
    """Takes data without the flag of a node."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[5] |= FROM_NODE


@wrong("host-a-frame-of-the-wrong-length-is-dropped")
class ChecksNoLength(Lenient):
    """Reads as much of a data frame as it needs and passes over what follows."""

    def mend(self, body: bytearray, session: Session) -> None:
        if body[1] == Kind.DATA and len(body) > 32:
            del body[32 + body[31] + 4 * body[30] * body[31] :]


@wrong("host-a-frame-of-another-network-is-dropped")
class ChecksNoNetwork(Lenient):
    """Takes frames of other networks."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[2:4] = session.network.to_bytes(2, "little")


@wrong("host-a-frame-of-another-session-or-version-is-dropped")
class ChecksNoSession(Lenient):
    """Takes frames of other sessions."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[6:10] = session.number.to_bytes(4, "little")


@wrong("host-a-frame-of-another-session-or-version-is-dropped")
class ChecksNoVersion(Lenient):
    """Takes frames of other versions."""

    def mend(self, body: bytearray, session: Session) -> None:
        body[0] = session.version


@wrong("host-a-clock-of-no-number-is-dropped")
class ChecksNoClock(Lenient):
    """Takes whatever a data frame says of its clock."""

    def mend(self, body: bytearray, session: Session) -> None:
        if body[1] == Kind.DATA:
            body[29] &= 0x3F


@wrong("host-a-wrong-tag-is-dropped")
class ChecksNoTag(Hub):
    """Takes data whatever their tag is."""

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        seat = self.seats.get(frame[4]) if len(frame) > _NOT_A_FRAME and whole(frame) else None
        if seat is not None and seat.watch is not None and frame[1] == Kind.DATA:
            body = frame[: -CRC_OCTETS - TAG_OCTETS]
            frame = codec.seal(body, seat.watch.session.into.tag(body))
        return super().receive(frame, now_us)


@wrong("host-a-control-frame-with-a-wrong-tag-is-dropped")
class ChecksNoTagOfControl(Hub):
    """Checks the tags of data only."""

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        seat = self.seats.get(frame[4]) if len(frame) > _NOT_A_FRAME and whole(frame) else None
        if seat is not None and seat.watch is not None and frame[1] in (Kind.GONE, Kind.REPEAT, Kind.ECHO):
            body = frame[: -CRC_OCTETS - TAG_OCTETS]
            frame = codec.seal(body, seat.watch.session.into.tag(body))
        return super().receive(frame, now_us)


@wrong("host-a-frame-of-the-wrong-length-is-dropped")
class ReadsNoFurtherThanItNeeds(Hub):
    """Looks at no octet behind the fields of an echo or of a gone with one range."""

    NEEDS: ClassVar = {int(Kind.ECHO): 24, int(Kind.GONE): 11}

    def receive(self, frame: bytes, now_us: int) -> Sequence[Any]:
        body = frame[: -CRC_OCTETS - TAG_OCTETS]
        seat = self.seats.get(frame[4]) if len(frame) > _NOT_A_FRAME and whole(frame) else None
        if seat is not None and seat.watch is not None and frame[1] in self.NEEDS:
            body = body[: HEADER_OCTETS + self.NEEDS[frame[1]]]
            if len(body) < len(frame) - CRC_OCTETS - TAG_OCTETS:
                frame = codec.seal(body + seat.watch.session.into.tag(body))
        return super().receive(frame, now_us)


@wrong("host-a-frame-of-the-wrong-length-is-dropped")
class ReadsNoFurtherThanAGoneNeeds(ReadsNoFurtherThanItNeeds):
    """The same, of a gone alone."""

    NEEDS: ClassVar = {int(Kind.GONE): 11}
