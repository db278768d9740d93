"""The host's seat, and the virtual clients of its outputs.

The built-in host sits here.  A virtual client sends bytes as a real one would and its answers are kept
as events, so that a check can read what host software would have read.
"""

from __future__ import annotations

from collections.abc import Callable

from benchsim.ground.commands import InstrumentCommand
from benchsim.ground.readings import Indication, InstrumentCard, Outcome
from benchsim.outputs.output import Conversation, open_conversation

Answered = Callable[[str, bytes, int], None]


class Clients:
    """One virtual client a protocol, opened when it first sends."""

    def __init__(
        self,
        card: InstrumentCard,
        command: Callable[[InstrumentCommand], Outcome],
        indication: Callable[[], Indication],
        answered: Answered,
    ) -> None:
        self._card, self._command, self._indication, self._answered = card, command, indication, answered
        self._open: dict[str, Conversation] = {}

    def send(self, protocol: str, octets: bytes, now_us: int) -> None:
        """Send bytes to the host.  Raises BadInput for an unknown protocol."""
        if protocol not in self._open:
            self._open[protocol] = open_conversation(protocol, self._card)
        client = self._open[protocol]
        for request in client.receive(octets, self._indication(), now_us):
            outcome = self._command(request.command) if request.command is not None else None
            self._tell(protocol, client.answer(request, outcome, self._indication(), now_us), now_us)

    def update(self, indication: Indication) -> None:
        """A new indication: what was promised once stable, or again and again, goes out."""
        for protocol, client in self._open.items():
            self._tell(protocol, client.update(indication, indication.t_us), indication.t_us)

    def _tell(self, protocol: str, octets: bytes, now_us: int) -> None:
        if octets:
            self._answered(protocol, octets, now_us)
