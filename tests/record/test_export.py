"""A recording's frames as pcapng, opened by readers that are none of ours: same octets, times, directions.

The readers are python-pcapng, always, and tshark where it is installed.
"""

from __future__ import annotations

import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import pcapng
import pytest
from pcapng.blocks import EnhancedPacket, InterfaceDescription, SectionHeader

from benchsim.record.export import capture_of
from benchsim.record.pcapng import Direction, read
from benchsim.record.sightings import Sighting, Sightings
from tests.record.kept import a_run, framed_head, keep, some_frames

NAMES = ["at node 1", "at the host, node 1", "at node 2", "at the host, node 2"]


@pytest.fixture
def exported(tmp_path: Path) -> tuple[Path, list[Sighting]]:
    keep(tmp_path / "run", a_run(), header=framed_head(), frames=some_frames())
    seen = list(Sightings(tmp_path / "run"))
    (tmp_path / "run.pcapng").write_bytes(b"".join(capture_of(framed_head(), seen)))
    return tmp_path / "run.pcapng", seen


def test_another_reader_sees_the_same_octets_and_times(exported: tuple[Path, list[Sighting]]) -> None:
    path, seen = exported
    with path.open("rb") as file:
        section, *blocks = list(pcapng.FileScanner(file))
    assert isinstance(section, SectionHeader)
    assert section.options["opt_comment"].startswith("SIMULATED")
    interfaces = [b for b in blocks if isinstance(b, InterfaceDescription)]
    assert [i.options["if_name"] for i in interfaces] == NAMES
    assert all(i.options["if_description"].startswith("SIMULATED: serial number") for i in interfaces)
    assert all(65_001 <= i.link_type <= 65_535 for i in interfaces)
    packets = [b for b in blocks if isinstance(b, EnhancedPacket)]
    assert len(packets) + len(interfaces) == len(blocks)
    assert [p.packet_data for p in packets] == [s.octets for s in seen]
    assert [round(p.timestamp * 1_000_000) for p in packets] == [s.t_us for s in seen]
    assert all(p.interface.timestamp_resolution == 1e-6 for p in packets)
    for packet, one in zip(packets, seen, strict=True):
        flags = packet.options["epb_flags"]
        assert flags.inout == ("inbound" if one.arrived else "outbound")
        place = f"at the host, node {one.node}" if one.at_host else f"at node {one.node}"
        assert packet.interface.options["if_name"] == place


def test_what_the_channel_did_is_a_comment_on_the_packet(exported: tuple[Path, list[Sighting]]) -> None:
    path, seen = exported
    with path.open("rb") as file:
        packets = [b for b in pcapng.FileScanner(file) if isinstance(b, EnhancedPacket)]
    said = {}
    for packet, one in zip(packets, seen, strict=True):
        said[one.fate()] = packet.options.get("opt_comment", "")
    assert said["lost on its way"] == "SIMULATED: lost on its way"
    assert said["arrives as other octets after 4 ms"] == "SIMULATED: arrives as other octets after 4 ms"
    assert said["arrives after 4 ms and after 5 ms"].startswith("SIMULATED: arrives")
    assert said["4 ms on its way, not as it set out"].startswith("SIMULATED: 4 ms")
    assert said["arrives after 4 ms"] == said["4 ms on its way"] == ""


def test_it_is_read_back_as_it_was(exported: tuple[Path, list[Sighting]]) -> None:
    path, seen = exported
    found = read(path.read_bytes())
    assert found.notes == ()
    for packet, one in zip(found.packets, seen, strict=True):
        assert (packet.data, packet.t_us) == (one.octets, one.t_us)
        assert packet.direction is (Direction.INBOUND if one.arrived else Direction.OUTBOUND)
        assert packet.interface == NAMES[2 * (one.node - 1) + one.at_host]
        assert packet.comment in ("", f"SIMULATED: {one.fate()}")


@pytest.mark.skipif(shutil.which("tshark") is None, reason="tshark is not installed")
def test_tshark_sees_the_same(exported: tuple[Path, list[Sighting]]) -> None:
    path, seen = exported
    names = ("frame.time_epoch", "frame.len", "frame.interface_name", "frame.packet_flags", "data.data")
    fields = [word for name in names for word in ("-e", name)]
    command = ["tshark", "-r", str(path), "-T", "fields", *fields]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    rows = [line.split("\t") for line in done.stdout.splitlines()]
    assert [Decimal(row[0]) * 1_000_000 for row in rows] == [s.t_us for s in seen]
    assert [int(row[1]) for row in rows] == [len(s.octets) for s in seen]
    assert [row[2] for row in rows] == [NAMES[2 * (s.node - 1) + s.at_host] for s in seen]
    assert [int(row[3], 0) for row in rows] == [1 if s.arrived else 2 for s in seen]
    assert [bytes.fromhex(row[4].replace(":", "")) for row in rows] == [s.octets for s in seen]
