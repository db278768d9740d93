"""Lost: silence, resume and resumed, and the ways back when the node has no session (sections 4, 5 and 7)."""

from __future__ import annotations

from benchsim.ground.clock import seconds
from benchsim.link import frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Kind, RefuseReason
from benchsim.link.limits import ABSENT_PAUSE_US, TAG_OCTETS
from benchsim.probe.as_node import OTHER_SERIAL, AsNode, as_node, time_to_answer, window_us
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line
from benchsim.probe.node_flow import AT_ONCE_US, NodeFlow, Took

IN_A_FLOW = frozenset({Kind.BEAT, Kind.AGAIN, Kind.RELEASE})


def _asked(took: Took) -> frames.Resume:
    assert isinstance(took.frame.message, frames.Resume)
    return took.frame.message


async def _flow(line: Line) -> tuple[AsNode, NodeFlow]:
    node = as_node(line, most_samples_per_frame=4)
    return node, await node.flowing()


async def _next_resume(flow: NodeFlow, why: str) -> Took:
    """The next resume of an address that is still lost."""
    within_us = flow.line.setting.settings.answer_timeout_us + AT_ONCE_US
    return await flow.wait(Kind.RESUME, within_us, why, never=IN_A_FLOW | {Kind.SEEK})


async def _sought_by_itself(flow: NodeFlow, node: AsNode) -> Frame:
    """After a resume is refused: no session, the host seeks at once."""
    resume = await flow.lost()
    node.refuse(resume.frame.header, RefuseReason.NO_SESSION)
    seek = await node.seek(AT_ONCE_US)
    if seek is None:
        raise Differs("it does not seek though the node has no session", node.line.newest)
    return seek


@case("7; 5")
async def a_silent_node_is_resumed_with_rising_epochs(line: Line) -> None:
    """After its liveness limit a host resumes at each answer timeout, with higher epochs and fresh nonces."""
    node, flow = await _flow(line)
    flow.send_next()
    quiet_us, patience_us = line.now_us, line.setting.patience_us
    resumes = [await flow.lost()]
    if resumes[0].t_us - quiet_us < flow.liveness_us - 2_000:
        raise Differs(f"it resumes after a silence of {seconds(resumes[0].t_us - quiet_us)}", resumes[0].at)
    await node.says("lost")
    for _ in range(2):
        resumes.append(await _next_resume(flow, "the node is still silent"))
        before, now = resumes[-2:]
        if _asked(now).epoch != _asked(before).epoch + 1:
            found = f"epoch {_asked(now).epoch} after {_asked(before).epoch}"
            raise Differs(f"{found}; one higher at each try is right", now.at)
        if now.t_us - before.t_us < line.setting.settings.answer_timeout_us - patience_us:
            raise Differs("it resumes again before the answer timeout", now.at)
    if len({_asked(r).nonce for r in resumes}) < len(resumes):
        raise Differs("a nonce is used twice", resumes[-1].at)
    if any(r.frame.header.sequence for r in resumes):
        raise Differs("resume with a sequence; 0 is right")


@case("5; 7")
async def resumed_brings_new_keys_and_sequences(line: Line) -> None:
    """After resumed a host flows under the new keys, with sequence 0, and beats as at the start of a flow."""
    node, flow = await _flow(line)
    resume = await flow.lost()
    flow.take_up(resume.frame)
    await flow.begun()
    beats = [b for b in flow.those(Kind.BEAT) if b.at > resume.at]
    if not beats:
        raise Differs("no beat under the new keys", line.newest)
    if beats[0].frame.header.sequence != 0:
        raise Differs(f"its first sequence under new keys is {beats[0].frame.header.sequence}", beats[0].at)
    await flow.clean("nothing lacks")
    await node.says("flow")
    await flow.asked(flow.skip(), why="the session is watched on under the new keys")


@case("5; 6; 7")
async def resumed_tells_what_the_silence_cost(line: Line) -> None:
    """Samples that resumed counts as sent and that never came are asked for."""
    _, flow = await _flow(line)
    resume = await flow.lost()
    lacks = flow.skip(6)
    flow.take_up(resume.frame)
    await flow.asked(lacks, why="resumed named a next sample behind them")


@case("5; 10")
async def a_resumed_that_is_not_the_answer_is_dropped(line: Line) -> None:
    """A resumed with another nonce or epoch, or under another key, does not end the silence."""
    _, flow = await _flow(line)
    first = await flow.lost()
    asked, session = _asked(first), flow.session
    right = flow.resumed_of(first.frame)
    for bad in (
        session.resume_frame(flow.resumed_of(first.frame, host_nonce=bytes(16))),
        session.resume_frame(flow.resumed_of(first.frame, epoch=asked.epoch + 1)),
        flow.sealed(right, sequence=0),
        flow.sealed(right, sequence=0, tag=lambda _body: bytes(TAG_OCTETS)),
    ):
        line.send(bad)
    again = await _next_resume(flow, "no resumed was right")
    flow.take_up(again.frame)
    await flow.wait(Kind.BEAT, AT_ONCE_US, "the node has resumed")


@case("5")
async def a_slow_resumed_is_taken(line: Line) -> None:
    """A resumed that answers the resume before the last is taken: a round trip may be long."""
    _, flow = await _flow(line)
    first = await flow.lost()
    await _next_resume(flow, "the answer is under way")
    flow.take_up(first.frame)
    await flow.wait(Kind.BEAT, AT_ONCE_US, "a resumed for the resume before the last came")


