"""Seek and offer: who answers, when, and with what (section 4, steps 1 and 2)."""

from __future__ import annotations

from benchsim.link import frames
from benchsim.link.frames import Kind
from benchsim.probe.as_host import as_host, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line


@case("4, step 2")
async def seek_is_answered_by_an_offer(line: Line) -> None:
    """A node offers when it is sought at its address, with what the seek asked for or less."""
    await unbound(line)
    host = as_host(line)
    offer = (await host.offer(host.exchange())).message
    assert isinstance(offer, frames.Offer)
    if offer.samples_per_frame > host.card.settings.samples_per_frame:
        raise Differs(f"it offers k = {offer.samples_per_frame}, more than was asked for")


@case("3; 4, step 2")
async def seek_of_another_address_is_not_answered(line: Line) -> None:
    """A node says nothing to a seek for an address that is not its strap."""
    await unbound(line)
    elsewhere = next(a for a in range(16, 0, -1) if a not in line.setting.addresses)
    host = as_host(line, elsewhere)
    exchange = host.exchange()
    line.send(exchange.seek_frame)
    await line.silence(
        (Kind.OFFER, Kind.REFUSE),
        host.card.settings.offer_window_us + 2 * line.setting.patience_us,
        f"the seek was for address {elsewhere}",
    )
