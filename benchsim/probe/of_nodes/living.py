"""Being alive: beats and echoes, and a node that nobody speaks to (section 7)."""

from __future__ import annotations

from itertools import pairwise

from benchsim.ground.clock import SECOND_US
from benchsim.link import codec, frames
from benchsim.link.frames import Kind
from benchsim.link.keys import Tagger
from benchsim.link.limits import HOST_SILENT_BEATS
from benchsim.probe.as_host import AT_ONCE_US, Flow, as_host, first_of, unbound
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line

BEAT_US = 250_000
FRAMES_A_SECOND = 40
NOTHING_MORE = (Kind.DATA, Kind.REPEAT, Kind.ECHO, Kind.GONE)


async def short_of_beats(line: Line) -> Flow:
    """A flow that stops soon when its host is silent, of short frames so that it shows when."""
    await unbound(line)
    host = as_host(line)
    offer = (await host.offer(host.exchange())).message
    assert isinstance(offer, frames.Offer)
    k = max(offer.rate_hz // FRAMES_A_SECOND, 1)
    beat_us = max(BEAT_US, min(k, offer.samples_per_frame) * SECOND_US // offer.rate_hz)
    return await as_host(line, beat_us=beat_us, samples_per_frame=min(k, 80)).pair()


def silent_us(flow: Flow) -> int:
    """A node that hears nothing for so long stops."""
    return HOST_SILENT_BEATS * flow.host.card.settings.beat_us


def watch_us(flow: Flow) -> int:
    """So long no data comes from a node that has stopped."""
    return 3 * flow.frame_us + AT_ONCE_US


@case("7")
async def beat_is_echoed_at_once_with_its_time(line: Line) -> None:
    """Each beat is echoed at once and once, with the very time that it carries, up to 64 bits."""
    await unbound(line)
    flow = await as_host(line).pair()
    for t_us in (0, 1, 0xFEDC_BA98_7654_3210, (1 << 64) - 1):
        flow.control(frames.Beat(t_us))
        echo = await flow.expect(Kind.ECHO, AT_ONCE_US, "a beat was sent")
        assert isinstance(echo.message, frames.Echo)
        if echo.message.host_t_us != t_us:
            raise Differs(f"an echo of {echo.message.host_t_us}; the beat said {t_us}")
    await flow.silence((Kind.ECHO,), AT_ONCE_US, "each beat was echoed already")
    await flow.release()


@case("7")
async def beats_in_a_row_are_each_echoed(line: Line) -> None:
    """Beats that come together are each echoed."""
    await unbound(line)
    flow = await as_host(line).pair()
    sent = set()
    for number in range(5):
        flow.control(frames.Beat(number + 1))
        sent.add(number + 1)
    came = [f.message for f in await flow.heard(flow.way_us)]
    echoed = sorted(m.host_t_us for m in came if isinstance(m, frames.Echo))
    if echoed != sorted(sent):
        raise Differs(f"beats 1 to 5 were sent, echoed were {echoed}", line.newest)
    await flow.release()


@case("7")
async def echo_says_the_clock_of_now(line: Line) -> None:
    """The clock in an echo is that of the samples, and goes on with time."""
    await unbound(line)
    flow = await as_host(line).pair()
    patience_us = 2 * line.setting.patience_us
    allowed_us = patience_us + AT_ONCE_US
    data = await flow.data()
    at_us = line.now_us
    had: list[tuple[int, int]] = []
    for _ in range(3):
        echo = await flow.echo()
        had.append((line.now_us, echo.node_t_us))
        await line.pause(2 * allowed_us)
    for (one_us, one_clock), (two_us, two_clock) in pairwise(had):
        if abs((two_clock - one_clock) - (two_us - one_us)) > allowed_us + (two_us - one_us) // 50:
            raise Differs(f"its clock went {two_clock - one_clock} us in {two_us - one_us} us", line.newest)
    assert isinstance(data.message, frames.Data)
    # The data frame was complete when it went: k - 1 samples after the one whose clock it says.
    ahead_us = had[0][1] - data.message.node_t_us - (had[0][0] - at_us)
    if not -allowed_us < ahead_us < flow.frame_us + SECOND_US // flow.offer.rate_hz + allowed_us:
        raise Differs(f"the clocks of echo and data are {ahead_us} us apart", line.newest)
    await flow.release()


@case("7; 9")
async def flow_stops_when_its_host_is_silent(line: Line) -> None:
    """A node flows for 4 beat times after the last thing it heard from its host, then sends nothing more."""
    flow = await short_of_beats(line)
    await flow.data()
    await flow.echo()
    heard_us = line.now_us
    patience_us = 2 * line.setting.patience_us
    last_us = heard_us
    end_us = heard_us + silent_us(flow) + patience_us
    while (frame := await flow.hear(end_us - line.now_us)) is not None:
        last_us = line.now_us if frame.header.kind == Kind.DATA else last_us
    if last_us < heard_us + silent_us(flow) - patience_us - 2 * flow.frame_us:
        raise Differs(f"its last data frame came {last_us - heard_us} us after a beat", line.newest)
    why = f"it heard nothing for {HOST_SILENT_BEATS} beat times"
    await flow.silence(NOTHING_MORE, watch_us(flow), why)
    await (await flow.host.pair()).release()


@case("7; 10")
async def only_authentic_frames_keep_a_node_flowing(line: Line) -> None:
    """Replayed and forged frames neither keep a node flowing nor let it flow again; a right beat does."""
    flow = await short_of_beats(line)
    zeros = Tagger(bytes(16))
    old = flow.control(frames.Beat(line.now_us))
    patience_us = 2 * line.setting.patience_us
    end_us = line.now_us + silent_us(flow) + patience_us

    def not_authentic() -> None:
        coming = flow.session.sequence
        for octets in (
            old,
            flow.frame(frames.Beat(1), zeros),
            flow.frame(frames.Beat(1), session=flow.session.number ^ 1),
            flow.frame(frames.Again(((flow.accept.next_sample, 1),)), zeros),
            codec.seal(flow.frame(frames.Beat(1))[:-12] + bytes(8)),
        ):
            line.send(octets)
        flow.session.sequence = coming

    while line.now_us < end_us:
        await flow.heard(min(BEAT_US, end_us - line.now_us))
        not_authentic()
    await flow.silence(NOTHING_MORE, watch_us(flow) + patience_us, "it heard nothing authentic for so long")
    await flow.echo("it is lost, and a right beat lets it flow again")
    await flow.data("a right beat lets it flow again")
    await flow.release()


@case("7")
async def silent_node_flows_again_in_its_session(line: Line) -> None:
    """A node that stopped keeps its session: a beat lets it flow again, with numbers that only go up."""
    flow = await short_of_beats(line)
    before = await flow.data()
    end_us = line.now_us + silent_us(flow) + 2 * line.setting.patience_us + flow.frame_us
    while (frame := await flow.hear(end_us - line.now_us)) is not None:
        before = frame if frame.header.kind == Kind.DATA else before
    woken = await flow.echo("it keeps its session while its host is silent")
    after = (await flow.several(2))[0]
    if after.header.sequence <= before.header.sequence or first_of(after) <= first_of(before):
        raise Differs(
            f"sample {first_of(after)}, sequence {after.header.sequence} after a silence; before it were "
            f"{first_of(before)} and {before.header.sequence}"
        )
    if first_of(after) % flow.k:
        raise Differs(f"the flow goes on at sample {first_of(after)}, amid a frame of {flow.k}")
    said = after.message
    assert isinstance(said, frames.Data)
    old_us = woken.node_t_us - said.node_t_us - (flow.k - 1) * SECOND_US // flow.offer.rate_hz
    if old_us > flow.frame_us // 4 + SECOND_US // flow.offer.rate_hz:
        raise Differs(f"the flow goes on with a frame that was complete {old_us} us before it was woken")
    await flow.release()


@case("7")
async def whatever_is_authentic_keeps_a_node_flowing(line: Line) -> None:
    """A node flows on while any authentic frame comes, not only beats: here it is asked for samples."""
    flow = await short_of_beats(line)
    had = {first_of(await flow.data())}
    asks_us = flow.host.card.settings.beat_us
    end_us = line.now_us + 2 * silent_us(flow) + 2 * line.setting.patience_us
    while line.now_us < end_us:
        flow.control(frames.Again(((max(had), 1),)))
        had |= {first_of(f) for f in await flow.heard(asks_us) if f.header.kind == Kind.DATA}
    had |= {first_of(f) for f in await flow.several(2)}
    if missing := sorted(set(range(min(had), max(had), flow.k)) - had):
        raise Differs(f"no data of sample {missing[0]}, though it was asked for samples all the time")
    await flow.release()


@case("6; 7")
async def samples_of_a_silence_can_be_had_afterwards(line: Line) -> None:
    """A node that stopped keeps its samples: what was taken meanwhile comes when it is asked for."""
    flow = await short_of_beats(line)
    await line.pause(silent_us(flow) + 2 * line.setting.patience_us + 3 * flow.frame_us)
    line.forget()
    await flow.echo("it keeps its session while its host is silent")
    after = first_of(await flow.data("a beat lets it flow again"))
    if flow.offer.buffer_samples < 4 * flow.k + (flow.way_us + AT_ONCE_US) * flow.offer.rate_hz // SECOND_US:
        await flow.release()
        return
    flow.control(frames.Again(((after - flow.k, flow.k),)))
    repeat = await flow.expect(Kind.REPEAT, AT_ONCE_US, "it keeps its samples while its host is silent")
    if not after - flow.k <= first_of(repeat) < after:
        raise Differs(f"it repeats sample {first_of(repeat)}; asked for was {after - flow.k}")
    await flow.release()
