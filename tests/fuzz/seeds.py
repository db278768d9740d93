"""Writes the seeds: what a fuzzer begins with, from the vectors, the scenarios and the forms that ship.

`python -m tests.fuzz.seeds` writes them; look at the difference before you commit it.  A test replays them
and wants every target to get as far as it says.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchsim.checks.forms import FORMS
from benchsim.ground.library import profiles_folder, shipped
from benchsim.link.frames import Kind
from benchsim.record import container, pcapng
from benchsim.record.frames import Carried, encode_frames
from benchsim.record.pcapng import Direction, Packet
from benchsim.serve import typed
from tests.fuzz import seeds_of_ends
from tests.fuzz.of_files import documents
from tests.fuzz.pieces import some
from tests.fuzz.sown import BAD, FRAMES, KINDS, MADE, STREAM, TOLD, Seeds, seeds
from tests.fuzz.targets import SEEDS, TARGETS
from tests.nested import ways
from tests.record.kept import a_run, keep

# -- octets --------------------------------------------------------------------------------------------


@seeds("stream")
def _stream() -> Seeds:
    long = bytes(range(1, 255)) * 6
    return {"all": b"\7" + STREAM, "torn": b"\0" + STREAM[3:400] + b"\0\0\5ab\0" + long + b"\0" + STREAM[:90]}


@seeds("capture")
def _capture() -> Seeds:
    one, other = FRAMES[0], FRAMES[7]
    wrong = bytearray(other)
    wrong[20] ^= 4
    return {
        "stream": STREAM,
        "datagrams": b"".join(FRAMES),
        "no-zeros": STREAM.replace(b"\0", b""),
        "bad-datagrams": b"".join(BAD) + one,
        "one-bit": bytes(wrong),
        "cut": b"\0" + STREAM[:50] + b"\0" + STREAM[60:200],
        "too-long": b"\1\1" * 800 + STREAM[:300],
    }


@seeds("capture-frames")
def _capture_frames() -> Seeds:
    laid = {
        f"as-{how}": b"".join(bytes([how]) + some(f[:-4]) for f in FRAMES[:9]) for how in (1, 2, 3, 0x2A, 5)
    }
    return laid | {"between": b"".join(bytes([n % 6]) + some(f[:-4]) for n, f in enumerate(FRAMES))}


@seeds("explain")
def _explain() -> Seeds:
    found = {told["name"]: bytes.fromhex(told["frame"]) for told in TOLD}
    wrong = bytearray(found["beat"])
    wrong[4] = 99
    return found | {
        "strange-address": bytes(wrong[:-4]),
        "cut": found["data"][:60],
        "unknown": b"\1\x7f" * 12,
    }


@seeds("hex-text")
def _hex_text() -> Seeds:
    head = FRAMES[0]
    dump = "\n".join(
        f"{at:08x}: {head[at : at + 16].hex(' ', -2)}  ........" for at in range(0, len(head), 16)
    )
    return {
        "plain": head.hex(" ").encode(),
        "dump": dump.encode(),
        "lines": "\n".join(f"0x{f.hex()}" for f in FRAMES[:3]).encode(),
        "wrong": b"01 02 0g\n",
        "odd": b"012",
    }


@seeds("pcapng")
def _pcapng() -> Seeds:
    sides = (Direction.OUTBOUND, Direction.INBOUND)
    packets = [Packet(f, 1_000 * n, sides[n % 2]) for n, f in enumerate(FRAMES[:8])]
    whole = pcapng.capture_file(packets, "a capture", "link")
    simple = pcapng._block(pcapng.SIMPLE, b"\x20\0\0\0" + FRAMES[0][:32])
    return {"capture": whole, "cut": whole[:-30], "simple": pcapng.capture_file([]) + simple}


@seeds("pcapng-blocks")
def _pcapng_blocks() -> Seeds:
    interface = b"\xb0\xfe" + bytes(6) + b"\x09\0\1\0\x09\0\0\0\x0e\0\x08\0" + b"\xff" * 8 + bytes(4)
    packet = bytes(12) + b"\x10\0\0\0\x10\0\0\0" + FRAMES[0][:16] + b"\2\0\4\0\1\0\0\0"
    simple = b"\x10\0\0\0" + FRAMES[1][:16]

    def blocks(*made: tuple[int, bytes]) -> bytes:
        return b"".join(bytes([how]) + some(content) for how, content in made)

    script = blocks((0, b""), (1, interface), (3, packet), (2, simple), (4, b"note"), (3, b"x"), (130, b"y"))
    return {"little": b"\0" + script, "big": b"\1" + script}


@seeds("decode")
def _decode() -> Seeds:
    capture = _pcapng()["capture"]
    return {
        "capture": b"\0" + capture, "json": b"\1" + capture, "stream": b"\0" + STREAM[:600],
        "hex": b"\1" + FRAMES[6].hex().encode(), "empty": b"\0", "noise": b"\0" + b"\xfe" * 1400,
    }  # fmt: skip


@seeds("marked")
def _marked() -> Seeds:
    return {"marks": b"\1ab\xff\0c\xff\xffd\xff\0\0e\xff\0", "plain": b"\3\nW\r"}


# -- frames --------------------------------------------------------------------------------------------


@seeds("codec")
def _codec() -> Seeds:
    named = {told["name"]: frame for told, frame in zip(TOLD, FRAMES, strict=True)}
    return {n: bytes([KINDS.index(Kind(f[1])), 0]) + f[:-4] for n, f in named.items()}


@seeds("data-batch")
def _data_batch() -> Seeds:
    plain = b"".join(bytes([2]) + n.to_bytes(2, "little") * 2 + b"ab" for n in (0, 1, 3, 2, 2, 90, 20))
    twisted = b"\x22\4\0\4\0ab\6\0\1" + b"\x42\5\0\5\0ab\2\4" + b"\x22\6\0\6\0ab\x1e\0\3"
    return {"in-order": b"\7\3" + plain, "twisted": b"\0\0" + plain + twisted}


@seeds("data")
def _data() -> Seeds:
    good = next(f for told, f in zip(TOLD, FRAMES, strict=True) if told["name"] == "data")
    return {"data": good[:-12], "beat": FRAMES[5][:-12]}


# -- words ---------------------------------------------------------------------------------------------


@seeds("sentence")
def _sentence() -> Seeds:
    return {f"{n:02}": b"\1" + form.example.encode() for n, form in enumerate(FORMS)}


@seeds("quantity")
def _quantity() -> Seeds:
    said = (
        "18.4 t",
        "-1e3 kg",
        "300 m",
        "80 Hz",
        "5 %",
        ".5 mV/V",
        "1_000 us",
        "3 d",
        "7",
        "x",
        "1e999999 kg",
    )
    return {f"{n:02}": text.encode() for n, text in enumerate(said)}


@seeds("typed")
def _typed() -> Seeds:
    said = [form.partition(" (")[0] for form in typed.FORMS.values()]
    said += [
        "place block 500 kg over cell 3", "move block over 7",
        'place "block 2" 500 kg', "place block 2 500 kg",
        "drive truck 6.8 t, 10.9 t 4 m, 18.6 t 9 m at 20 km/h",
        "fault wet-connector on cell 3 with resistance 2 Mohm",
        "fault mud as m # why", "pair node 2", "release 0", "plaec x 1 t", "end",
    ]  # fmt: skip
    return {f"{n:02}": text.encode() for n, text in enumerate(said)}


@seeds("scp0499")
def _scp0499() -> Seeds:
    letters = "".join(f"\n{letter}\r" for letter in "WZDABHPQRSTMCUIN").encode()
    data = b"\nT      1200\r\nT  abc\r\nUkg\r\nUlb\r\nW\r\n\x1b\nW\rW\r" + b"\n" + b"x" * 70 + b"\r"
    done = {f"shown-{n}": bytes([2, n]) + some(letters) + bytes([0, n, 6, n]) + some(data) for n in range(10)}
    return done | {"spoiled": b"\2\1" + some(b"\nR") + b"\1\1\2\1" + some(b"\nR\r") + b"\0\1\0\4"}


# -- files ---------------------------------------------------------------------------------------------


@seeds("scenario")
def _scenario() -> Seeds:
    found = {path.stem: path.read_bytes() for path in sorted(shipped("scenarios").glob("*.yaml"))}
    small = {n: found[n] for n in ("stranger-in-hearing", "two-on-one-address", "truck-on-six-cells")}
    return small | {
        "wrong": b"title: a\nscale: {capacity: 3 t, interval: 7 kg}\ntimeline: [{at: 1 s, zero: &a x}, *a]\n",
        "scalars": b"title: 'a'\nscale: [0x1f, 0o7, 1e3, .inf, ~, yes, 012, 1:30, -.5, \"x\\u00e9\"]\n",
    }


@seeds("scenario-values")
def _scenario_values() -> Seeds:
    made = {}
    for n, document in enumerate(documents()):
        every = list(ways(document))
        numbers = [
            every.index(way) for way in every if way and way[-1] in ("capacity", "at", "nodes", "fault")
        ]
        for value, at in zip((b"3 t", b"-1", b"[]", b"1e9"), numbers, strict=False):
            made[f"{n:02}-{at}"] = bytes([n]) + at.to_bytes(2, "little") + some(value)
    return dict(sorted(made.items())[::4]) | {"00": b"\0"}


@seeds("profile")
def _profile() -> Seeds:
    whole = (profiles_folder() / "r76-iii.toml").read_bytes()
    return {
        "r76-iii": whole,
        "cut": whole[:700],
        "no-toml": b"a = [1,\n[x",
        "head": b'title = "x"\n[motion]\nx = 1',
        "base": b'base = "hb44-iii"\ntitle = "x"\n[intervals]\nn_max = { value = 3, mark = "seen" }',
        "built-on": b'base = "r76-i"\ntitle = "x"\nzero.underload_d = { value = 3 }',
    }


@seeds("profile-lines")
def _profile_lines() -> Seeds:
    lines = (profiles_folder() / "r76-iii.toml").read_text("utf-8").splitlines()
    at = [n for n, line in enumerate(lines) if line.startswith(("bands", "stages", "motion_band_d", "n_min"))]
    other = ('{ value = [[1, 2], [0, 3]], clause = "x", mark = "seen" }', "{ value = nan }", "7", "{}")
    return {
        f"{n}-{m}": bytes([n]) + some(f"{lines[n].split('=')[0]}= {value}".encode())
        for n in at
        for m, value in enumerate(other)
    }


@seeds("recording")
def _recording() -> Seeds:
    with tempfile.TemporaryDirectory() as folder:
        whole = keep(Path(folder) / "r.mcap", a_run(), [1_000_000, 2_500_000])
    return {"whole": whole, "cut": whole[: len(whole) * 2 // 3]}


@seeds("recording-frames")
def _recording_frames() -> Seeds:
    rows: list[Carried] = [
        (n % 4, 1_000 * n, frame, [(1_000 * n + 40, frame), (1_000 * n + 90, FRAMES[0])][: n % 3])
        for n, frame in enumerate(FRAMES[:8])
    ]
    return {"frames": b"\4" + encode_frames(rows), "none": b"\1" + encode_frames([])}


@seeds("recording-content")
def _recording_content() -> Seeds:
    run = a_run()
    columns = run.columns()
    block = container.encode_columns(columns, 0, 3)
    reasons = container.encode_reasons(0, columns.reasons)
    events, links = container.encode_events(run.events[:1]), container.encode_links(run.link_states[:1])
    told = ((0, reasons), (5, block), (2, events), (3, links), (16, _recording_frames()["frames"][1:]))
    whole = b"".join(bytes([how, 1]) + some(content) for how, content in told)
    end = b"\x08\0" + some(b"5000000")
    return {"whole": b"\0" + whole + end, "other-head": b"\2\1" + some(b"9") + b"\4" + some(b"x") + whole}


def main() -> None:
    """Write them all."""
    assert set(MADE) == set(TARGETS), seeds_of_ends.__doc__
    for name, make in MADE.items():
        folder = SEEDS / name
        folder.mkdir(parents=True, exist_ok=True)
        for old in folder.iterdir():
            old.unlink()
        for seed, octets in make().items():
            (folder / seed).write_bytes(octets)


if __name__ == "__main__":
    main()
