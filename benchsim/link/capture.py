"""Captured octets to frames: finds them in a COBS stream, or in bare datagrams laid end to end.

A receiver goes on at the next 0x00; here what lies within a run that a receiver would let go is looked at
too, and said to be lost to it.  Pure: octets in, explained frames out; nothing raises, whatever they are.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from cobs import cobs

from benchsim.link.explain import Explained, explain, is_whole, no_frame, octets_needed, plausibility
from benchsim.link.frames import MESSAGES
from benchsim.link.framing import END, LONGEST_ENCODED
from benchsim.link.limits import LONGEST_FRAME, SHORTEST_FRAME

STREAM, DATAGRAMS = "a COBS stream", "bare datagrams"
LIKE_A_HEADER = 3
_HEAD_ENCODED = 48
"""Encoded octets that hold all that a frame's length depends on."""
_KINDS = b"[" + b"".join(b"\\x%02x" % kind for kind in MESSAGES) + b"]"
_RUN = re.compile(rb"[^\0]+")
_BARE_HEAD = re.compile(rb"[^\0]" + _KINDS + rb".{3}[\0\1]", re.DOTALL)
# Version and kind are never 0, so a frame's first code is 3 or more and they stand behind it.
_STUFFED_HEAD = re.compile(rb"[^\0\1\2]." + _KINDS, re.DOTALL)


@dataclass(frozen=True, slots=True)
class Found:
    """What was found in a capture.  framing: how it was read.  whole: how many have a right CRC."""

    framing: str
    frames: tuple[Explained, ...]
    whole: int

    @property
    def rank(self) -> tuple[int, int]:
        """For two readings of the same octets: more whole frames is better, then fewer others."""
        return self.whole, -len(self.frames)


def frames_in(octets: bytes, base: int = 0) -> Found:
    """All frames in some octets that stand at `base` of the capture, read as what they look like most."""
    if octets and not octets.strip(END):
        return Found(STREAM, (), 0)
    if is_whole(octets) or not octets:
        return Found(DATAGRAMS, (explain(octets, range(base, base + len(octets)), base),), int(bool(octets)))
    stream, datagrams = list(_of_stream(octets, base)), list(_of_datagrams(octets, base))
    more = _whole(stream) - _whole(datagrams)
    if more > 0 or (more == 0 and not _looks_bare(octets)):
        return _found(STREAM, stream)
    return _found(DATAGRAMS, datagrams)


def frames_in_lines(lines: Sequence[bytes]) -> Found:
    """Frames in lines of hexadecimal text: one a line, or octets that were only wrapped into lines."""
    joined = frames_in(b"".join(lines))
    if len(lines) < 2:
        return joined
    at, each = 0, []
    for line in lines:
        each.append(frames_in(line, at))
        at += len(line)
    framings = {f.framing for f in each}
    framing = framings.pop() if len(framings) == 1 else f"{DATAGRAMS} and {STREAM.removeprefix('a ')}s"
    frames = tuple(frame for f in each for frame in f.frames)
    apart = Found(framing, frames, sum(f.whole for f in each))
    return apart if apart.whole and apart.rank >= joined.rank else joined


@dataclass(frozen=True, slots=True)
class _Part:
    """A part of the capture.  why: what is known to be wrong with it.  is_frame: or else only octets."""

    octets: bytes
    places: Sequence[int]
    offset: int
    why: str = ""
    is_frame: bool = True

    def explained(self) -> Explained:
        """In words."""
        make: Callable[[bytes, Sequence[int], int, str], Explained] = explain if self.is_frame else no_frame
        return make(self.octets, self.places, self.offset, self.why)


def _whole(parts: Sequence[_Part]) -> int:
    return sum(part.is_frame and is_whole(part.octets) for part in parts)


def _found(framing: str, parts: Sequence[_Part]) -> Found:
    return Found(framing, tuple(part.explained() for part in parts), _whole(parts))


def _looks_bare(octets: bytes) -> bool:
    """Whether octets without any whole frame begin as a bare frame does, rather than as one in COBS."""
    stuffed = unstuffed(octets.lstrip(END)[:_HEAD_ENCODED].split(END)[0], 0)[0]
    bare_score, score = plausibility(octets), plausibility(stuffed)
    if bare_score != score:
        return bare_score > score
    return not octets.endswith(END)


# -- a stream ------------------------------------------------------------------------------------------


def _of_stream(octets: bytes, base: int) -> Iterator[_Part]:
    for run in _RUN.finditer(octets):
        yield from _of_run(run[0], base + run.start(), run.end() < len(octets))


