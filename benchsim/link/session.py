"""One session: its keys, its counters, and the two lanes each way.

The data lane carries only data frames, so a node may make them ahead; the control lane carries the rest.
Each lane of each direction counts its own sequence from 0 and has its own replay window at the receiver.
A new epoch (resume) has new keys, new counters and new windows.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from benchsim.link import codec, frames
from benchsim.link.codec import Frame
from benchsim.link.frames import Header, Kind, Message
from benchsim.link.gaps import Window
from benchsim.link.keys import SessionKeys, Tagger, resume_key, session_keys
from benchsim.link.limits import SEQUENCE_LAST


@dataclass(slots=True)
class Session:
    """One end's half of a session.  from_node: 1 at the node, 0 at the host (the flag of what it sends).

    over: it was released, and is kept only to answer a release that is asked again.
    """

    number: int
    version: int
    network: int
    address: int
    from_node: int
    secret: bytes = field(repr=False)
    epoch: int = 0
    sequence: int = 0
    data_sequence: int = 0
    over: bool = False
    out: Tagger = field(init=False, repr=False)
    into: Tagger = field(init=False, repr=False)
    resume: Tagger = field(init=False, repr=False)
    control: Window = field(init=False, repr=False)
    data: Window = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self.resume = Tagger(resume_key(self.secret))
        self.turn(self.epoch)

    def turn(self, epoch: int, host_nonce: bytes = b"", node_nonce: bytes = b"") -> None:
        """Begin an epoch: new keys, counters and windows."""
        keys: SessionKeys = session_keys(self.secret, epoch, host_nonce, node_nonce)
        up, down = Tagger(keys.up), Tagger(keys.down)
        self.out, self.into = (up, down) if self.from_node else (down, up)
        self.epoch, self.sequence, self.data_sequence = epoch, 0, 0
        self.control, self.data = Window(), Window()

    def header(self, kind: Kind, sequence: int) -> Header:
        return Header(self.version, kind, self.network, self.address, self.from_node, self.number, sequence)

    @property
    def spent(self) -> bool:
        """Whether the control lane has no number left: nothing more is sent in it until a new epoch."""
        return self.sequence > SEQUENCE_LAST

    def control_frame(self, message: Message) -> bytes:
        """A tagged frame of the control lane with the next sequence number."""
        body = codec.body_of(self.header(message.KIND, self.sequence), message)
        self.sequence += 1
        return codec.seal(body, self.out.tag(body))

    def resume_frame(self, message: frames.Resume | frames.Resumed) -> bytes:
        """A frame that changes the epoch: tagged with the resume key; its epoch stands for a sequence."""
        body = codec.body_of(self.header(message.KIND, 0), message)
        return codec.seal(body, self.resume.tag(body))

    def ours(self, frame: Frame) -> bool:
        """Whether a frame claims to be of this session."""
        h = frame.header
        return h.session == self.number and h.version == self.version and h.network == self.network

    def verify(self, frame: Frame) -> bool:
        """Whether a control frame is new and its tag right; if so its sequence number is used up."""
        sequence = frame.header.sequence
        if not self.control.fresh(sequence) or not self.into.fits(frame.body, frame.tag):
            return False
        self.control.take(sequence)
        return True
