"""The verb probe: what it prints, writes and answers to nonsense.  What cases find stands in tests/probe."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import pytest

from benchsim.cli import probing
from benchsim.ground.randomness import Streams
from benchsim.probe.case import Side, cases
from benchsim.probe.setting import Setting
from benchsim.probe.stand_in import NodesStandIn
from tests.cli.calls import Call

SEEK = "node-seek-is-answered-by-an-offer"
ELSEWHERE = "node-seek-of-another-address-is-not-answered"
PAIRED = "node-flow-begins-where-accept-says"


class AnswersForAll(NodesStandIn):
    """A wrong node: it takes every frame for its own address."""

    def receive(self, frame: bytes, now_us: int) -> None:
        from benchsim.probe.as_host import changed

        super().receive(changed(frame, address=1), now_us)


@pytest.fixture
def wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(probing.MAKERS, Side.NODE, AnswersForAll)


@pytest.mark.parametrize("side", Side)
def test_json_has_the_published_shape_and_nothing_else(call: Call, side: Side) -> None:
    first, second = list(cases(side))[:2]
    done = call("probe", side, "--self", "--json", "--case", first, "--case", second)
    document = json.loads(done.out)
    assert set(document) == {"cases", "passed"}
    assert [c["id"] for c in document["cases"]] == [first, second]
    for told in document["cases"]:
        assert set(told) == {"id", "side", "purpose", "section", "verdict"}
        assert (told["side"], told["verdict"]) == (side, "conforming")
    assert (done.code, document["passed"], done.err) == (0, True, "")


def test_frames_are_told_when_they_are_asked_for(call: Call) -> None:
    done = call("probe", "node", "--self", "--json", "--frames", "--case", SEEK)
    told = json.loads(done.out)["cases"][0]
    assert (told["why"], told["at"]) == ("", None)
    assert [f["from"] for f in told["frames"]] == ["probe as host", "node under test"]
    assert bytes.fromhex(told["frames"][0]["octets"])[1] == 0x01


def test_a_list_of_the_cases_plays_none(call: Call) -> None:
    done = call("probe", "host", "--list", "--json")
    assert done.code == 0
    assert {c["id"] for c in json.loads(done.out)} == set(cases(Side.HOST))


@pytest.mark.usefixtures("wrong")
def test_a_finding_shows_the_frame_field_by_field_and_ends_with_1(call: Call) -> None:
    done = call("probe", "node", "--self", "--case", ELSEWHERE)
    assert done.code == 1
    assert f"NOT {ELSEWHERE}" in done.out
    assert "it said offer, though the seek was for address 16" in done.out
    assert " ->" in done.out
    assert "fingerprint" in done.out
    assert "0 conforming, 1 not conforming, 0 not reached" in done.out


@pytest.mark.usefixtures("wrong")
def test_json_without_frames_tells_on_stderr_why_a_case_failed(call: Call) -> None:
    done = call("probe", "node", "--self", "--json", "--case", SEEK, "--case", ELSEWHERE)
    why = "it said offer, though the seek was for address 16"
    assert done.err == f"NOT {ELSEWHERE}: {why}\n"
    whole = call("probe", "node", "--self", "--json", "--frames", "--case", ELSEWHERE)
    assert (json.loads(whole.out)["cases"][0]["why"], whole.err) == (why, "")


def test_another_key_and_another_address_are_asked_about(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    def elsewhere(setting: Setting, streams: Streams) -> NodesStandIn:
        return NodesStandIn(replace(setting, **other), streams)  # type: ignore[arg-type]

    monkeypatch.setitem(probing.MAKERS, Side.NODE, elsewhere)
    other: dict[str, object] = {"key": bytes(16)}
    assert "is --key the one in the device?" in call("probe", "node", "--self", "--case", PAIRED).out
    other = {"addresses": (9,)}
    assert "nothing was heard at all" in call("probe", "node", "--self", "--case", PAIRED).out


@pytest.mark.usefixtures("wrong")
def test_junit_says_what_failed_and_reads_as_xml(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "probe.xml"
    done = call("probe", "node", "--self", "--case", ELSEWHERE, "--case", SEEK, "--junit", str(file))
    suite = ElementTree.parse(file).getroot()
    assert (done.code, suite.attrib["tests"], suite.attrib["failures"]) == (1, "2", "1")
    failure = suite.find("./testcase/failure")
    assert failure is not None
    assert failure.text is not None
    assert "node under test" in failure.text


def test_verdicts_are_told_though_the_junit_file_cannot_be_written(call: Call) -> None:
    done = call("probe", "node", "--self", "--json", "--case", SEEK, "--junit", "/nowhere/x.xml")
    assert done.code == 2
    assert json.loads(done.out)["passed"] is True


def test_a_host_that_would_seek_nobody_is_refused_wherever_it_is_put(call: Call) -> None:
    for words in (("probe", "stand-in", "host", "--at"), ("serve", "quiet-platform", "--nodes-at")):
        done = call(*words, "listen-udp:0")
        assert done.code == 2
        assert "it speaks first; name udp:HOST:PORT" in done.err


def test_no_secret_is_ever_told(call: Call) -> None:
    key = "00112233445566778899aabbccddeeff"
    done = call("probe", "node", "--self", "--key", key, "--json", "--frames", "--case", SEEK)
    assert key not in done.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--case", "node-x", "--self"), f"unknown case 'node-x'; --list names all {len(cases(Side.NODE))}"),
        (("--case", "node-seek-is-answered", "--self"), f"did you mean {SEEK} or "),
        ((), "no device under test"),
        (("--self", "--at", "pty"), "--self with a device elsewhere"),
        (("--at", "pigeon:3"), "no place for the node link"),
        (("--self", "--key", "12"), "32 hexadecimal digits"),
        (("--self", "--key", "12", "--key-file", "x"), "name one of both"),
        (("--self", "--host-id", "g"), "up to 16 hexadecimal digits"),
        (("--self", "--junit", "/nowhere/x.xml", "--case", SEEK), "name a file that can be written"),
        (("--at", "listen-udp:0"), "it speaks first; name udp:HOST:PORT"),
        (("--attendant", "no-such-program-here"), "name a program that can be run"),
    ],
)
def test_nonsense_is_answered_with_what_would_be_right(call: Call, words: tuple[str, ...], says: str) -> None:
    done = call("probe", "node", *words)
    assert done.code == 2
    assert says in done.err
    assert "Traceback" not in done.err


def test_the_stand_ins_differ_by_address() -> None:
    nodes = NodesStandIn(Setting(key=bytes(16), addresses=(1, 2)), Streams(1))
    assert nodes.act("state 1", 0) == "idle"
    assert nodes.act("state 3", 0) is None
    assert nodes.act("dance 1", 0) is None