@case("5; 10")
async def a_resumed_from_before_the_answered_one_is_dropped(line: Line) -> None:
    """Once a resume is answered no earlier one is: keys do not go back."""
    _, flow = await _flow(line)
    first = await flow.lost()
    second = await _next_resume(flow, "the node is still silent")
    early = flow.session.resume_frame(flow.resumed_of(first.frame))
    frame = flow.take_up(second.frame)
    line.send(early)
    line.send(frame)
    await flow.clean("a later resume was answered")
    await flow.alive("a later resume was answered")


@case("7; 10")
async def data_do_not_end_a_silence(line: Line) -> None:
    """While an address is lost authentic data and echoes are dropped: they may be old ones kept back."""
    _, flow = await _flow(line)
    beat = flow.beat.frame
    await flow.lost()
    for _ in range(3):
        flow.send_next()
    flow.control(flow.echo_of(beat))
    again = await _next_resume(flow, "data came, but no resumed")
    flow.take_up(again.frame, next_sample=flow.next)
    await flow.asked((flow.next - 3 * flow.k, 3 * flow.k), why="they came while the address was lost")


@case("5; 10")
async def frames_of_an_old_epoch_are_dropped(line: Line) -> None:
    """Data under the keys of before a resume are not taken afterwards."""
    _, flow = await _flow(line)
    old = [flow.made(flow.next + 10 * flow.k, sequence=500 + n) for n in range(3)]
    flow.take_up((await flow.lost()).frame)
    await flow.begun()
    for frame in old:
        line.send(frame)
    await flow.clean("they are under keys of an epoch that is over")


@case("4, host steps; 5")
async def a_node_without_the_session_is_paired_anew(line: Line) -> None:
    """A node that has lost its session says so, and the host pairs with it by itself."""
    node, flow = await _flow(line)
    seek = await _sought_by_itself(flow, node)
    anew = await node.pair(next_sample=8, seek=seek)
    await anew.clean("the node has paired anew")
    await node.says("flow")


@case("5")
async def no_session_of_another_does_not_part_from_the_node(line: Line) -> None:
    """When another serial number says no session, but the node itself answers, the flow is taken up."""
    time_to_answer(line, AT_ONCE_US)
    _, flow = await _flow(line)
    resume = await flow.lost()
    as_node(line, serial=OTHER_SERIAL).refuse(resume.frame.header, RefuseReason.NO_SESSION)
    await flow.wait_nothing(AT_ONCE_US, "the node itself has not answered yet")
    flow.take_up(resume.frame)
    await flow.clean("the node itself has resumed")
    if not [b for b in flow.those(Kind.BEAT) if b.at > resume.at]:
        raise Differs("no beat under the new keys", line.newest)


@case("4, step 3; 5")
async def another_node_in_its_place_is_told(line: Line) -> None:
    """When only another serial number answers, the host looks who is there and does not pair with it."""
    _, flow = await _flow(line)
    other = as_node(line, serial=OTHER_SERIAL)
    resume = await flow.lost()
    other.refuse(resume.frame.header, RefuseReason.NO_SESSION)
    seek = await other.seek(line.setting.settings.answer_timeout_us + AT_ONCE_US)
    if seek is None:
        raise Differs("it does not seek though only another node answered", line.newest)
    span_us = window_us(line, seek)
    other.offer(seek)
    await other.given_up("failed: another node answers", within_us=span_us)


@case("4, step 3")
async def another_calibration_of_the_same_node_is_told(line: Line) -> None:
    """A node that comes back with another fingerprint is not paired unless somebody asks for it."""
    node, flow = await _flow(line)
    seek = await _sought_by_itself(flow, node)
    other = as_node(line, fingerprint=bytes([0x99] * 8))
    span_us = window_us(line, seek)
    other.offer(seek)
    await other.given_up("failed: calibration fingerprint changed", within_us=span_us)


@case("4, step 3")
async def another_rate_of_the_same_node_is_told(line: Line) -> None:
    """A node that comes back with another sample rate is not paired unless somebody asks for it."""
    node, flow = await _flow(line)
    seek = await _sought_by_itself(flow, node)
    other = as_node(line, rate_hz=node.card.rate_hz // 2 or 2)
    span_us = window_us(line, seek)
    other.offer(seek)
    await other.given_up("failed: another sample rate", within_us=span_us)


@case("4, host steps")
async def an_address_that_flowed_is_not_given_up(line: Line) -> None:
    """With nobody there after a flow the host pauses and seeks again, by itself and without end."""
    node, flow = await _flow(line)
    await _sought_by_itself(flow, node)
    span_us, tries, heard_us = flow.exchange.seek.offer_window_us, 1, line.now_us
    while await node.seek(span_us) is not None:
        tries, heard_us = tries + 1, line.now_us
        if tries > line.setting.settings.tries:
            raise Differs("it seeks more often than it has tries, and makes no pause")
    await node.says("lost")
    seek = await node.seek(ABSENT_PAUSE_US)
    if seek is None:
        raise Differs("it does not seek again after the pause", line.newest)
    pause_us = line.now_us - heard_us - span_us
    if pause_us < ABSENT_PAUSE_US - line.setting.patience_us:
        raise Differs(f"it pauses {seconds(pause_us)}; {seconds(ABSENT_PAUSE_US)} are right")
    anew = await node.pair(seek=seek)
    await anew.clean("the node is back")


@case("4, after the steps of a host")
async def asked_to_pair_a_lost_address_takes_any_node(line: Line) -> None:
    """Asking to pair makes an address new: another serial number is then taken, with what it has."""
    _, flow = await _flow(line)
    await flow.lost()
    fingerprint = line.setting.sealed or bytes([0x99] * 8)
    other = as_node(line, serial=OTHER_SERIAL, fingerprint=fingerprint)
    anew = await other.pair(seek=await other.sought(asked=True))
    await anew.clean("another node was asked for")
    await other.says("flow")
