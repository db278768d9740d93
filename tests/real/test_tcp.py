"""TCP for real: several clients at once, and what slow, vanished and senseless ones do to the others."""

from __future__ import annotations

import random
import socket
import struct
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest

from tests.real.served import (
    EMPTY,
    PATIENCE_S,
    Served,
    TcpClient,
    run_to_end,
    served,
    small_server,
    wait_for,
)

pytestmark = pytest.mark.real


@pytest.fixture
def impatient(tmp_path: Path) -> Iterator[Served]:
    """A small bench that gives a client one second."""
    with served(small_server("--tcp", "0"), tmp_path) as running:
        yield running


def name_of(client: TcpClient) -> str:
    host, port = client.socket.getsockname()[:2]
    return f"tcp {host}:{port}"


def test_several_clients_are_served_at_once_each_with_its_own_conversation(bench: Served) -> None:
    with ExitStack() as stack:
        clients = [stack.enter_context(TcpClient(bench.tcp[0])) for _ in range(16)]
        for number, client in enumerate(clients):
            client.socket.sendall(b"\nA\r" + b"\nB\r" * (number % 4))
        keys = [b"SMA", b"MFG", b"MOD", b"REV"]
        for number, client in enumerate(clients):
            answers = [client.answer()[1:4] for _ in range(number % 4 + 1)]
            assert answers == keys[: number % 4 + 1]


def test_every_place_that_was_asked_for_listens(bench: Served) -> None:
    assert len(bench.tcp) == 2
    for place in bench.tcp:
        with TcpClient(place) as client:
            assert client.ask(b"\nW\r") == EMPTY


def test_a_client_that_comes_and_leaves_is_told(bench: Served) -> None:
    with TcpClient(bench.tcp[0]) as client:
        assert client.ask(b"\nW\r") == EMPTY
        name = name_of(client)
    bench.says(f"{name}: came")
    bench.says(f"{name}: left")


def test_a_client_that_is_cut_off_mid_command_is_forgotten_and_the_others_go_on(bench: Served) -> None:
    with TcpClient(bench.tcp[0]) as other:
        assert other.ask(b"\nR\r") == EMPTY
        client = TcpClient(bench.tcp[0])
        assert client.ask(b"\nR\r") == EMPTY
        client.socket.sendall(b"\nT    12")
        name = name_of(client)
        client.socket.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        client.socket.close()  # a reset, not an orderly end
        bench.says(f"{name}: vanished")
        assert [other.answer() for _ in range(5)] == [EMPTY] * 5


def test_a_client_that_takes_nothing_is_dropped_with_a_reason_and_the_others_go_on(impatient: Served) -> None:
    bench = impatient
    before_mb = bench.resident_mb()
    with TcpClient(bench.tcp[0]) as slow, TcpClient(bench.tcp[0]) as other:
        slow.socket.setblocking(False)
        name = name_of(slow)

        def dropped() -> bool:
            try:
                for _ in range(50):
                    slow.socket.send(b"\nW\r" * 4096)
            except BlockingIOError:
                pass
            except ConnectionError:
                return True
            assert other.ask(b"\nW\r") == EMPTY
            return False

        wait_for(dropped, "the slow client to be dropped")
        bench.says(f"{name}: dropped: too slow")
        assert other.ask(b"\nW\r") == EMPTY
    assert bench.resident_mb() - before_mb < 8


def test_a_client_that_asks_much_and_reads_it_all_loses_nothing(bench: Served) -> None:
    import threading

    asked = 20_000
    with TcpClient(bench.tcp[0]) as client:
        sender = threading.Thread(target=client.socket.sendall, args=(b"\nW\r" * asked,))
        sender.start()
        assert all(client.answer() == EMPTY for _ in range(asked))
        sender.join(PATIENCE_S)


def test_a_megabyte_without_a_line_end_is_answered_once_and_the_client_is_served_on(bench: Served) -> None:
    before_mb = bench.resident_mb()
    with TcpClient(bench.tcp[0]) as client:
        assert client.ask(b"\n" + b"0" * 1_000_000) == b"\n?\r"
        assert client.ask(b"\r\nW\r") == EMPTY
    assert bench.resident_mb() - before_mb < 8


def test_senseless_octets_are_answered_with_the_standard_s_own_error_and_nothing_else_happens(
    bench: Served,
) -> None:
    noise = random.Random(499).randbytes(60_000).translate(None, delete=b"\x1bABCDHIMNPQRSTUWZ")
    with TcpClient(bench.tcp[0]) as client:
        client.socket.sendall(noise + b"\r\x1b\nD\r")
        line = client.answer()
        while line != b"\n    \r":
            assert line == b"\n?\r"
            line = client.answer()
        assert client.ask(b"\nW\r") == EMPTY


def test_an_answer_still_comes_to_a_client_that_has_said_all_it_had_to_say(bench: Served) -> None:
    with TcpClient(bench.tcp[0]) as client:
        client.socket.sendall(b"\nW\r")
        client.socket.shutdown(socket.SHUT_WR)
        assert client.answer() == EMPTY
        with pytest.raises(ConnectionError):
            client.answer()


def test_a_taken_tcp_port_is_told_with_exit_code_2(bench: Served) -> None:
    host, port = bench.tcp[0]
    done = run_to_end(small_server("--tcp", f"{host}:{port}"))
    assert done.returncode == 2
    assert f"TCP port {port} on {host} is taken" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_host_that_is_not_this_machine_is_told_with_exit_code_2() -> None:
    done = run_to_end(small_server("--tcp", "192.0.2.1:0"))  # RFC 5737: an address for documentation only
    assert done.returncode == 2
    assert "'192.0.2.1' is not an address of this machine" in done.stderr
