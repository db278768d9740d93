"""pcapng as the draft says it: the smallest file octet for octet, and files that others read alike.

The other reader is tshark where it is installed, and always a little one made here from the draft's tables.
"""

from __future__ import annotations

import shutil
import struct
import subprocess
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchsim.ground.errors import BadInput
from benchsim.record.pcapng import (
    LINK_TYPE,
    Direction,
    Packet,
    capture_file,
    enhanced_packet,
    interface,
    is_pcapng,
    read,
    section_header,
)

# A minimal little-endian file, link type 147, one packet of five octets, computed by hand from the draft.
SMALLEST = bytes.fromhex(
    "0A0D0D0A 1C000000 4D3C2B1A 01000000 FFFFFFFF FFFFFFFF 1C000000"
    "01000000 14000000 93000000 00000000 14000000"
    "06000000 28000000 00000000 1C4A0600 5E4D3C2B 05000000 05000000 01020304 05000000 28000000"
)
T_US = 0x0006_4A1C_2B3C_4D5E

PACKETS = st.lists(
    st.builds(
        Packet,
        st.binary(max_size=60),
        st.integers(0, 2**64 - 1),
        st.sampled_from(Direction),
        st.just(LINK_TYPE),
    ),
    max_size=6,
)


def test_the_smallest_file_is_written_octet_for_octet() -> None:
    packet = Packet(bytes([1, 2, 3, 4, 5]), T_US)
    assert section_header() + interface(147) + enhanced_packet(packet) == SMALLEST


def test_the_smallest_file_is_read() -> None:
    (packet,) = read(SMALLEST).packets
    assert (packet.data, packet.t_us, packet.link_type, packet.octets) == (b"\1\2\3\4\5", T_US, 147, 5)
    assert SMALLEST[packet.offset : packet.offset + 5] == packet.data
    assert read(SMALLEST).notes == ()


def test_our_link_type_is_one_that_is_meant_for_private_use() -> None:
    # The draft's registry: 65001 to 65535 for new private use; 147 to 162 deprecated, still supported.
    assert 65_001 <= LINK_TYPE <= 65_535
    assert [Packet(b"", link_type=t).private for t in (1, 146, 147, 162, 163, 65_000, 65_001, 65_535)] == [
        False, False, True, True, False, False, True, True,
    ]  # fmt: skip


# -- another reader ------------------------------------------------------------------------------------


def plain_read(data: bytes) -> tuple[list[tuple[int, bytes, int]], dict[int, bytes]]:
    """The draft's tables and nothing else: (time, data, flags) of each packet, and the section's options."""
    at, found, said = 0, [], {}
    while at < len(data):
        kind, length = struct.unpack_from("<II", data, at)
        body = data[at + 8 : at + length - 4]
        assert length % 4 == 0
        assert struct.unpack_from("<I", data, at + length - 4) == (length,)
        if kind == 0x0A0D0D0A:
            assert at == 0
            assert struct.unpack_from("<IHHq", body) == (0x1A2B3C4D, 1, 0, -1)
            said = plain_options(body[16:])
        elif kind == 1:
            assert struct.unpack_from("<HHI", body) == (LINK_TYPE, 0, 0)
        else:
            assert kind == 6
            number, high, low, captured, whole = struct.unpack_from("<5I", body)
            assert (number, captured) == (0, whole)
            padded = 20 + captured + (4 - captured % 4) % 4
            assert not any(body[20 + captured : padded])
            flags = plain_options(body[padded:]).get(2, bytes(4))
            found.append(((high << 32) + low, body[20 : 20 + captured], int.from_bytes(flags, "little")))
        at += length
    return found, said


def plain_options(octets: bytes) -> dict[int, bytes]:
    found, at = {}, 0
    while octets:
        code, length = struct.unpack_from("<HH", octets, at)
        if code == 0:
            assert at + 4 == len(octets)
            break
        found[code] = octets[at + 4 : at + 4 + length]
        at += 4 + (length + 3) // 4 * 4
    return found


@given(PACKETS, st.text(max_size=9))
def test_a_file_is_what_the_tables_of_the_draft_say(packets: list[Packet], comment: str) -> None:
    found, said = plain_read(capture_file(packets, comment))
    assert found == [(p.t_us, p.data, p.direction) for p in packets]
    assert said == ({1: comment.encode()} if comment else {})


def test_a_file_opens_in_another_reader(tmp_path: Path) -> None:
    """The little reader reads it from the disk, and tshark does too where it is installed."""
    packets = [Packet(bytes([1, 32, 7, n]), 1_500_000 + n, Direction.INBOUND) for n in range(3)]
    path = tmp_path / "link.pcapng"
    path.write_bytes(capture_file(packets, "SIMULATED", "node link"))
    found, said = plain_read(path.read_bytes())
    assert found == [(p.t_us, p.data, 1) for p in packets]
    assert said == {1: b"SIMULATED"}
    if tshark := shutil.which("tshark"):
        fields = [w for name in ("frame.time_epoch", "frame.len", "data.data") for w in ("-e", name)]
        command = [tshark, "-r", str(path), "-T", "fields", *fields]
        done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
        rows = [line.split("\t") for line in done.stdout.splitlines()]
        assert [Decimal(time) * 1_000_000 for time, _, _ in rows] == [p.t_us for p in packets]
        assert [length for _, length, _ in rows] == ["4", "4", "4"]
        assert [bytes.fromhex(data.replace(":", "")) for _, _, data in rows] == [p.data for p in packets]


