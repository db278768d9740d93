"""What the value of a field means, in words: one line a field of the node link, by its name.

A value that is out of its range is not explained here: explain.py says that it cannot be.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from benchsim.ground.clock import seconds
from benchsim.link.frames import FIRST_TAGGED, MESSAGES, OF_NODE, Kind, RefuseReason

# Bits of a channel's status; README section 6 of the protocol.
STATUS_BITS = {
    1: "at the upper stop",
    2: "at the lower stop",
    4: "no bridge found",
    8: "reference out of range",
}
_OWN_SEQUENCES = frozenset({Kind.RESUME, Kind.RESUMED})


def kind_name(kind: int) -> str:
    """ "seek", or "0x7f" for a kind that is none."""
    return Kind(kind).name.lower() if kind in MESSAGES else f"0x{kind:02x}"


def direction_of(kind: int) -> str:
    """Which way a kind goes, "" for one that is none."""
    if kind not in MESSAGES:
        return ""
    return "node to host" if kind in OF_NODE else "host to node"


def header_meaning(name: str, value: Any, kind: int) -> str:
    """What a field of the header means on a frame of a kind."""
    said = _HEADER.get(name)
    return said(value, kind) if said else ""


def payload_meaning(name: str, value: Any, kind: int) -> str:
    """What a field of a payload means on a frame of a kind."""
    said = _PAYLOAD.get(name)
    return said(value, kind) if said else ""


def _version(value: int, kind: int) -> str:
    if kind in (Kind.SEEK, Kind.REFUSE):
        return "the host's lowest version"
    return "version the node chose" if kind in MESSAGES else "version"


def _kind(value: int, kind: int) -> str:
    if kind not in MESSAGES:
        return "unknown kind"
    tag = "tagged" if kind >= FIRST_TAGGED else "not tagged"
    return f"{kind_name(kind)}, {tag}"


def _flags(value: int, kind: int) -> str:
    said = "from a node" if value & 1 else "from the host"
    if kind in MESSAGES and bool(value & 1) != (kind in OF_NODE):
        return f"{said}, but a {kind_name(kind)} goes {direction_of(kind)}"
    return said


def _session(value: int, _kind: int) -> str:
    return f"0x{value:08X}"


def _sequence(value: int, kind: int) -> str:
    if kind < FIRST_TAGGED:
        return "no session yet"
    if kind in _OWN_SEQUENCES:
        return "outside both lanes"
    return "of the data lane" if kind == Kind.DATA else "of the control lane"


def _identity(value: int, _kind: int) -> str:
    return f"{value:016X}"


def _duration(value: int, _kind: int) -> str:
    return seconds(value)


def _frame_samples(value: int, kind: int) -> str:
    return f"k {'offered' if kind == Kind.OFFER else 'wanted'}"


def _count(value: int, word: str) -> str:
    return f"{value} {word}" if value == 1 else f"{value} {word}s"


def _reason(value: int, _kind: int) -> str:
    return RefuseReason(value).name.lower().replace("_", " ")


def _ranges(value: list[list[int]], kind: int) -> str:
    listed = ", ".join(f"{a} to {a + n - 1}" if n > 1 else f"{a}" for a, n in value)
    return f"{'lacks' if kind == Kind.AGAIN else 'no longer has'} samples {listed}"


def _status(value: list[int], _kind: int) -> str:
    return "; ".join(f"channel {n} {_channel(octet)}" for n, octet in enumerate(value, 1))


def _channel(octet: int) -> str:
    if not octet:
        return "good"
    words = [text for bit, text in STATUS_BITS.items() if octet & bit]
    if unknown := octet & ~sum(STATUS_BITS):
        words.append(f"unknown bits 0x{unknown:02x}")
    return " and ".join(words)


def _samples(value: list[list[int]], _kind: int) -> str:
    return f"{_count(len(value), 'row')} of {_count(len(value[0]), 'channel')}" if value else "none"


def _fixed(text: str) -> Callable[[Any, int], str]:
    return lambda _value, _kind: text


_HEADER: dict[str, Callable[[Any, int], str]] = {
    "version": _version,
    "kind": _kind,
    "network": _fixed("network number"),
    "address": _fixed("strap address"),
    "flags": _flags,
    "session": _session,
    "sequence": _sequence,
}
_PAYLOAD: dict[str, Callable[[Any, int], str]] = {
    "host_id": _identity,
    "serial": _identity,
    "version_low": _fixed("its lowest version"),
    "version_high": _fixed("its highest version"),
    "version": _fixed("version the node chose"),
    "network": _fixed("the node's own network"),
    "samples_per_frame": _frame_samples,
    "cells": _fixed("cells expected here"),
    "beat_us": _duration,
    "offer_window_us": _duration,
    "public": _fixed("X25519 public value"),
    "channels": lambda value, _: _count(value, "channel"),
    "rate_hz": lambda value, _: f"{_count(value, 'sample')} a second",
    "firmware_major": _fixed("firmware version"),
    "firmware_minor": _fixed("its part behind the point"),
    "buffer_samples": _fixed("samples the node keeps"),
    "fingerprint": _fixed("of the node's calibration"),
    "proof": _fixed("not checked: needs the pairing key"),
    "next_sample": _fixed("first sample not sent yet"),
    "reason": _reason,
    "host_t_us": lambda value, _: f"{seconds(value)} at the host",
    "node_t_us": lambda value, _: f"{seconds(value)} at the node",
    "ranges": _ranges,
    "epoch": _fixed("new keys from here on"),
    "nonce": _fixed("random, of the sender"),
    "host_nonce": _fixed("that of the resume"),
    "first": _fixed("counter of the first row"),
    "rows": lambda value, _: _count(value, "sample") + " of each channel",
    "status": _status,
    "samples": _samples,
}
