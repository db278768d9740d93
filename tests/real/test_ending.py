"""A served bench begins whole and ends in good order."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest
import serial

from tests.real.served import EMPTY, PATIENCE_S, TcpClient, empty_deck, run_to_end, served, small_server

pytestmark = pytest.mark.real


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_with_exit_code_0_while_clients_are_there(tmp_path: Path, number: int) -> None:
    with served(empty_deck("--serial", "pty", "--tcp", "0"), tmp_path) as bench:
        with TcpClient(bench.tcp[0]) as client, serial.Serial(bench.serial[0], timeout=PATIENCE_S) as port:
            assert client.ask(b"\nR\r") == EMPTY
            port.write(b"\nR\r")
            assert port.read_until(b"\r") == EMPTY
            assert bench.ended(number) == 0
            assert client.rest().replace(EMPTY, b"") == b""  # whole answers only
        assert "sent away: the bench ends" in bench.said()
        assert "ended in good order" in bench.said()
        assert "Traceback" not in bench.said()


def test_it_ends_by_itself_when_its_time_is_up(tmp_path: Path) -> None:
    with served(small_server("--serial", "pty", "--duration", "0.3 s"), tmp_path) as bench:
        assert bench.process.wait(PATIENCE_S) == 0
        assert "SIMULATED" in bench.said()


def test_nothing_is_left_open_when_one_of_several_places_cannot_be_had(tmp_path: Path) -> None:
    ready = tmp_path / "ready.json"
    done = run_to_end(small_server("--tcp", "0", "--serial", "/dev/ttyNOWHERE9", "--ready-file", str(ready)))
    assert done.returncode == 2
    assert not ready.exists()
