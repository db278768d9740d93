"""Gathers every secret that both ends come to, and looks for them in whatever leaves an end."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from benchsim.link import keys, session
from benchsim.link.hub import Hub
from benchsim.link.node import NodeEnd
from benchsim.link.pairing import HostExchange, NodeExchange
from tests.link.site import Site


def shapes(secret: bytes) -> Iterator[bytes]:
    """A secret as it may show: in octets either way round, in hexadecimal, as Python prints it."""
    yield secret
    yield secret[::-1]
    yield secret.hex().encode()
    yield secret.hex().upper().encode()
    yield repr(secret)[2:-1].encode()


class Secrets:
    """The secrets of one site as it goes on: what ends hold now, and what was seen of what they said."""

    def __init__(self) -> None:
        self.known: set[bytes] = set()
        self._sent = self._told = 0

    def look(self, site: Site) -> None:
        """Gather what is new, and look through what was sent and told since the last time."""
        for hub in (site.hub, *site.rivals):
            self.known |= set(of_hub(hub))
        for place in site.places:
            self.known |= set(of_node(place.end))
        said = [frame for _, _, frame in site.wire[self._sent :]]
        said += [repr(state).encode() for _, state in site.states[self._told :]]
        self._sent, self._told = len(site.wire), len(site.states)
        found = shown(self.known, b"\0\0".join(said))
        assert not found, f"{len(found)} secrets in what was said"


def shown(secrets: Iterable[bytes], text: bytes) -> list[bytes]:
    """The secrets that stand in a text."""
    return [secret for secret in secrets if any(shape in text for shape in shapes(secret))]


def of_hub(hub: Hub) -> Iterator[bytes]:
    """Of a host: pairing key, exchanges, sessions."""
    yield hub.card.key
    for seat in hub.seats.values():
        yield from _of_exchange(seat._exchange)
        if seat.watch is not None:
            yield from _of_session(seat.watch.session)


def of_node(end: NodeEnd) -> Iterator[bytes]:
    """Of a node: the same."""
    yield end.card.key
    for exchange in (end._exchange, end._paired):
        yield from _of_exchange(exchange)
    if end.session is not None:
        yield from _of_session(end.session)


def _of_exchange(exchange: HostExchange | NodeExchange | None) -> Iterator[bytes]:
    if exchange is not None:
        yield exchange.private
        if exchange._master:
            yield exchange._master


def _of_session(session: Any) -> Iterator[bytes]:
    yield from (session.secret, session.out.key, session.into.key, session.resume.key)


@contextmanager
def overheard() -> Iterator[set[bytes]]:
    """Every secret that is made while it lasts, also those that no end keeps."""
    made: set[bytes] = set()

    def keeping(function: Any) -> Any:
        def wrapped(*given: Any) -> Any:
            result = function(*given)
            for value in (result, *(given[:1] if function is agree else ())):
                if isinstance(value, bytes):
                    made.add(value)
                elif value is not None:
                    made.update(v for n in type(value).__slots__ if isinstance(v := getattr(value, n), bytes))
            return result

        return wrapped

    agree = keys.agree
    with pytest.MonkeyPatch.context() as patch:
        for name in ("agree", "extract", "proof_keys", "resume_secret", "resume_key", "session_keys"):
            patch.setattr(keys, name, keeping(getattr(keys, name)))
        for name in ("resume_key", "session_keys"):  # which session.py has by their own names
            patch.setattr(session, name, getattr(keys, name))
        yield made
