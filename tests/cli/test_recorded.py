"""The verb decode on a recording: each frame as it set out and as it arrived; as text, JSON and pcapng."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from benchsim.cli.annotated import WIDTH
from benchsim.cli.recorded import KINDS
from benchsim.record.sightings import Sighting, Sightings
from tests.cli.calls import Call

LOSSY = """\
title: t
seed: 4
lasts: 12 s
scale: {capacity: 3 t, interval: 1 kg}
cells: {count: 8}
nodes: {strangers: [{strap: 1, network: 9}]}
link: {loss: 5 %, bit errors: 60 ppm, duplicates: 5 %, delay: 4 ms, jitter: 3 ms, replays: 5 %}
"""


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A lossy link with a replayer on it, and a stranger's node in hearing."""
    from benchsim.scenario.run import run

    folder = tmp_path_factory.mktemp("recorded")
    (folder / "s.yaml").write_text(LOSSY, "utf-8")
    run(folder / "s.yaml", record=folder / "run.mcap")
    return folder / "run.mcap"


@pytest.fixture(scope="module")
def seen(recording: Path) -> list[Sighting]:
    return list(Sightings(recording))


def frames_of(call: Call, *words: str, code: int = 1) -> list[dict[str, Any]]:
    done = call("decode", *words, "--json")
    assert (done.code, done.err) == (code, "")
    document = json.loads(done.out)
    assert list(document) == ["frames"]
    told: list[dict[str, Any]] = document["frames"]
    return told


def octets_of(frame: dict[str, Any]) -> int:
    last = frame["fields"][-1]
    return int(last["offset"]) + (4 if last["name"] == "crc" else 0)


def test_json_has_every_sighting_with_the_keys_of_a_capture_first(
    call: Call, recording: Path, seen: list[Sighting]
) -> None:
    told = frames_of(call, str(recording))
    own = ["t_us", "node", "direction", "seen", "sent_us", "arrives"]
    assert {tuple(t) for t in told} == {("offset", "kind", "fields", "valid", "why", *own)}
    for frame, one in zip(told, seen, strict=True):
        assert (frame["t_us"], frame["node"], frame["sent_us"]) == (one.t_us, one.node, one.sent_us)
        assert frame["direction"] == ("node to host" if one.to_host else "host to node")
        assert frame["seen"] == ("arrived" if one.arrived else "set out")
        assert [(a["t_us"], not a["changed"]) for a in frame["arrives"]] == list(one.arrives)


def test_what_set_out_is_good_and_what_was_damaged_says_where_and_why(
    call: Call, recording: Path, seen: list[Sighting]
) -> None:
    told = frames_of(call, str(recording))
    bad = [(frame, one) for frame, one in zip(told, seen, strict=True) if not frame["valid"]]
    assert len(bad) > 3
    for frame, one in bad:
        assert one.arrived
        wrong = [at for at, (a, b) in enumerate(zip(one.octets, one.sent, strict=True)) if a != b]
        flips = sum((one.octets[at] ^ one.sent[at]).bit_count() for at in wrong)
        if flips == 1:
            assert f"of the octet at {wrong[0]}" in frame["why"]
        assert "CRC-32C is 0x" in frame["why"]


def test_a_replayed_frame_is_good_and_not_what_set_out(recording: Path, seen: list[Sighting]) -> None:
    starts = {s.sent for s in seen if not s.arrived}
    replayed = [s for s in seen if s.arrived and s.changed and s.octets in starts]
    assert replayed
    assert all(s.fate().endswith("not as it set out") for s in replayed)


def test_the_stranger_s_node_is_told_apart_from_the_one_on_its_address(call: Call, recording: Path) -> None:
    """Both hear what the host sends to address 1; the stranger, of another network, only refuses."""
    told = [t for t in frames_of(call, str(recording), "--address", "1") if t["seen"] == "set out"]
    kinds = {node: {t["kind"] for t in told if t["node"] == node} for node in (1, 2, 3)}
    assert kinds[3] <= kinds[1] | {"refuse"}
    assert {t["kind"] for t in told if t["node"] == 3 and t["direction"] == "node to host"} == {"refuse"}
    assert {"offer", "accept", "data", "echo"} <= kinds[1]
    assert kinds[2] == {"seek"}


