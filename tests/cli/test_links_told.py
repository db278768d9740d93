"""What `run` prints of each radio and cable, and that the air of a run is what was printed."""

from __future__ import annotations

from pathlib import Path

from benchsim.link.impairments.bit_errors import BitErrors
from benchsim.scenario.build import assemble
from benchsim.scenario.loader import load
from tests.cli.calls import GOOD, Call

RADIO = "link: {radio: {distance: 420 m, path: free space, power: -8 dBm}}\n"


def test_a_run_prints_the_budget_of_each_radio(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text(GOOD + RADIO, "utf-8")
    done = call("run", str(file))
    # ITU-R P.525: 32.4478 + 20 log 2450 + 20 log 0.42 = 92.696 dB; -110.965 + 10 + 0.404 dBm is needed
    assert "     node 1: 420 m, -100.7 dBm, margin -0.1 dB, PER " in done.out
    assert "for 176 octets, air time 6.72 ms (7 % of the time), latency 94.4 ms at k = 8\n" in done.out
    made = assemble(load(file))
    errors = made.plan.nodes[0].up[1]
    assert isinstance(errors, BitErrors)
    assert errors.frame_error(176) == made.ways[0][1].figures.frame_error


def test_a_run_without_radio_or_cable_prints_no_link(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text(GOOD + "link: {loss: 1 %}\n", "utf-8")
    assert "node 1:" not in call("run", str(file)).out