# -- what others write ---------------------------------------------------------------------------------


def block(order: str, kind: int, body: bytes) -> bytes:
    length = struct.pack(order + "I", len(body) + 12)
    return struct.pack(order + "I", kind) + length + body + length


def section(order: str, minor: int = 0) -> bytes:
    return block(order, 0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, minor, -1))


def link(order: str, options: bytes = b"") -> bytes:
    return block(order, 1, struct.pack(order + "HHI", 65_200, 0, 0) + options)


def packet(order: str, ticks: int, options: bytes = b"") -> bytes:
    head = struct.pack(order + "5I", 0, ticks >> 32, ticks & 0xFFFFFFFF, 3, 9)
    return block(order, 6, head + b"abc\0" + options)


@pytest.mark.parametrize("order", "<>")
@pytest.mark.parametrize(
    ("resolution", "ticks", "t_us"),
    [
        (6, 2_000_001, 2_000_001),
        (9, 2_000_001_999, 2_000_001),
        (3, 2_001, 2_001_000),
        (0x8A, 1_536, 1_500_000),
    ],
)
def test_times_are_read_in_any_unit_and_byte_order(
    order: str, resolution: int, ticks: int, t_us: int
) -> None:
    # Option 9: a power of ten, or of two with the top bit set.
    unit = struct.pack(order + "HHB3x", 9, 1, resolution) + bytes(4)
    (found,) = read(section(order) + link(order, unit) + packet(order, ticks)).packets
    assert (found.data, found.t_us, found.octets) == (b"abc", t_us, 9)


@pytest.mark.parametrize("order", "<>")
def test_the_direction_is_read(order: str) -> None:
    towards = struct.pack(order + "HHI", 2, 4, 2) + bytes(4)
    (found,) = read(section(order) + link(order) + packet(order, 0, towards)).packets
    assert found.direction is Direction.OUTBOUND


def test_a_time_offset_of_the_interface_is_added() -> None:
    # if_tsoffset, option 14, seconds (memory).
    later = struct.pack("<HHq", 14, 8, 1_000) + bytes(4)
    assert read(section("<") + link("<", later) + packet("<", 7)).packets[0].t_us == 1_000_000_007


def test_simple_packets_have_no_time_and_blocks_of_other_kinds_are_passed_over() -> None:
    simple = block("<", 3, struct.pack("<I", 2) + b"xy\0\0")
    other = block("<", 0x0BAD, struct.pack("<I", 1) + b"anything")
    found = read(section("<") + other + link("<") + simple + other)
    assert [(p.data, p.t_us) for p in found.packets] == [(b"xy", None)]
    assert found.notes == ()


def test_a_new_section_begins_anew_in_its_own_byte_order() -> None:
    one = section("<") + link("<") + packet("<", 1)
    two = section(">", minor=2) + link(">") + packet(">", 2)
    assert [p.t_us for p in read(one + two).packets] == [1, 2]
    lost = read(one + section("<") + packet("<", 3))
    assert [p.t_us for p in lost.packets] == [1]
    assert "interface 0, which is not there" in lost.notes[0]


def test_a_section_of_a_version_that_nobody_knows_is_left_out() -> None:
    unknown = section("<", minor=1) + link("<") + packet("<", 1)
    found = read(unknown + section("<") + link("<") + packet("<", 2))
    assert [p.t_us for p in found.packets] == [2]
    assert "version 1.1" in found.notes[0]


def test_what_is_no_pcapng_is_bad_input() -> None:
    assert not is_pcapng(b"\x0a\x0d")
    with pytest.raises(BadInput, match="no pcapng"):
        read(b"\xd4\xc3\xb2\xa1" + bytes(20))


@pytest.mark.parametrize("cut", range(4, len(SMALLEST)))
def test_a_file_that_is_cut_says_where_and_gives_what_is_whole(cut: int) -> None:
    found = read(SMALLEST[:cut])
    assert found.packets == ()
    whole_blocks = cut in (28, 48)
    assert (found.notes == ()) == whole_blocks
    assert all("read up to there" in note or "magic" in note for note in found.notes)


@given(st.data())
def test_a_damaged_file_never_raises(data: st.DataObject) -> None:
    good = capture_file(data.draw(PACKETS), "c", "n")
    wrong = bytearray(good)
    for _ in range(data.draw(st.integers(1, 4))):
        wrong[data.draw(st.integers(4, len(good) - 1))] = data.draw(st.integers(0, 255))
    found = read(bytes(wrong))
    assert all(p.data == bytes(wrong[p.offset : p.offset + len(p.data)]) for p in found.packets)


def test_what_follows_a_bad_packet_is_still_read() -> None:
    lying = block("<", 6, struct.pack("<5I", 0, 0, 0, 400, 400) + b"abcd")
    found = read(section("<") + link("<") + lying + block("<", 6, b"") + packet("<", 5))
    assert [p.t_us for p in found.packets] == [5]
    assert len(found.notes) == 2
