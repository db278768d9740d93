"""However a link was gone and whoever restarted: once it heals, the flow is back in the stated time."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from benchsim.link.frames import Kind
from benchsim.link.impairment import Impairment
from benchsim.link.impairments.loss import Loss
from benchsim.link.limits import ABSENT_PAUSE_US
from benchsim.link.parts import LinkSettings
from benchsim.link.steps import Step
from tests.link.meddling import SILENCE, Drop
from tests.link.site import PERIOD_US, flowing

WAYS: list[tuple[Impairment, ...]] = [
    (), SILENCE, (Loss(0.5),), (Drop(Kind.ACCEPT),), (Drop(Kind.OFFER),), (Drop(Kind.RESUMED),),
    (Drop(Kind.DATA),),
]  # fmt: skip
DOWN: list[tuple[Impairment, ...]] = [
    (), SILENCE, (Loss(0.5),), (Drop(Kind.PROVE),), (Drop(Kind.RESUME),), (Drop(Kind.BEAT),)
]  # fmt: skip
TROUBLE = st.tuples(
    st.sampled_from(WAYS), st.sampled_from(DOWN), st.booleans(),
    st.integers(10, 6_000).map(lambda ms: ms * 1000),
)  # fmt: skip


@given(st.lists(TROUBLE, min_size=1, max_size=5))
@settings(max_examples=120, deadline=None)
def test_once_the_link_heals_the_flow_is_back_in_the_stated_time(
    troubles: list[tuple[tuple[Impairment, ...], tuple[Impairment, ...], bool, int]],
) -> None:
    place = flowing()
    node = place.places[0]
    for up, down, restarts, for_us in troubles:
        node.up.change(up)
        node.down.change(down)
        if restarts:
            node.end.restart(place.queue.now_us)
        place.run(place.queue.now_us + for_us)
    node.up.change(())
    node.down.change(())
    s = LinkSettings()
    longest_us = max(s.liveness_us, s.answer_timeout_us + ABSENT_PAUSE_US)
    stated_us = longest_us + s.offer_window_us + 2 * s.samples_per_frame * PERIOD_US
    healed_us = place.queue.now_us
    place.run(healed_us + stated_us)
    assert place.step() == Step.FLOW
    assert node.end.step is Step.FLOW
    assert place.samples[-1].arrived_us > healed_us
    numbers = place.numbers()
    place.run(place.queue.now_us + 1_000_000)
    assert len(place.numbers()) >= len(numbers) + 72
