"""What a case can come to, and the two ways in which a script says that it was not conforming."""

from __future__ import annotations

from enum import StrEnum


class Verdict(StrEnum):
    """What a case came to."""

    CONFORMING = "conforming"
    NOT_CONFORMING = "not conforming"
    NOT_REACHED = "not reached"


class Differs(Exception):  # a finding, not an error
    """The device under test does not do what the specification says.

    at: index of the exchanged frame that shows it; None: the newest frame, or none was there to show it.
    """

    def __init__(self, why: str, at: int | None = None) -> None:
        super().__init__(why)
        self.why, self.at = why, at


class NotReached(Exception):  # likewise
    """The case could not be brought to its point; says nothing of the device."""
