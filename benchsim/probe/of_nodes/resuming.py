"""Resume: a session taken up again with new keys (section 5)."""

from __future__ import annotations

from benchsim.ground.clock import SECOND_US
from benchsim.link import frames
from benchsim.link.frames import Kind, RefuseReason
from benchsim.link.keys import Tagger
from benchsim.probe.as_host import AT_ONCE_US, Flow, as_host, first_of, unbound, words
from benchsim.probe.case import case
from benchsim.probe.finding import Differs
from benchsim.probe.line import Line, name
from benchsim.probe.of_nodes.living import short_of_beats, silent_us
from benchsim.probe.of_nodes.repeating import Had


async def flowing(line: Line) -> Flow:
    """A flow that has begun just now."""
    await unbound(line)
    return await as_host(line).pair()


async def unheeded(flow: Flow, resumes: list[tuple[bytes, str]]) -> None:
    """None of these is answered, and the keys of now still hold.  Raises Differs."""
    line = flow.line
    for octets, _ in resumes:
        line.send(octets)
    what = " or ".join(dict.fromkeys(words for _, words in resumes))
    await flow.silence((Kind.RESUMED, Kind.REFUSE), flow.way_us, f"the resume had {what}")
    await flow.echo(f"a resume had {what}")
    await flow.data(f"a resume had {what}")


@case("5")
async def resume_is_answered_with_both_nonces(line: Line) -> None:
    """A resume of a higher epoch is answered under the resume key, with its nonce and a new one."""
    flow = await flowing(line)
    nonces = set()
    for epoch in (1, 2):
        said = await flow.resume(epoch, "its epoch is higher")
        nonces.add(said.nonce)
        if said.next_sample % flow.k:
            raise Differs(f"the flow would go on at sample {said.next_sample}, amid a frame of {flow.k}")
    if len(nonces) < 2:
        raise Differs("the nonce of an earlier resumed")
    await flow.release()


@case("5")
async def epochs_may_be_left_out(line: Line) -> None:
    """Any higher epoch is taken, not only the next one: resumes may have been lost."""
    flow = await flowing(line)
    for epoch in (7, 8, 1_000_000):
        await flow.resume(epoch, "its epoch is higher")
        await flow.echo("a new epoch has begun")
    await flow.release()


@case("5")
async def new_keys_and_numbers_hold_at_once(line: Line) -> None:
    """After resumed all has the new keys and is numbered from 0, from the sample that resumed names."""
    flow = await flowing(line)
    await flow.data()
    await flow.echo()
    said = await flow.resume(1)
    flow.beat()
    echo = await flow.expect(Kind.ECHO, AT_ONCE_US, "a new epoch has begun")
    if echo.header.sequence != 0:
        raise Differs(f"the first echo of the new epoch has the sequence {echo.header.sequence}")
    for frame in await flow.several(2):
        place, amid = divmod(first_of(frame) - said.next_sample, flow.k)
        if amid or place < 0:
            raise Differs(f"data of sample {first_of(frame)}; resumed said {said.next_sample}")
        if frame.header.sequence != place:
            raise Differs(f"data frame {place} of the new epoch has the sequence {frame.header.sequence}")
    await flow.release()


@case("2; 5")
async def clock_does_not_step_at_a_resume(line: Line) -> None:
    """A new epoch is no new session: the node's clock goes on with its samples as if nothing had been."""
    flow = await flowing(line)
    rate_hz, before = flow.offer.rate_hz, (await flow.data()).message
    for epoch in (1, 2):
        await flow.resume(epoch)
        after = (await flow.data("a new epoch has begun")).message
        assert isinstance(before, frames.Data)
        assert isinstance(after, frames.Data)
        went_us, due_us = (
            after.node_t_us - before.node_t_us,
            (after.first - before.first) * SECOND_US // rate_hz,
        )
        # Its clock and its rate may come from two crystals: a part in fifty is plenty.
        if abs(went_us - due_us) > due_us // 50 + SECOND_US // rate_hz:
            raise Differs(f"its clock went {went_us} us across a resume; {due_us} us at {rate_hz} Hz")
        before = after
    await flow.release()


@case("5")
async def lower_or_equal_epoch_is_ignored(line: Line) -> None:
    """A resume whose epoch is not higher than that of the node is not answered, and the keys still hold."""
    flow = await flowing(line)
    await flow.resume(5)
    nonces = [line.dice.octets(16) for _ in range(3)]
    await unheeded(flow, [
        (flow.session.resume_frame(frames.Resume(epoch, nonce)), "an epoch that is not higher")
        for epoch, nonce in zip((5, 4, 1), nonces, strict=True)
    ])  # fmt: skip
    await flow.release()


@case("5; 10")
async def replayed_resume_is_ignored(line: Line) -> None:
    """A resume that was answered once is not answered again, neither at once nor an epoch later."""
    flow = await flowing(line)
    await flow.resume(1)
    first = next(s.octets for s in reversed(line.said) if not s.by_device)
    await unheeded(flow, [(first, "been answered already")])
    await flow.resume(2)
    await unheeded(flow, [(first, "been answered already")])
    await flow.release()


