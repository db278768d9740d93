"""Octets of a port that marks what came damaged, and the way back to octets and damages.

A POSIX terminal with PARMRK set hands on an octet with a parity or framing error as FF 00 octet, a break
as FF 00 00, and a good FF as FF FF.  Source: POSIX.1 General Terminal Interface, Input Modes (c_iflag).
"""

from __future__ import annotations

import termios

_IFLAG = 0


def mark_damage(descriptor: int) -> None:
    """Have the terminal mark what came damaged.  Raises OSError, termios.error."""
    settings = termios.tcgetattr(descriptor)
    settings[_IFLAG] |= termios.INPCK | termios.PARMRK
    settings[_IFLAG] &= ~(termios.IGNPAR | termios.IGNBRK | termios.BRKINT | termios.ISTRIP)
    termios.tcsetattr(descriptor, termios.TCSANOW, settings)


class Marked:
    """Undoes the marks; they may be cut anywhere."""

    __slots__ = ("_held",)

    def __init__(self) -> None:
        self._held = b""

    def feed(self, data: bytes) -> list[bytes | None]:
        """Runs of good octets in order, None for each damaged one or break between them."""
        data = self._held + data
        self._held = b""
        found: list[bytes | None] = []
        good = bytearray()
        at = 0
        while (mark := data.find(b"\xff", at)) >= 0:
            good += data[at:mark]
            code = data[mark + 1 : mark + 3]
            if code[:1] != b"\x00" and code:
                good += b"\xff"
                at = mark + 2
            elif len(code) == 2:
                found += [bytes(good)] if good else []
                found.append(None)
                good.clear()
                at = mark + 3
            else:
                self._held = data[mark:]
                at = len(data)
                break
        good += data[at:]
        return [*found, bytes(good)] if good else found
