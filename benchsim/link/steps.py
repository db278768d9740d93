"""Both ends' transition tables, and the reasons to fail.

All that moves an end from one step to another stands in these two tables: the ends look the next step up
here and nowhere else, the specification prints them, the tests walk them.  A pair that is not in a table
moves nothing.
"""

from __future__ import annotations

from enum import StrEnum

from benchsim.ground.clock import seconds


class Step(StrEnum):
    """Where an end stands."""

    IDLE = "idle"
    SEEK = "seek"
    OFFER = "offer"
    PROVE = "prove"
    FLOW = "flow"
    LOST = "lost"
    FAILED = "failed"
    RELEASE = "release"
    RELEASED = "released"


class Reason(StrEnum):
    """Why an address does not flow, in words a technician reads."""

    NONE = ""
    NOBODY = "nobody there"
    TWO_NODES = "two nodes on one address"
    ANOTHER_NODE = "another node answers"
    WRONG_NETWORK = "wrong network"
    WRONG_KEY = "wrong key"
    BOUND = "bound to another host"
    FEW_CHANNELS = "fewer channels than cells"
    FEW_ADDRESSES = "more cells than addresses"
    RATE = "another sample rate"
    POOR = "link too poor"
    VERSION = "unknown version"
    FINGERPRINT = "calibration fingerprint changed"
    TIMED_OUT = "timed out"
    NO_SESSION = "unknown session"
    SILENT = "lost: silent"


def silent_for(silence_us: int) -> str:
    """The reason of a lost address: "lost: silent for 1.2 s"."""
    return f"{Reason.SILENT} for {seconds(silence_us)}"


class HostEvent(StrEnum):
    """What moves the host's side of one address."""

    PAIR = "asked to pair"
    SHORT = "more cells than the addresses set can carry"
    NOBODY = "no offer in any window"
    ONE_OFFER = "one fitting offer in the window"
    UNFIT = "two nodes, an unfit offer or a refusal"
    ACCEPT = "accept with a right proof"
    BAD_PROOF = "accept with a wrong proof"
    UNANSWERED = "no answer after all tries"
    POOR = "too little of the trial at first sending"
    SILENT = "nothing verified within the liveness limit"
    RESUMED = "resumed with a right tag"
    NO_SESSION = "refuse: unknown session"
    DOUBT = "refuse: wrong key, for the first time"
    AGAIN = "pause over"
    RELEASE = "asked to release"
    LET_GO = "asked to release without a session"
    RELEASED = "released with a right tag"


class NodeEvent(StrEnum):
    """What moves a node."""

    SEEK = "seek it can answer"
    PROVEN = "prove with a right proof"
    BAD_PROOF = "prove with a wrong proof"
    EXPIRED = "exchange too old"
    SILENT = "nothing authentic for 4 beat times"
    BEAT = "session frame with a right tag"
    RESUME = "resume with a right tag and a higher epoch"
    RELEASE = "release with a right tag"
    RESTART = "power-up"
    RECOMMISSION = "recommissioned at the node"


_H, _N = HostEvent, NodeEvent

HOST_STEPS: dict[tuple[Step, HostEvent], Step] = {
    **{(step, _H.PAIR): Step.SEEK for step in Step if step is not Step.OFFER},
    (Step.SEEK, _H.SHORT): Step.FAILED,
    (Step.SEEK, _H.ONE_OFFER): Step.PROVE,
    (Step.SEEK, _H.NOBODY): Step.FAILED,
    (Step.SEEK, _H.UNFIT): Step.FAILED,
    (Step.PROVE, _H.ACCEPT): Step.FLOW,
    (Step.PROVE, _H.BAD_PROOF): Step.FAILED,
    (Step.PROVE, _H.UNFIT): Step.FAILED,
    (Step.PROVE, _H.UNANSWERED): Step.FAILED,
    (Step.PROVE, _H.NO_SESSION): Step.SEEK,
    (Step.PROVE, _H.DOUBT): Step.SEEK,
    (Step.FLOW, _H.UNFIT): Step.FAILED,
    (Step.FLOW, _H.POOR): Step.FAILED,
    (Step.FLOW, _H.SILENT): Step.LOST,
    (Step.FLOW, _H.RESUMED): Step.FLOW,
    (Step.LOST, _H.RESUMED): Step.FLOW,
    (Step.LOST, _H.NO_SESSION): Step.SEEK,
    (Step.LOST, _H.AGAIN): Step.SEEK,
    (Step.FLOW, _H.RELEASE): Step.RELEASE,
    (Step.LOST, _H.RELEASE): Step.RELEASE,
    (Step.RELEASE, _H.RESUMED): Step.RELEASE,
    (Step.RELEASE, _H.RELEASED): Step.RELEASED,
    (Step.RELEASE, _H.UNANSWERED): Step.FAILED,
    **{
        (step, _H.LET_GO): Step.RELEASED
        for step in (Step.IDLE, Step.SEEK, Step.PROVE, Step.LOST, Step.FAILED)
    },
}

# An address that has flowed and was never released or refused is not given up: what would have been
# "failed" for want of a good answer becomes "lost", and the host goes on trying.
HOST_STEPS_ONCE_FLOWED: dict[tuple[Step, HostEvent], Step] = {
    (Step.SEEK, _H.NOBODY): Step.LOST,
    (Step.PROVE, _H.UNANSWERED): Step.LOST,
    (Step.PROVE, _H.BAD_PROOF): Step.LOST,
}

NODE_STEPS: dict[tuple[Step, NodeEvent], Step] = {
    (Step.IDLE, _N.SEEK): Step.OFFER,
    (Step.OFFER, _N.SEEK): Step.OFFER,
    (Step.OFFER, _N.PROVEN): Step.FLOW,
    (Step.OFFER, _N.BAD_PROOF): Step.OFFER,
    (Step.OFFER, _N.EXPIRED): Step.IDLE,
    (Step.FLOW, _N.PROVEN): Step.FLOW,
    (Step.FLOW, _N.RESUME): Step.FLOW,
    (Step.FLOW, _N.SILENT): Step.LOST,
    (Step.FLOW, _N.RELEASE): Step.RELEASED,
    (Step.LOST, _N.BEAT): Step.FLOW,
    (Step.LOST, _N.PROVEN): Step.FLOW,
    (Step.LOST, _N.RESUME): Step.FLOW,
    (Step.LOST, _N.RELEASE): Step.RELEASED,
    (Step.RELEASED, _N.SEEK): Step.OFFER,
    (Step.RELEASED, _N.PROVEN): Step.FLOW,
    **{
        (step, event): Step.IDLE
        for step in (Step.IDLE, Step.OFFER, Step.FLOW, Step.LOST, Step.RELEASED)
        for event in (_N.RESTART, _N.RECOMMISSION)
    },
}


def next_host_step(step: Step, event: HostEvent, once_flowed: bool) -> Step | None:
    """The step an event leads to, None when it moves nothing."""
    if once_flowed and (step, event) in HOST_STEPS_ONCE_FLOWED:
        return HOST_STEPS_ONCE_FLOWED[step, event]
    return HOST_STEPS.get((step, event))
