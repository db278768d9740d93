"""Where figures end: above the overload limit and below the underload limit nothing is shown.

Source: HB 44 S.1.7(a) (percent of capacity, gross, what the initial zero took out not counted),
R 76-1 4.2.3 (Max + 9 e), underload: common practice, no source; the figures are the profile's.
"""

from __future__ import annotations

from decimal import Decimal

from benchsim.host.parts import HostParts
from benchsim.rules.profile import Profile


def counted_d(parts: HostParts, profile: Profile) -> Decimal:
    """What the profile's limits count, in d: e / d where they count e, else 1."""
    if profile.limits_count_in == "d" or parts.verification_interval is None:
        return Decimal(1)
    return parts.verification_interval / parts.interval


class Limits:
    """over_d, under_d: the largest and the smallest gross shown, in counts of d."""

    __slots__ = ("over_d", "under_d")

    def __init__(self, profile: Profile, capacity_d: int, counted: Decimal) -> None:
        self.over_d = profile.overload_limit_d(capacity_d, counted)
        self.under_d = -int(profile.underload_d * counted)
