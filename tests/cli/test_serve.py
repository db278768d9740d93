"""The verb `serve`: options that mean nothing together are told before anything is loaded or opened."""

from __future__ import annotations

import pytest

from tests.cli.calls import Call


@pytest.mark.parametrize(
    ("options", "found"),
    [
        (("--nodes-only", "--nodes-at", "tcp:1"), "only one end of the link can be yours"),
        (("--udp", "0"), "--udp carries the node link of nodes without a host; give --nodes-only"),
        (("--nodes-at", "tcp:1", "--mqtt", "1/x"), "--nodes-at mqtt:..."),
        (("--tell-key",), "give --nodes-only or --nodes-at with it"),
        (("--nodes-at", "1.2.3.4:5"), "is no place for the node link; write tcp:[HOST:]PORT; listen-tcp:"),
        (("--nodes-only", "--mqtt", "1883"), "has no topic prefix"),
        (("--nodes-only", "--tcp", "x"), "names no TCP port"),
    ],
)
def test_options_that_mean_nothing_together_are_told(
    call: Call, options: tuple[str, ...], found: str
) -> None:
    done = call("serve", "quiet-platform", *options)
    assert done.code == 2
    assert found in done.err
    assert "Traceback" not in done.err
    assert done.out == ""
