"""Whether a link is good enough: a first pairing is on trial until so many samples were sent.

Only what is authentic counts, on both sides of the share, so that no forger can move it.
"""

from __future__ import annotations

from benchsim.ground.clock import SECOND_US
from benchsim.link.limits import TRIAL_FRAMES, TRIAL_PERCENT, TRIAL_US


class Trial:
    """The samples of a flow up to the trial's end: how many were sent, and how many came at first sending.

    begins: the first sample of the flow.  taken: of the counter of samples taken, as it stands then.
    """

    __slots__ = ("_begins", "_k", "_needed", "_taken")

    def __init__(self, samples_per_frame: int, rate_hz: int, begins: int, taken: int) -> None:
        self._k, self._begins, self._taken = samples_per_frame, begins, taken
        self._needed = max(TRIAL_FRAMES * samples_per_frame, TRIAL_US * rate_hz // SECOND_US)

    def skip(self, samples: int) -> None:
        """So many samples were sent while the address was lost: they do not count."""
        self._begins += samples

    def over(self, next_sample: int) -> bool:
        """Whether the host knows of enough samples: all before next_sample were sent."""
        return next_sample - self._begins >= self._needed

    def verdict(self, next_sample: int, taken: int) -> str:
        """Why the link is too poor, in words; "" when it will do."""
        sent, came = next_sample - self._begins, taken - self._taken
        if 100 * came >= TRIAL_PERCENT * sent:
            return ""
        frames = f"{came // self._k} of {sent // self._k} frames"
        return f"{100 * came // sent} % came at first sending, {frames}; {TRIAL_PERCENT} % is the least"
