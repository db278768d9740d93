"""The four messages that make a session, as one exchange at each end.

An exchange holds what was said so far; both ends derive the same keys from the same words.  Which step
follows is not decided here but in node.py and seat.py by the tables of steps.py.
"""

from __future__ import annotations

import hmac
from dataclasses import dataclass, field

from benchsim.link import codec, keys
from benchsim.link.codec import Frame
from benchsim.link.frames import FROM_NODE, Accept, Header, Kind, Offer, Prove, Seek
from benchsim.link.limits import CRC_OCTETS, PROOF_OCTETS
from benchsim.link.parts import Expected, HostCard, NodeCard
from benchsim.link.session import Session


def proof_of(key: bytes, *said: bytes) -> bytes:
    """The proof over everything said so far: AES-CMAC of the transcript."""
    return keys.cmac(key, keys.transcript(*said))


@dataclass(slots=True)
class HostExchange:
    """The host's half of pairing one address.  The same seek is sent at each try."""

    card: HostCard
    expected: Expected
    number: int
    private: bytes = field(repr=False)
    seek_body: bytes = b""
    offer: Offer | None = None
    version: int = 0
    prove_body: bytes = b""
    _offer_body: bytes = b""
    _master: bytes = field(default=b"", repr=False)
    _proofs: keys.ProofKeys | None = field(default=None, repr=False)

    def __post_init__(self) -> None:
        card, settings = self.card, self.card.settings
        seek = Seek(
            card.host_id, *card.versions, settings.samples_per_frame, self.expected.cells, settings.beat_us,
            settings.offer_window_us, keys.public_of(self.private),
        )  # fmt: skip
        self.seek_body = codec.body_of(self._header(Kind.SEEK, card.versions[0]), seek)

    def _header(self, kind: Kind, version: int) -> Header:
        return Header(version, kind, self.card.network, self.expected.address, 0, self.number, 0)

    @property
    def seek_frame(self) -> bytes:
        return codec.seal(self.seek_body)

    def prove(self, frame: Frame) -> bytes | None:
        """Answer an offer; None when its public value is worth nothing."""
        offer = frame.message
        assert isinstance(offer, Offer)
        shared = keys.agree(self.private, offer.public)
        if shared is None:
            return None
        self._master = keys.extract(self.card.key, shared)
        self._proofs = keys.proof_keys(self._master, keys.transcript(self.seek_body, frame.body))
        self.offer, self._offer_body, self.version = offer, frame.body, offer.version
        proof = proof_of(self._proofs.host, self.seek_body, frame.body)
        self.prove_body = codec.body_of(self._header(Kind.PROVE, offer.version), Prove(offer.serial, proof))
        return codec.seal(self.prove_body)

    def accepted(self, frame: Frame, accept: Accept) -> Session | None:
        """The session, when the node's proof is right."""
        assert self._proofs is not None
        said = (self.seek_body, self._offer_body, self.prove_body)
        wanted = proof_of(self._proofs.node, *said, frame.body[:-PROOF_OCTETS])
        if not hmac.compare_digest(wanted, accept.proof):
            return None
        secret = keys.resume_secret(self._master, keys.transcript(*said, frame.body))
        return Session(self.number, self.version, self.card.network, self.expected.address, 0, secret)


@dataclass(slots=True)
class NodeExchange:
    """A node's half.  The same offer answers the same seek, the same accept the same prove."""

    card: NodeCard
    seek: Seek
    seek_body: bytes
    number: int
    version: int
    begun_us: int
    private: bytes = field(repr=False)
    offer_body: bytes = b""
    prove_body: bytes = b""
    accept_frame: bytes = b""
    _master: bytes = field(default=b"", repr=False)

    def __post_init__(self) -> None:
        card = self.card
        offer = Offer(
            card.serial, self.version, card.channels, card.rate_hz,
            min(self.seek.samples_per_frame, card.most_samples_per_frame), *card.firmware,
            card.buffer_samples, card.fingerprint, keys.public_of(self.private),
        )  # fmt: skip
        self.offer_body = codec.body_of(self._header(Kind.OFFER), offer)

    @property
    def samples_per_frame(self) -> int:
        return min(self.seek.samples_per_frame, self.card.most_samples_per_frame)

    def _header(self, kind: Kind) -> Header:
        return Header(self.version, kind, self.card.network, self.card.strap, FROM_NODE, self.number, 0)

    def ours(self, header: Header) -> bool:
        """Whether a frame claims to belong to this exchange."""
        said = (header.session, header.version, header.network)
        return said == (self.number, self.version, self.card.network)

    @property
    def offer_frame(self) -> bytes:
        return codec.seal(self.offer_body)

    def proven(self, frame: Frame, prove: Prove, next_sample: int) -> Session | None:
        """The session, when the host's proof is right; `accept_frame` is then the answer."""
        shared = keys.agree(self.private, self.seek.public)
        if shared is None:
            return None
        self._master = keys.extract(self.card.key, shared)
        said = (self.seek_body, self.offer_body)
        proofs = keys.proof_keys(self._master, keys.transcript(*said))
        if not hmac.compare_digest(proof_of(proofs.host, *said), prove.proof):
            return None
        self.prove_body = frame.body
        self.accept_frame = self._accept(proofs, next_sample)
        secret = keys.resume_secret(
            self._master, keys.transcript(*said, frame.body, self.accept_frame[:-CRC_OCTETS])
        )
        return Session(self.number, self.version, self.card.network, self.card.strap, FROM_NODE, secret)

    def _accept(self, proofs: keys.ProofKeys, next_sample: int) -> bytes:
        unproven = codec.body_of(
            self._header(Kind.ACCEPT), Accept(self.card.serial, next_sample, bytes(PROOF_OCTETS))
        )[:-PROOF_OCTETS]
        proof = proof_of(proofs.node, self.seek_body, self.offer_body, self.prove_body, unproven)
        return codec.seal(unproven + proof)
