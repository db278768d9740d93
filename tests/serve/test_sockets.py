"""What a TCP place may be called, and what is wrong with one that cannot be."""

from __future__ import annotations

import pytest

from benchsim.ground.errors import BadInput
from benchsim.serve.sockets import is_loopback, parse_address


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("0", ("127.0.0.1", 0)),
        ("5000", ("127.0.0.1", 5000)),
        ("localhost:65535", ("localhost", 65535)),
        ("0.0.0.0:5000", ("0.0.0.0", 5000)),
        ("[::1]:5000", ("::1", 5000)),
    ],
)
def test_a_place_is_a_port_with_or_without_a_host(text: str, place: tuple[str, int]) -> None:
    assert parse_address(text) == place


@pytest.mark.parametrize(
    "text",
    [
        "",
        ":",
        "x",
        "65536",
        "-1",
        "127.0.0.1:",
        "5000:x",
        ":5000",
        "::1:5000",
        "٣",
        "a..b:5",
        "x" * 64 + ".example:5",
        "\0:5",
    ],
)
def test_anything_else_is_told_what_would_be_right(text: str) -> None:
    with pytest.raises(BadInput, match=r"\[host:\]port|write 127\.0\.0\.1:5000"):
        parse_address(text)


@pytest.mark.parametrize(
    ("host", "alone"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("localhost", True), ("0.0.0.0", False),
     ("192.0.2.7", False), ("bench.example", False)],
)  # fmt: skip
def test_only_loopback_is_this_machine_alone(host: str, alone: bool) -> None:
    assert is_loopback(host) is alone
