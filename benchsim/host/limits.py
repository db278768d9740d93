"""Where figures end: above the overload limit and below the underload limit nothing is shown.

Source: HB 44 S.1.7(a) (percent of capacity, gross, what the initial zero took out not counted),
R 76-1 4.2.3 (Max + 9 e), underload: common practice, no source; the figures are the profile's.
"""

from __future__ import annotations

from benchsim.rules.profile import Profile


class Limits:
    """over_d, under_d: the largest and the smallest gross shown, in counts of d."""

    __slots__ = ("over_d", "under_d")

    def __init__(self, profile: Profile, capacity_d: int) -> None:
        self.over_d = profile.overload_limit_d(capacity_d)
        self.under_d = -profile.underload_d
