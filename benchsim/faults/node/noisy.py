"""A node whose readings have become rough."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter
from benchsim.scale.validate import DIGITISER

# Several of this fault multiply; beyond these a converter says nothing anyway.
_MOST_DENSITY, _MOST_COUNTS = DIGITISER["noise_density_v_per_rthz"][1], DIGITISER["noise_rms_counts"][1]


@fault(
    seen="the last digit never rests; motion stays on and nothing can be recorded or zeroed",
    cause="a missing shield, a supply that has lost its filter, a damaged input stage",
    confirm="join SIG+ and SIG- at the node, or put a bridge simulator on: still rough, it is the node",
    caution="switch the excitation off before you join them; never join EXC to anything",
)
@dataclass(frozen=True, slots=True)
class Noisy:
    """All noise of the node's converter made larger.  A converter without noise gets `least_counts` of it.

    Source: common practice, no source.
    """

    factor: float = parameter(500.0, None, "how many times as much noise", low=1.0, high=1e5)
    least_counts: float = parameter(10_000.0, None, "RMS counts where there was none", low=1.0, high=1e6)

    def fold(self, part: NodePart, age_us: int) -> NodePart:
        converter = part.digitiser
        if converter.noise_density_v_per_rthz:
            density = min(converter.noise_density_v_per_rthz * self.factor, _MOST_DENSITY)
            return replace(part, digitiser=replace(converter, noise_density_v_per_rthz=density))
        counts = min(converter.noise_rms_counts * self.factor or self.least_counts, _MOST_COUNTS)
        return replace(part, digitiser=replace(converter, noise_rms_counts=counts))