def unstuffed(run: bytes, base: int) -> tuple[bytes, list[int], int | None]:
    """A run without zeros, COBS undone as far as it goes.

    The octets; where in the capture each stands (a zero: where the code stands that means it); and where the
    last code stands when it announces more octets than there are, else None.
    """
    places: list[int] = []
    at = last = 0
    while at < len(run):
        last, code = at, run[at]
        places += range(base + at + 1, base + min(at + code, len(run)))
        at += code
        if code < 0xFF and at < len(run):
            places.append(base + at)
    if at <= len(run):
        return cobs.decode(run), places, None
    mended = run[:last] + bytes([len(run) - last]) + run[last + 1 :]
    return cobs.decode(mended), places, base + last


def _of_run(run: bytes, base: int, ended: bool) -> Iterator[_Part]:
    if len(run) <= LONGEST_ENCODED:
        octets, places, broken = unstuffed(run, base)
        if broken is None and is_whole(octets):
            yield _Part(octets, places, base)
            return
    inner = list(_within(run, base))
    if not inner:
        yield _bad_run(run, base, ended)
        return
    at = 0
    for start, end, part in inner:
        if start > at:
            yield _rest_of_run(run[at:start], base + at)
        elif start:
            why = f"no 0x00 before {base + start}: a receiver lets both frames go"
            yield _Part(b"", (), base + start, why, is_frame=False)
        yield part
        at = end
    if at < len(run):
        yield _rest_of_run(run[at:], base + at)


def _within(run: bytes, base: int) -> Iterator[tuple[int, int, _Part]]:
    """Whole frames inside a run: where in it each begins and ends."""
    at = 0
    while begin := _STUFFED_HEAD.search(run, at):
        at = begin.start()
        part = _frame_at(run, at, base)
        if part is None:
            at += 1
            continue
        end = part.places[-1] - base + 1
        yield at, end, part
        at = end


def _frame_at(run: bytes, at: int, base: int) -> _Part | None:
    """The whole frame whose first code stands here."""
    head = unstuffed(run[at : at + _HEAD_ENCODED], base)[0]
    needed = octets_needed(head)
    if needed is None or not SHORTEST_FRAME <= needed <= LONGEST_FRAME or plausibility(head) < LIKE_A_HEADER:
        return None
    octets, places, _ = unstuffed(run[at : at + needed + needed // 254 + 1], base + at)
    octets = octets[:needed]
    return _Part(octets, places[:needed], base + at) if is_whole(octets) else None


def _bad_run(run: bytes, base: int, ended: bool) -> _Part:
    """A run in which no frame is whole."""
    if len(run) > LONGEST_ENCODED:
        why = f"{len(run)} octets without a 0x00; the longest frame takes {LONGEST_ENCODED}"
        return _Part(run, range(base, base + len(run)), base, why, is_frame=False)
    octets, places, broken = unstuffed(run, base)
    why = ""
    if broken is not None:
        code, there = run[broken - base], base + len(run) - broken - 1
        until = "the 0x00" if ended else "the capture ends"
        why = (
            f"at {broken}: COBS broken, 0x{code:02x} announces {code - 1} octets, {there} come before {until}"
        )
    if plausibility(octets) >= LIKE_A_HEADER:
        return _Part(octets, places, base, why)
    return _Part(run, range(base, base + len(run)), base, why or _NO_FRAME, is_frame=False)


_NO_FRAME = "no frame: neither a header nor a right CRC"


def _rest_of_run(run: bytes, base: int) -> _Part:
    why = "no frame, and no 0x00 parts it from one: a receiver lets the whole run go"
    return _Part(run, range(base, base + len(run)), base, why, is_frame=False)


# -- datagrams -----------------------------------------------------------------------------------------


def _of_datagrams(octets: bytes, base: int) -> Iterator[_Part]:
    at = rest = 0
    while begin := _BARE_HEAD.search(octets, at):
        at = begin.start()
        needed = _whole_at(octets, at)
        if not needed:
            at += 1
            continue
        yield from _rest_of_datagrams(octets[rest:at], base + rest)
        yield _Part(octets[at : at + needed], range(base + at, base + at + needed), base + at)
        at = rest = at + needed
    yield from _rest_of_datagrams(octets[rest:], base + rest)


def _whole_at(octets: bytes, at: int) -> int:
    """How many octets the whole frame has that begins here; 0: none does."""
    head = octets[at : at + _HEAD_ENCODED]
    needed = octets_needed(head)
    if needed is None or plausibility(head) < LIKE_A_HEADER:
        return 0
    return needed if is_whole(octets[at : at + needed]) else 0


def _rest_of_datagrams(octets: bytes, base: int) -> Iterator[_Part]:
    """What lies between whole frames: frames that are not, by the lengths they say; then octets."""
    at = 0
    while at < len(octets):
        head, left = octets[at : at + _HEAD_ENCODED], len(octets) - at
        is_frame = plausibility(head) >= LIKE_A_HEADER
        needed = octets_needed(head) if is_frame else None
        size = left if needed is None else min(needed, left)
        why = "" if is_frame else _NO_FRAME
        yield _Part(octets[at : at + size], range(base + at, base + at + size), base + at, why, is_frame)
        at += size
