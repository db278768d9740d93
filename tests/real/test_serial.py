"""Serial for real: pseudo-terminals opened by pyserial, and our own way to a port through pyserial."""

from __future__ import annotations

import os
import subprocess
import sys
import termios
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial

from tests.real.served import EMPTY, PATIENCE_S, Served, TcpClient, run_to_end, served, small_server, wait_for

pytestmark = pytest.mark.real


def port(name: str) -> serial.Serial:
    return serial.Serial(name, 9600, timeout=PATIENCE_S)


def test_a_plain_client_reads_the_weight(bench: Served) -> None:
    with port(bench.serial[0]) as client:
        client.write(b"\nW\r")
        assert client.read_until(b"\r") == EMPTY


def test_octets_that_come_one_at_a_time_are_one_command(bench: Served) -> None:
    with port(bench.serial[0]) as client:
        for octet in (b"\n", b"W", b"\r"):
            client.write(octet)
            client.flush()
        assert client.read_until(b"\r") == EMPTY


def test_clients_come_and_go_on_the_same_line(bench: Served) -> None:
    for _ in range(3):
        test_a_plain_client_reads_the_weight(bench)


def test_a_repeat_goes_on_until_it_is_aborted(bench: Served) -> None:
    with port(bench.serial[0]) as client:
        client.write(b"\nR\r")
        assert [client.read_until(b"\r") for _ in range(4)] == [EMPTY] * 4
        client.write(b"\x1b\nD\r")
        while (line := client.read_until(b"\r")) == EMPTY:
            pass
        assert line == b"\n    \r"
        client.timeout = 0.35  # three updates' time
        assert client.read(1) == b""


def test_two_lines_have_two_conversations(bench: Served) -> None:
    with port(bench.serial[0]) as one, port(bench.serial[1]) as other:
        one.write(b"\nA\r")
        other.write(b"\nI\r")
        assert one.read_until(b"\r") == other.read_until(b"\r") == b"\nSMA:2/1.0\r"
        one.write(b"\nB\r")
        other.write(b"\nN\r")
        assert one.read_until(b"\r") == b"\nMFG:SIMULATED by benchsim\r"
        assert other.read_until(b"\r") == b"\nTYP:vehicle scale SIMULATED\r"


def test_a_megabyte_without_a_line_end_is_answered_with_the_standard_s_own_error(bench: Served) -> None:
    before_mb = bench.resident_mb()
    with port(bench.serial[0]) as client:
        client.write(b"\n" + b"0" * 1_000_000)
        assert client.read_until(b"\r") == b"\n?\r"
        client.write(b"\nW\r")
        assert client.read_until(b"\r") == EMPTY
    assert bench.resident_mb() - before_mb < 5


def test_a_client_that_reads_nothing_loses_whole_answers_and_holds_up_nobody(bench: Served) -> None:
    name = bench.serial[1]
    with port(name) as client, TcpClient(bench.tcp[0]) as other:
        for _ in range(40):
            client.write(b"\nW\r" * 100)  # 80 kB of answers; about 20 kB fit without a reader
            assert other.ask(b"\nW\r") == EMPTY
        bench.says(f"{name}: dropped: nobody takes the answers")
        client.timeout = 0.5
        taken = client.read(200_000)
        assert len(taken) >= 4096
        assert set(taken.split(b"\r")) == {EMPTY[:-1], b""}
        bench.says(f"{name}: takes answers again")
        client.timeout = PATIENCE_S
        client.write(b"\nW\r")
        assert client.read_until(b"\r") == EMPTY


def test_each_line_that_is_printed_to_be_pasted_works(bench: Served) -> None:
    lines = [line.split(maxsplit=1) for line in bench.said().splitlines() if line.startswith("  ")]
    assert {what for what, _ in lines} == {"shell", "pyserial"}
    assert len(lines) == 8
    environment = os.environ | {"PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"}
    for kind in ("shell", "pyserial"):  # one client at a time on each port
        running = [
            subprocess.Popen(["bash", "-c", line], stdout=subprocess.PIPE, text=True, env=environment)
            for what, line in lines
            if what == kind
        ]
        for shell in running:
            assert "Z1G           0kg" in shell.communicate(timeout=PATIENCE_S)[0]


# -- a real port, stood in for by the client's end of a pseudo-terminal -----------------------------------


@pytest.fixture
def cable() -> Iterator[tuple[int, str]]:
    """Our end of a line, and the name of the other end."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    name = os.ttyname(theirs)
    os.close(theirs)
    yield ours, name
    os.close(ours)


def read_answer(descriptor: int) -> bytes:
    os.set_blocking(descriptor, False)
    held = b""

    def whole() -> bool:
        nonlocal held
        try:
            held += os.read(descriptor, 4096)
        except (BlockingIOError, OSError):
            return False
        return held.endswith(b"\r")

    wait_for(whole, "an answer on the cable")
    return held


def test_a_real_port_answers(cable: tuple[int, str], tmp_path: Path) -> None:
    ours, name = cable
    with served(small_server("--serial", name), tmp_path) as bench:
        assert bench.serial == [name]
        os.write(ours, b"\nW\r")
        assert read_answer(ours) == EMPTY
        os.write(ours, b"\n\xff\r")  # the octet that a port with damage marks doubles
        assert read_answer(ours) == b"\n?\r"
        assert bench.ended() == 0


def plugged(at: Path) -> int:
    """A new line whose far end goes by the name `at`; our end."""
    ours, theirs = os.openpty()
    tty.setraw(theirs)
    at.unlink(missing_ok=True)
    at.symlink_to(os.ttyname(theirs))
    os.close(theirs)
    return ours


def test_a_port_that_is_pulled_out_is_told_and_served_again_when_it_is_back(tmp_path: Path) -> None:
    at = tmp_path / "port"
    ours = plugged(at)
    with served(small_server("--serial", str(at), "--tcp", "0"), tmp_path) as bench:
        os.close(ours)
        bench.says(f"{at}: unplugged")
        with TcpClient(bench.tcp[0]) as client:
            assert client.ask(b"\nW\r") == EMPTY
        ours = plugged(at)
        wait_for(lambda: bench.said().count(f"{at}: open") == 2, "the port to be open again")
        os.write(ours, b"\nW\r")
        assert read_answer(ours) == EMPTY
        os.close(ours)
        bench.says(f"{at}: unplugged")
        assert bench.ended() == 0


def test_a_taken_port_is_told_by_name_with_exit_code_2(cable: tuple[int, str]) -> None:
    _ours, name = cable
    with serial.Serial(name, exclusive=True):
        done = run_to_end(small_server("--serial", name))
    assert done.returncode == 2
    assert f"serial port {name} is taken by another program" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("name", "found"),
    [("/dev/ttyNOWHERE9", "is not there"), ("/dev/null", "cannot be opened as a serial port")],
)
def test_a_port_that_is_none_is_told_with_exit_code_2(name: str, found: str) -> None:
    done = run_to_end(small_server("--serial", name))
    assert done.returncode == 2
    assert name in done.stderr
    assert found in done.stderr
    assert "Traceback" not in done.stderr


def test_a_line_that_nobody_set_is_raw(bench: Served) -> None:
    descriptor = os.open(bench.serial[0], os.O_RDWR | os.O_NOCTTY)
    try:
        _iflag, oflag, _cflag, lflag, *_ = termios.tcgetattr(descriptor)
    finally:
        os.close(descriptor)
    assert not lflag & (termios.ECHO | termios.ICANON | termios.ISIG)
    assert not oflag & termios.OPOST
