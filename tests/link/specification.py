"""Writes the parts of the specification that are made from the code: definition, tables, vectors.

`python -m tests.link.specification` writes them; the tests only compare.  Look at the difference before
you commit it: a change here is a change of the protocol.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

from cobs import cobs

from benchsim.ground.library import shipped
from benchsim.link import codec, data, frames, keys
from benchsim.link.codec import Frame
from benchsim.link.definition import describe, tables
from benchsim.link.frames import FROM_NODE, Header, Kind, RefuseReason
from benchsim.link.pairing import HostExchange, NodeExchange
from benchsim.link.parts import Expected, HostCard, NodeCard
from benchsim.link.session import Session

FOLDER = shipped("protocols") / "nodelink"

KEY = bytes.fromhex("000102030405060708090a0b0c0d0e0f")
HOST_PRIVATE = bytes(range(0x20, 0x40))
NODE_PRIVATE = bytes(range(0x40, 0x60))
HOST_NONCE = bytes(range(0x60, 0x70))
NODE_NONCE = bytes(range(0x70, 0x80))
NUMBER = 0x5EED_0001
HOST = HostCard(0x0011_2233_4455_6677, 7, KEY, (Expected(3, 4),))
NODE = NodeCard(
    0x8899_AABB_CCDD_EEFF, 3, 7, KEY, firmware=(1, 4), fingerprint=bytes(range(8)), buffer_samples=1024
)
NEXT_SAMPLE = 24


def toml_text() -> str:
    """The definition file."""
    said = describe()
    lines = [
        "# The node link for programs: limits, header, and every message with its fields in order.",
        "# All numbers are little-endian and unpadded; README.md says the same for people.",
        "",
    ]
    lines += [f"{k} = {_value(said[k])}" for k in ("name", "version", "byte_order")]
    for part in ("limits", "refuse_reasons"):
        lines += ["", f"[{part}]", *(f"{k} = {_value(v)}" for k, v in said[part].items())]
    lines += ["", *(_inline("[[header]]", f) for f in said["header"])]
    for message in said["message"]:
        lines += ["", "[[message]]"]
        lines += [f"{k} = {_value(v)}" for k, v in message.items() if k != "fields"]
        lines += ["fields = [", *(f"  {_table(f)}," for f in message["fields"]), "]"]
    return "\n".join(lines) + "\n"


def _inline(head: str, field: dict[str, Any]) -> str:
    return "\n".join([head, *(f"{k} = {_value(v)}" for k, v in field.items())])


def _table(field: dict[str, Any]) -> str:
    return "{ " + ", ".join(f"{k} = {_value(v)}" for k, v in field.items()) + " }"


def _value(value: object) -> str:
    return str(value) if isinstance(value, int) and not isinstance(value, bool) else json.dumps(value)


def filled(text: str) -> str:
    """The prose with each generated table in its place, between <!-- table: name --> and <!-- end -->."""
    made = tables()

    def put(match: re.Match[str]) -> str:
        return f"<!-- table: {match[1]} -->\n{made[match[1]]}\n<!-- end -->"

    return re.sub(r"<!-- table: ([\w-]+) -->\n.*?<!-- end -->", put, text, flags=re.DOTALL)


# -- vectors -------------------------------------------------------------------------------------------


def _read(frame: bytes) -> Frame:
    heard = codec.read(frame)
    assert isinstance(heard, Frame), heard
    return heard


def _told(frame: bytes, note: str = "") -> dict[str, Any]:
    """One frame as the vectors tell it."""
    heard = _read(frame)
    header = {n: getattr(heard.header, n) for n in Header.__slots__}
    fields = {
        f.name: _plain(getattr(heard.message, f.name)) for f in codec.layout_of(type(heard.message)).fields
    }
    told: dict[str, Any] = {"name": Kind(heard.header.kind).name.lower()}
    if note:
        told["note"] = note
    return told | {
        "header": header,
        "fields": fields,
        "tag": heard.tag.hex(),
        "frame": frame.hex(),
        "stream": (cobs.encode(frame) + b"\0").hex(),
    }


def _plain(value: object) -> object:
    return value.hex() if isinstance(value, bytes) else value


def _pair() -> tuple[list[bytes], Session, Session, dict[str, str]]:
    """A whole pairing: its four frames, both sessions, and every value on the way."""
    host = HostExchange(HOST, HOST.expected[0], NUMBER, HOST_PRIVATE)
    seek = _read(host.seek_frame)
    assert isinstance(seek.message, frames.Seek)
    node = NodeExchange(NODE, seek.message, seek.body, NUMBER, 1, 0, NODE_PRIVATE)
    offer = _read(node.offer_frame)
    prove_frame = host.prove(offer)
    assert prove_frame is not None
    prove = _read(prove_frame)
    assert isinstance(prove.message, frames.Prove)
    of_node = node.proven(prove, prove.message, NEXT_SAMPLE)
    accept = _read(node.accept_frame)
    assert isinstance(accept.message, frames.Accept)
    of_host = host.accepted(accept, accept.message)
    assert of_node is not None
    assert of_host is not None
    shared = keys.agree(HOST_PRIVATE, keys.public_of(NODE_PRIVATE))
    assert shared is not None
    master = keys.extract(KEY, shared)
    heard = keys.transcript(seek.body, offer.body)
    proofs = keys.proof_keys(master, heard)
    whole = keys.transcript(seek.body, offer.body, prove.body, accept.body)
    secret = keys.resume_secret(master, whole)
    first = keys.session_keys(secret, 0)
    second = keys.session_keys(secret, 1, HOST_NONCE, NODE_NONCE)
    steps = {
        "pairing_key": KEY, "host_private": HOST_PRIVATE, "host_public": keys.public_of(HOST_PRIVATE),
        "node_private": NODE_PRIVATE, "node_public": keys.public_of(NODE_PRIVATE), "shared": shared,
        "master": master, "transcript_of_offer": heard, "host_proof_key": proofs.host,
        "node_proof_key": proofs.node, "transcript_of_accept": whole, "session_secret": secret,
        "resume_key": keys.resume_key(secret), "epoch_0_up": first.up, "epoch_0_down": first.down,
        "epoch_1_host_nonce": HOST_NONCE, "epoch_1_node_nonce": NODE_NONCE, "epoch_1_up": second.up,
        "epoch_1_down": second.down,
    }  # fmt: skip
    spoken = [host.seek_frame, node.offer_frame, prove_frame, node.accept_frame]
    return spoken, of_host, of_node, {k: v.hex() for k, v in steps.items()}


def _samples(k: int, channels: int) -> bytes:
    return b"".join(
        (1000 * row - 100_000 * channel).to_bytes(4, "little", signed=True)
        for row in range(k)
        for channel in range(channels)
    )


def _data(session: Session, kind: Kind, sequence: int, first: int) -> bytes:
    cut = (1_000_000 + 12_500 * first, bytes([0, 0, 1, 4]), _samples(8, 4))
    return data.make(session, kind, sequence, first, cut, 8)


def vectors() -> dict[str, Any]:
    """The whole vectors file."""
    spoken, of_host, of_node, steps = _pair()
    refuse = codec.seal(
        codec.body_of(
            Header(1, Kind.REFUSE, 7, 3, FROM_NODE, NUMBER, 0),
            frames.Refuse(RefuseReason.BOUND, NODE.serial, 7, 1, 1),
        )
    )
    flow = [
        _told(of_host.control_frame(frames.Beat(5_000_000))),
        _told(of_node.control_frame(frames.Echo(5_000_000, 4_700_123, 24))),
        _told(_data(of_node, Kind.DATA, 0, 24), "8 samples; channel 3 at its upper stop, channel 4 open"),
        _told(_data(of_node, Kind.DATA, 2, 40), "the frame of samples 32 to 39 was lost before this one"),
        _told(of_host.control_frame(frames.Again(((32, 8), (3, 5))))),
        _told(_data(of_node, Kind.REPEAT, 1, 32)),
    ]
    of_node.sequence = 2
    flow.append(_told(of_node.control_frame(frames.Gone(((3, 5),)))))
    flow.append(_told(of_host.control_frame(frames.Release(9_000_000))))
    flow.append(_told(of_node.control_frame(frames.Released(9_000_000))))
    resume = of_host.resume_frame(frames.Resume(1, HOST_NONCE))
    resumed = of_node.resume_frame(frames.Resumed(1, HOST_NONCE, NODE_NONCE, 400))
    for end in (of_host, of_node):
        end.turn(1, HOST_NONCE, NODE_NONCE)
    return {
        "about": "Test vectors of the node link, version 1.  Hexadecimal, in wire order.  stream: the frame "
        "in COBS with its 0x00.  Keys here are for tests only.",
        "keys": steps,
        "pairing": [_told(f) for f in spoken],
        "refuse": [_told(refuse)],
        "flow": flow,
        "resume": [
            _told(resume),
            _told(resumed),
            _told(_data(of_node, Kind.DATA, 0, 400), "the first frame under the keys of epoch 1"),
        ],
        "bad": _bad(bytes.fromhex(flow[2]["frame"]), spoken),
    }


def _mended(content: bytes) -> bytes:
    return codec.seal(content)


def _bad(good: bytes, spoken: list[bytes]) -> list[dict[str, str]]:
    """Frames that are no frames, and what is done with them: all are dropped, nothing is answered."""
    body, seek = good[:-4], spoken[0][:-4]
    crossed = bytearray(seek)
    crossed[5] = 1
    cases = {
        "cut: the last octet is missing": good[:-1],
        "CRC: one bit of a sample is inverted": good[:60] + bytes([good[60] ^ 0x10]) + good[61:],
        "tag: one bit of a sample is inverted, CRC made right": _mended(
            body[:60] + bytes([body[60] ^ 0x10]) + body[61:]
        ),
        "tag: another sequence number, CRC made right": _mended(body[:10] + b"\x09" + body[11:]),
        "tag: from another session number, CRC made right": _mended(body[:6] + b"\x02" + body[7:]),
        "kind: 0x7f is none": _mended(body[:1] + b"\x7f" + body[2:]),
        "version: 0 is none": _mended(b"\x00" + seek[1:]),
        "address: 17 is none": _mended(seek[:4] + b"\x11" + seek[5:]),
        "flags: a seek that says it comes from a node": _mended(bytes(crossed)),
        "length: an octet behind a seek": _mended(seek + b"\x00"),
        "length: rows says 9, 8 are there": _mended(body[:30] + b"\x09" + body[31:]),
        "range: a seek for 0 samples a frame": _mended(seek[:24] + b"\x00" + seek[25:]),
        "range: channels is 0": _mended(body[:31] + b"\x00" + body[32:]),
        "short: no room for a tag": _mended(body[:16]),
        "empty": b"",
    }
    return [{"why": why, "frame": frame.hex(), "reaction": "dropped"} for why, frame in cases.items()]


def vectors_text() -> str:
    return json.dumps(vectors(), indent=1) + "\n"


def main() -> None:
    """Write all three."""
    prose = FOLDER / "README.md"
    _write(FOLDER / "definition.toml", toml_text())
    _write(FOLDER / "vectors.json", vectors_text())
    _write(prose, filled(prose.read_text(encoding="utf-8")))


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8")
    print(path.name)


if __name__ == "__main__":
    main()
