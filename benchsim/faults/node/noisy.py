"""A node whose readings have become rough."""

from __future__ import annotations

from dataclasses import dataclass, replace

from benchsim.faults.fault import NodePart, fault, parameter


@fault(
    seen="the last digit never rests; motion stays on and nothing can be recorded or zeroed",
    cause="a missing shield, a supply that has lost its filter, a damaged input stage",
    confirm="short the node's inputs, or put a simulator on: if it is still rough, it is the node",
    caution="switch the excitation off before you short an input",
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
            density = converter.noise_density_v_per_rthz * self.factor
            return replace(part, digitiser=replace(converter, noise_density_v_per_rthz=density))
        counts = converter.noise_rms_counts * self.factor or self.least_counts
        return replace(part, digitiser=replace(converter, noise_rms_counts=counts))
