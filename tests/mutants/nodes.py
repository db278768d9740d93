"""All nodes that are wrong in one way each."""

from __future__ import annotations

from tests.mutants import nodes_flowing, nodes_in_session, nodes_pairing
from tests.mutants.wrong_node import Wrong

WRONG_NODES: tuple[Wrong, ...] = (
    *nodes_pairing.ENTERED,
    *nodes_in_session.ENTERED,
    *nodes_flowing.ENTERED,
)
