"""Seeds of both ends of the link: stories, deed by deed, and frames from outside."""

from __future__ import annotations

from benchsim.link.frames import Kind
from tests.fuzz import of_ends as story
from tests.fuzz.pieces import Pieces, some
from tests.fuzz.sown import FRAMES, KINDS, TOLD, Seeds, seeds

PLACE = {kind: story.KINDS.index(kind) for kind in KINDS}


def _deeds(*told: tuple[int, bytes]) -> bytes:
    return b"".join(bytes([deed]) + octets for deed, octets in told)


FLOWS = ((story.FEED, b"\xa0"), (story.ASK, b"\0"), (story.WAIT, b"\x32"), (story.WAIT, b"\x1e"))
WAITS = ((story.WAIT, b"\x32"),)


def _tagged(kind: Kind, content: bytes, how: bytes = b"\0") -> tuple[int, bytes]:
    return story.TAGGED, bytes([PLACE[kind]]) + how + some(content)


def _q(value: int) -> bytes:
    return value.to_bytes(8, "little")


def _rows(first: int, rows: int) -> bytes:
    """The payload of a data frame of four channels."""
    return _q(first) + _q(5) + bytes([rows, 4]) + bytes(4 + 16 * rows)


ANY_CARDS = b"\1\4\2\2\x10" + b"\x50\0\x20\0" + b"".join(
    n.to_bytes(4, "little") for n in (500_000, 100_000, 50_000, 100_000)
)  # fmt: skip
LOST = ((story.LOSE, b"\1"), (story.JUMP, b"\x0e"))
RESUMES = ((story.JUMP, b"\x17"), *WAITS, *WAITS)


@seeds("ends")
def _ends() -> Seeds:
    body = {told["name"]: f[14:-12] for told, f in zip(TOLD, FRAMES, strict=True) if f[1] >= 0x10}
    ahead = _tagged(Kind.DATA, _rows(160, 8))
    refuse = bytes([PLACE[Kind.REFUSE]]) + b"\0\0" + some(FRAMES[4][14:-4])
    after_pairing: dict[str, tuple[tuple[int, bytes], ...]] = {
        "pairing": WAITS,
        "gap": ((story.JUMP, b"\x10"), *LOST, *WAITS, *WAITS),
        "gap-told": (_tagged(Kind.DATA, _rows(1600, 8)), *WAITS, *WAITS),
        "no-multiple": (_tagged(Kind.DATA, _rows(203, 8)),),
        "repeat": (ahead, _tagged(Kind.REPEAT, _rows(152, 3))),
        "gone": (ahead, _tagged(Kind.GONE, body["gone"])),
        "again": (_tagged(Kind.AGAIN, b"\1" + _q(64) + b"\x10\0"), *WAITS),
        "echo": (_tagged(Kind.ECHO, body["echo"]),),
        "far": ((story.JUMP, b"\x2d"), _tagged(Kind.DATA, _rows(1 << 60, 8)), *WAITS),
        "resume": RESUMES,
        "resumed": (_tagged(Kind.RESUMED, body["resumed"]),),
        "strange-resume": (_tagged(Kind.RESUME, body["resume"]), *WAITS, *WAITS, *WAITS),
        "release": ((story.ASK, b"\2"), *WAITS),
        "release-lost": ((story.ASK, b"\2"), *LOST * 3, (story.JUMP, b"\x16"), *WAITS),
        "restart": ((story.ASK, b"\4"), (story.JUMP, b"\x15"), *WAITS, *WAITS),
        "recommission": ((story.ASK, b"\3"), *WAITS),
        "tired": ((story.TIRED, b"\0\0\0\0\x80"), *WAITS, *WAITS),
        "spent": ((story.TIRED, b"\1\xff\xff\xff\xff"), *WAITS, *WAITS),
        "replay": tuple((story.AGAIN, bytes([n])) for n in range(20)),
        "stranger": ((story.SEALED, refuse),),
        "raw": ((story.RAW, some(FRAMES[0]) + b"\1"),),
    }
    return {name: b"\0" + _deeds(*FLOWS, *deeds) for name, deeds in after_pairing.items()} | {
        "other-cards": ANY_CARDS + _deeds(*FLOWS, *WAITS),
        "twist": b"\0" + _deeds(*FLOWS[:2], (story.TWIST, b"\0\x10\0\1"), *WAITS),
    }


def _outside(number: int = 0x5EED_0001) -> list[bytes]:
    """The vectors' frames as their network's nodes at address 1 would have them; tags are wrong then."""
    made = []
    for frame in FRAMES:
        content = bytearray(frame[:-4])
        content[4] = 1
        content[6:10] = number.to_bytes(4, "little")
        made.append(bytes(content))
    return made


def _heard(begin: bytes, frames: list[bytes], how: int = 1) -> bytes:
    return begin + b"".join(bytes([how]) + some(f) + b"\x40\0" for f in frames)


@seeds("node")
def _node() -> Seeds:
    every = _outside()
    return {
        "idle": _heard(b"\0\0", every),
        "flowing": _heard(b"\x60\0", every),
        "lost": _heard(b"\x60\1\x18", every[5:]),
        "in-session": _heard(b"\x60\0", _outside(_number())),
    }


@seeds("host")
def _host() -> Seeds:
    number = _number()
    return {
        "seeking": _heard(b"\1\0", _outside(number)),
        "flowing": _heard(b"\x60\0", _outside(number)),
        "lost": _heard(b"\x60\1\x16", _outside(number)[4:]),
    }


def _number() -> int:
    """The number of the session that the story of the two targets begins."""
    link = story._begin(Pieces(b""))
    assert link is not None
    link.hub.pair(1, 0)
    link.work()
    return int.from_bytes(link.heard[0][6:10], "little")