def test_the_text_fits_80_columns_and_tells_what_became_of_each(
    call: Call, recording: Path, seen: list[Sighting]
) -> None:
    done = call("decode", str(recording))
    assert (done.code, done.err) == (1, "")
    lines = done.out.splitlines()
    assert max(map(len, lines)) <= WIDTH
    assert lines[0] == "       0  seek, host to node, 70 octets, 0 s  good"
    assert lines[1].startswith("          set out for node 1, ")
    assert lines[2] == "       0  01                       version           1, the host's lowest"
    heads = [
        line for line in lines if line.startswith("       0  ") and line.endswith((" s  good", " s  BAD"))
    ]
    assert len(heads) == len(seen)
    assert sum(line.endswith(", lost on its way") for line in lines) == sum(
        not s.arrived and not s.arrives for s in seen
    )
    good = sum(line.endswith("good") for line in heads)
    assert lines[-2] == f"{len(seen)} found, read as a recording: {good} good, {len(seen) - good} bad"
    assert lines[-1].startswith("Simulated")


def test_the_fields_of_a_frame_are_told_once_unless_its_start_is_not_shown(
    call: Call, recording: Path
) -> None:
    both = call("decode", str(recording), "--kind", "echo").out
    at_host = call("decode", str(recording), "--kind", "echo", "--at", "host").out
    assert both.count("  crc  ") < both.count(" octets, ")
    assert at_host.count("  crc  ") == at_host.count(" octets, ") > 20


def test_what_arrived_damaged_is_told_with_all_its_fields(call: Call, recording: Path) -> None:
    blocks = call("decode", str(recording)).out.split("\n\n")
    bad = [block for block in blocks if block.splitlines()[0].endswith("BAD")]
    assert len(bad) > 3
    assert all("  tag  " in block and "  crc  " in block for block in bad if "  data, node" in block)


def test_a_frame_that_arrived_in_another_s_place_counts_as_both(
    call: Call, recording: Path, seen: list[Sighting]
) -> None:
    kinds = {number: kind for kind, number in KINDS.items()}
    odd = next(s for s in seen if kinds.get(s.octets[1], s.sent[1]) != kinds[s.sent[1]])
    for kind in (kinds[odd.octets[1]], kinds[odd.sent[1]]):
        done = call(
            "decode", str(recording), "--kind", kind, "--at", "host" if odd.at_host else "node", "--json"
        )
        told = json.loads(done.out)["frames"]
        assert (odd.t_us, odd.node, odd.octets.hex()[2:4]) in {
            (t["t_us"], t["node"], f"{t['fields'][1]['value']:02x}") for t in told
        }


def test_the_whole_can_be_told_without_fields(call: Call, recording: Path, seen: list[Sighting]) -> None:
    lines = call("decode", str(recording), "--brief").out.splitlines()
    heads = [line for line in lines if line.startswith("       0  ")]
    assert len(heads) == len(seen)
    assert not [line for line in lines if "  crc  " in line]
    assert any("right but for one" in line for line in lines)


def test_a_recording_is_narrowed_by_time_address_kind_and_end(
    call: Call, recording: Path, seen: list[Sighting]
) -> None:
    path = str(recording)
    span = frames_of(call, path, "--from", "2.5 s", "--until", "3500 ms", "--at", "node", code=0)
    assert [t["t_us"] for t in span] == [
        s.t_us for s in seen if 2_500_000 <= s.t_us <= 3_500_000 and not s.at_host
    ]
    beats = call("decode", path, "--kind", "beat", "--kind", "echo", "--address", "2", "--json").out
    told = json.loads(beats)["frames"]
    assert {t["kind"] for t in told if t["seen"] == "set out"} == {"beat", "echo"}
    assert {t["node"] for t in told} == {2}
    from_host = frames_of(call, path, "--at", "host")
    assert {(t["direction"], t["seen"]) for t in from_host} == {
        ("host to node", "set out"),
        ("node to host", "arrived"),
    }


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--kind", "dats"], "unknown kind 'dats'; did you mean 'data'?"),
        (["--from", "12"], "'12' has no unit; write a time, as '12 s'"),
        (["--until", "1 kg"], "kg"),
        (["--from", "1 h"], "run.mcap: none of its frames is asked for; it has frames from 0 s to 1"),
        (["--address", "17"], "17 is not in the range"),
        (["--json", "--pcapng", "x"], "choose one"),
        (["--json", "--brief"], "choose one"),
    ],
)
def test_what_cannot_be_asked_for_is_told(call: Call, recording: Path, words: list[str], said: str) -> None:
    done = call("decode", str(recording), *words)
    assert (done.code, done.out) == (2, "")
    assert said in " ".join(done.err.split())