@case("5")
async def resume_with_a_wrong_tag_is_ignored(line: Line) -> None:
    """A resume with a wrong tag, or a tag of the session's keys, is not answered; the keys still hold."""
    flow = await flowing(line)
    session, zeros = flow.session, Tagger(bytes(16))

    def forged(tagger: Tagger) -> bytes:
        return flow.frame(frames.Resume(9, line.dice.octets(16)), tagger, sequence=0)

    await unheeded(flow, [(forged(t), "a wrong tag") for t in (zeros, session.out, session.into)])
    await flow.resume(1, "a forged resume of a higher epoch moved nothing")
    await flow.release()


@case("5")
async def frames_of_an_old_epoch_are_dropped(line: Line) -> None:
    """After resume nothing is heeded that is tagged with the keys of before."""
    flow = await flowing(line)
    old_keys = flow.session.out
    await flow.resume(1)
    await flow.echo()
    line.send(flow.frame(frames.Beat(1), old_keys))
    line.send(flow.frame(frames.Beat(2), old_keys, sequence=1000))
    line.send(flow.frame(frames.Release(3), old_keys))
    await flow.silence((Kind.ECHO, Kind.RELEASED), flow.way_us, "it was tagged with the keys of before")
    await flow.echo("only the new keys hold")
    await flow.data("only the new keys hold")
    await flow.release()


@case("5")
async def resume_of_an_unknown_session_is_refused(line: Line) -> None:
    """A node that does not have a session refuses its resume, unless it is of another network."""
    flow = await flowing(line)
    number = flow.session.number ^ 1
    line.send(flow.frame(frames.Resume(1, bytes(16)), flow.session.resume, session=number, sequence=0))
    await must_be_refused(flow, number)
    network = line.setting.network ^ 1
    resume = frames.Resume(1, bytes(16))
    line.send(flow.frame(resume, flow.session.resume, network=network, sequence=0))
    line.send(flow.frame(resume, flow.session.resume, network=network, session=number, sequence=0))
    end_us = line.now_us + flow.way_us
    while (frame := await flow.hear(end_us - line.now_us)) is not None:
        if frame.header.kind in (Kind.REFUSE, Kind.RESUMED):
            raise Differs(f"it said {name(frame)} to a resume of another network")
    await flow.echo("another session was asked for")
    await flow.data("another session was asked for")
    await flow.release()


async def must_be_refused(flow: Flow, number: int) -> None:
    """A refuse of this session with no session.  Raises Differs."""
    line = flow.line
    said = await line.expect(
        Kind.REFUSE,
        AT_ONCE_US,
        lambda f: f.header.address == flow.host.address and f.header.session == number,
        never=(Kind.RESUMED,),
        why="it does not have this session",
    )
    assert isinstance(said.message, frames.Refuse)
    if said.message.reason != RefuseReason.NO_SESSION:
        raise Differs(f"refuse: {words(said.message.reason)}; due: no session")


@case("5; 6")
async def new_keys_amid_a_flow_lose_no_sample(line: Line) -> None:
    """A new epoch amid a flow loses no sample: what is not in data frames comes when it is asked for."""
    had = Had(await flowing(line))
    flow = had.flow
    had.take(await flow.data())
    for epoch in (1, 2):
        await line.pause(flow.frame_us // 2)
        nonce = line.dice.octets(16)
        line.send(flow.session.resume_frame(frames.Resume(epoch, nonce)))
        end_us = line.now_us + flow.way_us
        while (frame := await flow.hear(end_us - line.now_us)) is not None:
            had.take(frame)
            if isinstance(frame.message, frames.Resumed):
                flow.turn(epoch, nonce, frame.message.nonce)
                break
        else:
            raise Differs("no resumed: its epoch is higher", line.newest)
        for _ in range(2):
            had.take(await flow.data())
        lacking = set(range(min(had.sent), max(had.sent) + 1)) - set(had.sent) - set(had.again)
        if after := sorted(n for n in lacking if n >= frame.message.next_sample):
            raise Differs(f"no data frame of sample {after[0]}, after resumed", line.newest)
        if lacking and had.keeps(max(had.sent) + 1 - min(lacking)):
            had.ask(range(min(lacking), max(lacking) + 1))
            await had.answered(lacking)
            if gone := sorted(lacking - set(had.again)):
                raise Differs(f"sample {gone[0]} was lost with the new keys", line.newest)
    await flow.release()


@case("4, node steps; 7")
async def silent_node_is_resumed(line: Line) -> None:
    """A node that stopped because its host was silent flows again after a resume, in the new epoch."""
    flow = await short_of_beats(line)
    await line.pause(silent_us(flow) + 2 * line.setting.patience_us + flow.frame_us)
    line.forget()
    await flow.resume(1, "it keeps its session while its host is silent")
    await flow.data("it was resumed")
    await flow.echo("it was resumed")
    await flow.release()
