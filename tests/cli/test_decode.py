"""The verb decode: whatever holds the octets, the same frames, in JSON and for people, and a fitting code."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from benchsim.cli.annotated import WIDTH
from benchsim.ground.library import shipped
from benchsim.record.pcapng import Packet, capture_file
from tests.cli.calls import Call

VECTORS = json.loads((shipped("protocols") / "nodelink" / "vectors.json").read_text("utf-8"))
GOOD = [f for group in ("pairing", "refuse", "flow", "resume") for f in VECTORS[group]]
FRAMES = [bytes.fromhex(f["frame"]) for f in GOOD]
STREAM = b"".join(bytes.fromhex(f["stream"]) for f in GOOD)
BEAT = next(f for f in GOOD if f["name"] == "beat")
BAD = [bytes.fromhex(f["frame"]) for f in VECTORS["bad"]]


def put(folder: Path, octets: bytes) -> str:
    path = folder / "capture"
    path.write_bytes(octets)
    return str(path)


def pipe(monkeypatch: pytest.MonkeyPatch, octets: bytes) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(octets)))


def test_json_is_frames_with_five_keys_and_nothing_else(call: Call, tmp_path: Path) -> None:
    done = call("decode", put(tmp_path, STREAM), "--json")
    document = json.loads(done.out)
    assert (done.code, done.err, list(document)) == (0, "", ["frames"])
    for told, vector in zip(document["frames"], GOOD, strict=True):
        assert list(told) == ["offset", "kind", "fields", "valid", "why"]
        assert (told["kind"], told["valid"], told["why"]) == (vector["name"], True, "")
        assert all(list(f) == ["offset", "name", "value", "meaning"] for f in told["fields"])
        header = {f["name"]: f["value"] for f in told["fields"][:7]}
        assert header == vector["header"]


@pytest.mark.parametrize("key", ["frame", "stream"])
def test_file_text_digits_and_stdin_say_the_same(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, key: str
) -> None:
    digits = BEAT[key]
    octets = bytes.fromhex(digits)
    said = call("decode", digits, "--json").out
    assert len(json.loads(said)["frames"]) == 1
    assert call("decode", put(tmp_path, octets), "--json").out == said
    assert call("decode", put(tmp_path, octets.hex(" ").encode() + b"\n"), "--json").out == said
    for content in (octets, digits.encode()):
        pipe(monkeypatch, content)
        assert call("decode", "-", "--json").out == said


def test_a_bad_frame_is_told_and_ends_with_1(call: Call) -> None:
    wrong = bytearray.fromhex(BEAT["frame"])
    wrong[16] ^= 0x40
    done = call("decode", wrong.hex(), "--json")
    assert done.code == 1
    (told,) = json.loads(done.out)["frames"]
    assert (told["kind"], told["valid"]) == ("beat", False)
    assert told["why"].endswith("right but for one bit, 0x40 of the octet at 16")
    shown = call("decode", wrong.hex())
    assert shown.code == 1
    assert "BAD" in shown.out
    assert "0x40 of the octet at 16" in " ".join(shown.out.split())


def test_a_stream_goes_on_behind_a_bad_frame(call: Call, tmp_path: Path) -> None:
    first = bytes.fromhex(GOOD[0]["stream"])
    done = call("decode", put(tmp_path, first[:40] + STREAM), "--json")
    told = json.loads(done.out)["frames"]
    assert done.code == 1
    assert [t["kind"] for t in told if t["valid"]] == [f["name"] for f in GOOD]


@pytest.mark.parametrize("octets", [*FRAMES, *BAD[:-1], STREAM, bytes(20) + b"noise \xff" * 60])
def test_the_text_fits_80_columns(call: Call, tmp_path: Path, octets: bytes) -> None:
    done = call("decode", put(tmp_path, octets))
    assert done.code in (0, 1)
    assert max(map(len, done.out.splitlines())) <= WIDTH == 80


def test_the_text_fits_80_columns_far_into_a_capture(call: Call, tmp_path: Path) -> None:
    done = call("decode", put(tmp_path, bytes(10_000_000) + STREAM))
    assert done.code == 0
    assert done.out.startswith("10000000  seek, host to node")
    assert max(map(len, done.out.splitlines())) <= WIDTH


def test_of_noise_longer_than_any_frame_the_text_shows_the_beginning_and_json_all(
    call: Call, tmp_path: Path
) -> None:
    path = put(tmp_path, b"\x07" * 2000)
    assert "and 1968 more" in call("decode", path).out
    (told,) = json.loads(call("decode", path, "--json").out)["frames"]
    assert told["fields"][0]["value"] == "07" * 2000


def test_the_text_has_a_head_and_each_field_beside_its_octets(call: Call) -> None:
    data = next(f for f in GOOD if f["name"] == "data")
    lines = call("decode", data["frame"]).out.splitlines()
    assert lines[0] == "       0  data, node to host, 176 octets  good"
    assert "       0  01                       version           1, version the node chose" in lines
    assert "      32  00 00 01 04              status            channel 1 good; channel 2" in lines
    # The vector's note: channel 3 at its upper stop, channel 4 open; samples rise by 1000 a row.
    assert "      36  00 00 00 00 60 79 fe ff  samples           8 rows of 4 channels" in lines
    assert any(line.endswith("1: 1000 -99000 -199000") for line in lines)
    assert lines[-1] == "1 found, read as bare datagrams: 1 good, 0 bad"
    shown = [line[10:33] for line in lines[1:-1]]
    assert bytes.fromhex("".join(shown)) == bytes.fromhex(data["frame"])


def test_frames_in_pcapng_are_told_with_number_and_time(call: Call, tmp_path: Path) -> None:
    packets = [Packet(frame, 1_500_000 + n) for n, frame in enumerate(FRAMES)]
    path = put(tmp_path, capture_file(packets))
    done = call("decode", path, "--json")
    assert (done.code, done.err) == (0, "")
    told = json.loads(done.out)["frames"]
    assert [t["kind"] for t in told] == [f["name"] for f in GOOD]
    content = Path(path).read_bytes()
    assert all(content[t["offset"] :].startswith(f) for t, f in zip(told, FRAMES, strict=True))
    assert "seek, host to node, 70 octets, packet 1, 1.5 s  good" in call("decode", path).out


def test_packets_that_are_bad_empty_foreign_or_cut_are_told(call: Call, tmp_path: Path) -> None:
    packets = [Packet(FRAMES[0]), Packet(b""), Packet(FRAMES[0][:30], octets=70)]
    content = capture_file(packets)
    done = call("decode", put(tmp_path, content[:-4]), "--json")
    assert done.code == 1
    assert [t["valid"] for t in json.loads(done.out)["frames"]] == [True, False]
    assert "is cut off" in done.err
    done = call("decode", put(tmp_path, content))
    assert done.code == 1
    assert done.err == "packet 3 was captured only in part: 30 of 70 octets\n"
    foreign = content.replace((65_200).to_bytes(2, "little"), (1).to_bytes(2, "little"), 1)
    done = call("decode", put(tmp_path, foreign))
    assert (done.code, done.out) == (2, "")
    assert "capture: left out: 3 packets of link type 1;" in done.err


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "it is empty"),
        (bytes(50), "no frame in it"),
        (b"title: a scenario\n", "line 1, column 1: 't' is no hexadecimal digit"),
        (b"\x0a\x0d\x0d\x0a" + bytes(40), "the pcapng block at 0 says it has 0 octets"),
    ],
)
def test_what_cannot_be_read_is_bad_input(call: Call, tmp_path: Path, content: bytes, said: str) -> None:
    path = put(tmp_path, content)
    done = call("decode", path, "--json")
    assert (done.code, done.out) == (2, "")
    assert f"{path}: {said}" in done.err


def test_a_recording_on_stdin_is_asked_for_by_its_name(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    pipe(monkeypatch, b"\x89MCAP0\r\n" + bytes(40))
    done = call("decode", "-")
    assert (done.code, done.out) == (2, "")
    assert done.err == "stdin: a recording; name its file: it is read a piece at a time\n"


@pytest.mark.parametrize(
    "words", [["--kind", "data"], ["--from", "1 s"], ["--pcapng", "out"], ["--at", "host"], ["--brief"]]
)
def test_what_is_for_recordings_is_refused_for_others(call: Call, tmp_path: Path, words: list[str]) -> None:
    path = put(tmp_path, STREAM)
    done = call("decode", path, *words)
    assert (done.code, done.out) == (2, "")
    assert "all options but --json are for recordings, and this is none" in " ".join(done.err.split())
    assert [p.name for p in tmp_path.iterdir()] == ["capture"]


def test_where_a_packet_was_seen_and_its_comment_are_told(call: Call, tmp_path: Path) -> None:
    packets = [Packet(FRAMES[0], 1_500_000, comment="SIMULATED: lost on its way")]
    shown = call("decode", put(tmp_path, capture_file(packets, name="at node 1"))).out
    assert shown.splitlines()[1] == "          at node 1, SIMULATED: lost on its way"


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("none.bin", "none.bin: No such file or directory; name a file, or write hexadecimal digits"),
        ("01020", "01020: line 1: 5 hexadecimal digits; an octet is two"),
        (".", ".: Is a directory"),
        ("", ": "),
    ],
)
def test_what_is_neither_a_file_nor_digits_is_bad_input(call: Call, word: str, said: str) -> None:
    done = call("decode", word)
    assert (done.code, done.out) == (2, "")
    assert done.err.startswith(said)


def test_digits_longer_than_any_file_s_name_are_digits(call: Call) -> None:
    data = next(f for f in GOOD if f["name"] == "data")
    assert len(data["stream"]) > 255
    assert call("decode", data["stream"]).code == 0
    assert len(call("decode", data["stream"] + "0").err) < 200
