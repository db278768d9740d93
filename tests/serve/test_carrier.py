"""Places of the node link as people write them: what cannot be is told with the forms that can."""

from __future__ import annotations

import sys

import pytest

from benchsim.ground.errors import BadInput
from benchsim.serve.carrier import FORMS, Side, make_carrier


@pytest.mark.parametrize("place", ["", "tpc:1", "8000", "127.0.0.1:8000", "pty:x", "PTY", "udp"])
def test_what_is_no_place_is_answered_with_all_forms(place: str) -> None:
    with pytest.raises(BadInput) as caught:
        make_carrier(place, Side.HOST)
    assert repr(place) in caught.value.found
    for form in FORMS.values():
        assert form in caught.value.right


@pytest.mark.parametrize(
    ("place", "found"),
    [
        ("tcp:0", "names no TCP port"),
        ("tcp:host:x", "names no TCP port"),
        ("listen-tcp:70000", "names no TCP port"),
        ("udp:0", "names no UDP port"),
        ("listen-udp:::1:5", "no usable host"),
        ("serial:@9600", "names no port and baud rate"),
        ("serial:/dev/ttyS0@fast", "names no port and baud rate"),
        ("mqtt:1883", "has no topic prefix"),
        ("mqtt:1883/", "has no topic prefix"),
        ("mqtt:1883/a//b", "has no topic prefix"),
        ("mqtt:1883/a/#", "has no topic prefix"),
        ("mqtt:0/a", "names no MQTT port"),
        ("listen-mqtt:x/a", "names no MQTT port"),
    ],
)
def test_a_bad_part_of_a_place_is_named(place: str, found: str) -> None:
    with pytest.raises(BadInput, match=found) as caught:
        make_carrier(place, Side.NODES)
    assert caught.value.found.startswith(f"{place}: ")
    assert caught.value.right.startswith("write ")


@pytest.mark.parametrize(
    ("place", "package", "extra"),
    [
        ("mqtt:1883/a", "aiomqtt", "mqtt"),
        ("listen-mqtt:0/a", "amqtt", "broker"),
        ("listen-mqtt:0/a", "aiomqtt", "broker"),
    ],
)
def test_a_library_that_is_not_installed_is_named_with_what_brings_it(
    place: str, package: str, extra: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(BadInput) as caught:
        make_carrier(place, Side.HOST)
    assert package in caught.value.found
    assert f"benchsim[{extra}]" in caught.value.right
