"""A stream of octets to whole frames and back: COBS (Cheshire and Baker, 1997), each frame ended by 0x00.

After any disturbance the next 0x00 brings both ends together again.  An end may send a 0x00 before its
first frame to clear the line: nothing between two zeros is no frame.
"""

from __future__ import annotations

from cobs import cobs

from benchsim.link.limits import LONGEST_FRAME

END = b"\0"
# COBS adds one octet, and one more for each full 254.
LONGEST_ENCODED = LONGEST_FRAME + LONGEST_FRAME // 254 + 1


def to_stream(frame: bytes) -> bytes:
    """One frame as it goes on a stream."""
    encoded: bytes = cobs.encode(frame)
    return encoded + END


class Deframer:
    """Takes a stream in whatever pieces it comes, gives frames.  Keeps no more than one frame's octets.

    dropped: how many runs between zeros were no COBS or too long to be a frame.
    """

    __slots__ = ("_kept", "_skipping", "dropped")

    def __init__(self) -> None:
        self._kept = bytearray()
        self._skipping = False
        self.dropped = 0

    def feed(self, octets: bytes) -> list[bytes]:
        """The frames that these octets complete.  Whatever comes, it raises nothing."""
        frames: list[bytes] = []
        *ended, rest = octets.split(END)
        for run in ended:
            self._keep(run)
            self._end(frames)
        self._keep(rest)
        return frames

    def _keep(self, run: bytes) -> None:
        if self._skipping:
            return
        self._kept += run
        if len(self._kept) > LONGEST_ENCODED:
            self._kept.clear()
            self._skipping = True

    def _end(self, frames: list[bytes]) -> None:
        if self._skipping:
            self.dropped += 1
        elif self._kept:
            try:
                frames.append(cobs.decode(bytes(self._kept)))
            except cobs.DecodeError:
                self.dropped += 1
        self._kept.clear()
        self._skipping = False