def test_pcapng_holds_what_is_printed_and_is_read_back_as_the_same_frames(
    call: Call, recording: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.pcapng"
    narrowed = [str(recording), "--from", "1 s", "--until", "4 s"]
    done = call("decode", *narrowed, "--pcapng", str(out))
    told = frames_of(call, *narrowed)
    assert (done.code, done.err) == (0, "")
    assert done.out.startswith(f"{len(told)} packets of link type 65200 in {out}. Simulated weights")
    back = frames_of(call, str(out))

    def shape(frame: dict[str, Any]) -> tuple[Any, ...]:
        base = frame["offset"]
        fields = [(f["offset"] - base, f["name"], f["value"], f["meaning"]) for f in frame["fields"]]
        return frame["kind"], fields, frame["valid"]

    assert [shape(t) for t in back] == [shape(t) for t in told]
    assert list(back[0]) == ["offset", "kind", "fields", "valid", "why"]


def test_an_older_capture_makes_room_and_nothing_else_does(
    call: Call, recording: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out"
    words = ["decode", str(recording), "--kind", "seek", "--pcapng", str(out)]
    assert call(*words).code == call(*words).code == 0
    size = out.stat().st_size
    out.write_text("title: mine")
    done = call(*words)
    assert done.code == 2
    assert f"{out} is there and is not a pcapng capture; name another file" in done.err
    assert (out.read_text(), size > 500) == ("title: mine", True)
    assert call("decode", str(recording), "--pcapng", str(recording)).code == 2
    assert call("decode", str(recording), "--kind", "gone", "--pcapng", str(tmp_path / "none")).code in (0, 2)


def test_a_disk_that_is_full_is_told(call: Call, recording: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    full = Path("/dev/full").open("wb")  # noqa: SIM115  # closed by whom it is given to
    monkeypatch.setattr("benchsim.record.newfile.new_file", lambda *_: full)
    done = call("decode", str(recording), "--pcapng", "full")
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith("full: No space left on device; write where there is room")


def test_a_recording_that_is_cut_or_damaged_is_told_as_far_as_it_goes(
    call: Call, recording: Path, tmp_path: Path
) -> None:
    octets = recording.read_bytes()
    cut = tmp_path / "cut.mcap"
    cut.write_bytes(octets[: len(octets) // 2])
    done = call("decode", str(cut), "--json")
    assert done.code in (0, 1)
    assert json.loads(done.out)["frames"]
    assert "cut.mcap: the file is cut off: " in done.err
    assert "the end of the run: the last thing in it is at" in done.err
    damaged = bytearray(octets)
    damaged[len(octets) // 2] ^= 0xFF
    cut.write_bytes(damaged)
    done = call("decode", str(cut))
    assert "is damaged" in done.err
    assert " frames\n" in done.err


@pytest.mark.parametrize("content", [b"\x89MCAP0\r\n" + bytes(40), b"\x89MCAP0\r\n"])
def test_what_only_begins_as_a_recording_is_bad_input(call: Call, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "run.mcap").write_bytes(content)
    done = call("decode", str(tmp_path / "run.mcap"))
    assert (done.code, done.out) == (2, "")
    assert "run.mcap " in done.err


def test_a_recording_that_keeps_no_frames_says_how_to_have_them(call: Call, recording: Path) -> None:
    kept = recording.with_name("less.mcap")
    scenario = recording.with_name("s.yaml")
    assert call("run", str(scenario), "--record", str(kept), "--record-depth", "indications").code == 0
    done = call("decode", str(kept))
    assert (done.code, done.out) == (2, "")
    assert done.err == (
        f"{kept} is a recording that keeps no frames of the link; "
        "record the run again with --record-depth frames\n"
    )
