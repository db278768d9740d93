"""The frames of a recording come out as they were seen, in order of time, however the file was treated."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import pytest
from mcap.writer import Writer

from benchsim.ground.errors import BadInput
from benchsim.record.frames import Carried, encode_frames
from benchsim.record.sightings import Sighting, Sightings
from benchsim.record.writer import Recorder
from tests.record.kept import END_US, a_run, framed_head, keep, some_frames
from tests.record.runs import head, trace
from tests.record.test_damage import chunks_of


def kept(path: Path, frames: list[Carried] | None = None) -> Path:
    keep(path, a_run(), header=framed_head(), frames=some_frames() if frames is None else frames)
    return path


def seen_in(path: Path) -> tuple[list[Sighting], tuple[str, ...]]:
    sightings = Sightings(path)
    return list(sightings), sightings.missing


def expected(rows: list[Carried], before_us: int = END_US + 1) -> list[tuple[int, int, bool, bytes]]:
    """What is seen: (time, way, whether it arrived, octets), worked out in the plainest way."""
    starts = [(t_us, way, False, octets) for way, t_us, octets, _ in rows]
    ends = [(t_us, way, True, octets) for way, _, _, arrivals in rows for t_us, octets in arrivals]
    return sorted(one for one in starts + ends if one[0] < before_us)


def plain(seen: list[Sighting]) -> list[tuple[int, int, bool, bytes]]:
    return sorted((s.t_us, 2 * (s.node - 1) + (not s.to_host), s.arrived, s.octets) for s in seen)


def test_every_frame_is_seen_as_it_set_out_and_as_it_arrived(tmp_path: Path) -> None:
    """But what arrives after the end of the run, which nobody saw."""
    seen, missing = seen_in(kept(tmp_path / "run"))
    assert missing == ()
    assert plain(seen) == expected(some_frames())
    assert len(seen) < len(expected(some_frames(), 2 * END_US))
    assert [s.t_us for s in seen] == sorted(s.t_us for s in seen)


def test_what_became_of_a_frame_is_said_where_it_sets_out(tmp_path: Path) -> None:
    seen, _ = seen_in(kept(tmp_path / "run"))
    assert [(s.whereabouts(), s.fate()) for s in seen if not s.arrived][:5] == [
        ("set out from node 1", "arrives after 4 ms"),
        ("set out for node 1", "lost on its way"),
        ("set out from node 2", "arrives after 4 ms and after 5 ms"),
        ("set out for node 2", "arrives as other octets after 4 ms"),
        ("set out from node 1", "arrives after 1500 ms"),
    ]
    arrived = [(s.whereabouts(), s.fate()) for s in seen if s.arrived]
    assert arrived[:4] == [
        ("arrived from node 1", "4 ms on its way"),
        ("arrived from node 2", "4 ms on its way"),
        ("arrived from node 2", "5 ms on its way"),
        ("arrived at node 2", "4 ms on its way, not as it set out"),
    ]


def test_a_sighting_is_at_one_end_of_its_way(tmp_path: Path) -> None:
    seen, _ = seen_in(kept(tmp_path / "run"))
    words = {s.whereabouts().rsplit(" ", 1)[0]: s.at_host for s in seen}
    assert words == {
        "set out from node": False, "arrived from node": True, "set out for node": True,
        "arrived at node": False,
    }  # fmt: skip


def test_one_that_is_not_late_at_all_arrives_at_once(tmp_path: Path) -> None:
    seen, _ = seen_in(kept(tmp_path / "run", [(0, 70, b"x", [(70, b"x")])]))
    assert [s.fate() for s in seen] == ["arrives at once", "0 ms on its way"]


def test_at_one_instant_what_arrives_comes_before_what_sets_out(tmp_path: Path) -> None:
    seen, _ = seen_in(kept(tmp_path / "run", [(0, 10, b"x", [(30, b"x")]), (1, 30, b"y", [])]))
    assert [(s.t_us, s.arrived) for s in seen] == [(10, False), (30, True), (30, False)]


def test_seconds_in_the_wrong_order_are_told(tmp_path: Path) -> None:
    rows = some_frames()
    with (tmp_path / "odd").open("wb") as file:
        writer = Writer(file, chunk_size=1)
        writer.start()
        writer.add_metadata("benchsim", framed_head().metadata())
        channel = writer.register_channel("frames", "x-benchsim-frames", 0)
        for second, block in enumerate((rows[8:16], rows[:8])):
            writer.add_message(channel, second * 10**9, encode_frames(block), 0)
        writer.finish()  # type: ignore[no-untyped-call]
    seen, missing = seen_in(tmp_path / "odd")
    assert "the second from 1 s is damaged" in missing
    assert [s.sent for s in seen if not s.arrived] == [frame for _, _, frame, _ in rows[8:16]]


@pytest.mark.skipif(not Path("/proc/self/mem").exists(), reason="needs a file that opens and cannot be read")
def test_a_file_that_cannot_be_read_is_told() -> None:
    with pytest.raises(BadInput, match=r"/proc/self/mem: .*; name a recording that can be read"):
        seen_in(Path("/proc/self/mem"))


def test_of_a_recording_cut_off_anywhere_all_whole_seconds_are_seen(tmp_path: Path) -> None:
    octets = kept(tmp_path / "run").read_bytes()
    rows, cut, counts = some_frames(), tmp_path / "cut", set()
    for size in range(octets.index(b"title: A test\n") + 200, octets.index(b"benchsim.end"), 23):
        cut.write_bytes(octets[:size])
        seen, missing = seen_in(cut)
        starts = [s.sent for s in seen if not s.arrived]
        assert starts == [frame for _, _, frame, _ in rows[: len(starts)]]
        assert "the end of the run" in missing[-1]
        counts.add(len(starts))
    assert counts == {0, 8, 16, 24, 32, 40}


def test_a_damaged_second_is_told_and_the_others_are_seen(tmp_path: Path) -> None:
    octets = kept(tmp_path / "run").read_bytes()
    start, length = chunks_of(octets)[2]
    rows = [row for row in some_frames() if not 2_000_000 <= row[1] < 3_000_000]
    for place in range(start, start + length, 37):
        damaged = bytearray(octets)
        damaged[place] ^= 0x41
        (tmp_path / "damaged").write_bytes(damaged)
        seen, missing = seen_in(tmp_path / "damaged")
        assert missing[:2] == ("the second from 2 s is damaged", "8 of 40 frames")
        assert plain(seen) == expected(rows)


def test_a_recording_without_frames_says_how_to_have_them(tmp_path: Path) -> None:
    keep(tmp_path / "run", a_run(), frames=some_frames())
    with pytest.raises(BadInput, match=r"keeps no frames of the link; .*--record-depth frames"):
        seen_in(tmp_path / "run")


def test_a_recording_of_a_run_in_which_nothing_was_sent_has_none(tmp_path: Path) -> None:
    keep(tmp_path / "run", trace(), header=framed_head())
    assert seen_in(tmp_path / "run") == ([], ())


def test_frames_that_nobody_asked_for_are_not_kept(tmp_path: Path) -> None:
    assert keep(tmp_path / "a", a_run(), frames=some_frames()) == keep(tmp_path / "b", a_run(), header=head())


def test_a_long_recording_is_walked_through_in_little_memory(tmp_path: Path) -> None:
    def peak(seconds: int) -> int:
        with Recorder(tmp_path / "run", framed_head()) as recorder:
            for number in range(100 * seconds):
                octets, t_us = bytes([number % 251]) * 1000, 10_000 * number
                recorder.frames.append((0, t_us, octets, [(t_us + 5_000, octets)]))
            recorder.finish(trace(), seconds * 1_000_000)
        tracemalloc.start()
        count = sum(1 for _ in Sightings(tmp_path / "run"))
        _, most = tracemalloc.get_traced_memory()
        tracemalloc.stop()
        assert count == 200 * seconds
        return most

    assert peak(20) < 1.5 * peak(2)
