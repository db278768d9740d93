"""The command line as a whole: its verbs, its help, what becomes of a mistake."""

from __future__ import annotations

from importlib.metadata import version
from pathlib import Path

import click
import pytest

from benchsim.cli.main import VERBS, load
from tests.cli.calls import BAD, Call


def test_help_lists_every_verb_with_what_it_does(call: Call) -> None:
    done = call("--help")
    assert done.code == 0
    for verb, (_, line) in VERBS.items():
        assert f"  {verb}" in done.out
        assert line in done.out


@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_is_there_and_its_help_says_what_it_is_for(call: Call, verb: str) -> None:
    command = load(verb)
    assert isinstance(command, click.Command)
    assert command.name == verb
    done = call(verb, "--help")
    assert done.code == 0
    assert (command.help or "").split("\n")[0].split(";")[0][:40] in " ".join(done.out.split())


def test_the_version_is_the_package_s(call: Call) -> None:
    assert call("--version").out == f"benchsim {version('benchsim')}\n"


def test_no_verb_at_all_shows_the_help(call: Call) -> None:
    done = call()
    assert "Usage: benchsim" in done.out + done.err
    assert done.code in (0, 2)


@pytest.mark.parametrize(
    ("word", "meant"), [("rum", "run"), ("fault", "faults"), ("serv", "serve"), ("protocol", "protocols")]
)
def test_an_unknown_verb_is_told_with_the_nearest_known_one(call: Call, word: str, meant: str) -> None:
    done = call(word)
    assert (done.code, done.out) == (2, "")
    assert f"unknown verb {word!r}; did you mean {meant!r}?" in done.err


def test_an_unknown_option_is_bad_input(call: Call) -> None:
    done = call("run", "--jsn", "x.yaml")
    assert (done.code, done.out) == (2, "")
    assert "--jsn" in done.err
    assert call("--halp").code == 2


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (("faults", "zero-shft"), "unknown fault 'zero-shft'; did you mean 'zero-shift'?"),
        (("rules", "r76-iiiii"), "unknown rule profile 'r76-iiiii'; did you mean 'r76-iiii'?"),
        (("protocols", "scp0498"), "unknown protocol 'scp0498'; did you mean 'scp0499'?"),
        (("serve", "none.yaml"), "none.yaml: No such file"),
        (("run", "none.yaml"), "none.yaml: No such file; `benchsim scenarios` lists those that ship"),
        (
            ("run", "quiet-platfrm"),
            "quiet-platfrm: No such file; did you mean the shipped scenario 'quiet-platform'?",
        ),
        (
            ("serve", "here/quiet-platform.yml"),
            "here/quiet-platform.yml: No such file; did you mean the shipped",
        ),
    ],
)
def test_what_a_person_wrote_wrongly_is_text_on_stderr_and_exit_code_2(
    call: Call, words: tuple[str, ...], text: str
) -> None:
    done = call(*words)
    assert done.code == 2
    assert done.err.startswith(text)
    assert "Traceback" not in done.err


def test_the_seed_of_a_served_scale_is_a_whole_number_as_that_of_a_run(call: Call) -> None:
    done = call("serve", "quiet-platform", "--seed", "abc")
    assert (done.code, done.err) == (
        2,
        f"--seed: 'abc' is not a seed; a whole number from 0 to {2**63 - 1}\n",
    )


def test_our_own_mistakes_keep_their_traceback(
    call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("a bug")

    monkeypatch.setattr("benchsim.scenario.run.run", broken)
    path = tmp_path / "s.yaml"
    path.write_text(BAD)
    with pytest.raises(ZeroDivisionError):
        call("run", str(path))


def test_a_run_that_is_stopped_by_hand_is_no_verdict(
    call: Call, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("benchsim.scenario.run.run", stopped)
    path = tmp_path / "s.yaml"
    path.write_text(BAD)
    done = call("run", str(path))
    assert (done.code, done.out, done.err.strip()) == (130, "", "stopped")
