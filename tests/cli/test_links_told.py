"""What `run` prints of each radio and cable, and that the air of a run is what was printed."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest

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


def test_a_run_prints_what_a_bare_rate_comes_to(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text(GOOD + "link: {rate: {bits: 100 kbit/s}, delay: 3 ms, bit errors: 0.01 %}\n", "utf-8")
    # 176 octets of 8 bits at 100 kbit/s: 14.08 ms; 7 more samples of 12.5 ms, and the delay; 1 - (1-p)^1408
    told = (
        "node 1: 100000 bit/s, PER 0.13 for 176 octets, air time 14.1 ms (14 % of the time), latency 105 ms"
    )
    assert f"     {told} at k = 8\n" in call("run", str(file)).out
    link = json.loads(call("run", str(file), "--json").out)["scenarios"][0]["links"][0]
    assert (link["bits_per_s"], link["air_us"], link["latency_us"]) == (100_000, 14_080, 104_580)
    assert link["frame_error"] == pytest.approx(1 - (1 - 1e-4) ** 1408, rel=1e-5)


def test_each_k_is_told_with_its_air_time_and_its_latency(call: Call) -> None:
    """Closed forms for a serial line: 10 bits an octet, two octets around a frame; (k - 1) / 80 s to fill."""
    ways = {w["way"]: w for w in json.loads(call("protocols", "nodelink", "--json").out)["ways"]}
    assert list(ways) == ["spread radio", "fsk radio", "serial line"]
    ks = [row["samples_per_frame"] for row in ways["serial line"]["batching"]]
    assert ks == [1, 2, 4, 8, 16, 40, 80]
    for row in ways["serial line"]["batching"]:
        k = row["samples_per_frame"]
        octets = 14 + 18 + 4 + 16 * k + 12
        air_us = math.ceil((octets + 2) * 10 / 115_200 * 1e6)
        assert (row["octets"], row["air_us"]) == (octets, air_us)
        assert row["latency_us"] == (k - 1) * 12_500 + air_us
        assert row["busy"] == pytest.approx(air_us * 80 / k / 1e6)


def test_the_printed_table_says_the_same(call: Call) -> None:
    out = call("protocols", "nodelink").out
    rows = {
        m[1]: m[2] for m in re.finditer(r"^(\d+) +\d+ +.*?(\S+ ms, \S+ %, \S+ m?s) *$", out, re.MULTILINE)
    }
    assert list(rows) == ["1", "2", "4", "8", "16", "40", "80"]
    assert rows["8"] == "15.5 ms, 15.5 %, 103 ms"  # 1780 bits at 115.2 kbit/s, of 100 ms; and 87.5 ms more


def test_a_run_without_radio_or_cable_prints_no_link(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "s.yaml"
    file.write_text(GOOD + "link: {loss: 1 %}\n", "utf-8")
    assert "node 1:" not in call("run", str(file)).out
