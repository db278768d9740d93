"""AES-CMAC (RFC 4493) of many messages of one length at once: one AES-ECB pass per block position.

Byte for byte what keys.cmac gives for each of them.  Only XOR and AES: no rounding anywhere.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from cryptography.hazmat.primitives.ciphers import Cipher
from cryptography.hazmat.primitives.ciphers.algorithms import AES
from cryptography.hazmat.primitives.ciphers.modes import ECB
from numpy.typing import NDArray

BLOCK = 16


def padded(octets: int) -> int:
    """Room that a message needs: whole blocks, and at least one."""
    return max(1, -(-octets // BLOCK)) * BLOCK


def doubled(block: bytes) -> bytes:
    """Multiplication by x in GF(2^128), as RFC 4493 section 2.3 makes its subkeys."""
    value = int.from_bytes(block, "big") << 1
    if value >> 128:
        value = (value & ((1 << 128) - 1)) ^ 0x87
    return value.to_bytes(BLOCK, "big")


def lumps(octets: NDArray[np.uint8], size: int = 0) -> NDArray[np.void]:
    """Rows of octets as opaque values, moved and compared whole instead of octet by octet.  A view.

    octets: the octets of a row side by side.  size: of a value, in octets; 0 for all of a row.
    """
    return octets.view(_lump(size or octets.shape[-1]))


@cache
def _lump(size: int) -> np.dtype[np.void]:
    return np.dtype((np.void, size))


class Many:
    """One key, ready for any number of batches."""

    __slots__ = ("_encryptor", "_keys")

    def __init__(self, key: bytes) -> None:
        self._encryptor = Cipher(AES(key), ECB()).encryptor()
        first = doubled(self._encryptor.update(bytes(BLOCK)))
        self._keys = tuple(np.frombuffer(k, np.uint64) for k in (first, doubled(first)))

    def tags(self, messages: NDArray[np.uint8], octets: int) -> NDArray[np.uint8]:
        """The CMAC of each row's first `octets` octets: uint8, (rows, 16).

        messages: uint8, (rows, octets or more), the octets of a row side by side; what stands behind a
        message is not looked at.
        """
        blocks = _by_position(messages, octets)
        words = blocks.view(np.uint64)
        words[-1:].reshape(-1, 2)[:] ^= self._keys[bool(octets % BLOCK or not octets)]
        room = bytearray(len(messages) * BLOCK + BLOCK)  # the cipher wants a block to spare
        state = np.frombuffer(room, np.uint64, words.shape[1])
        encrypt = self._encryptor.update_into
        for position, plain in zip(words, blocks, strict=True):
            np.bitwise_xor(position, state, out=position)  # the state is zero at first
            encrypt(plain, room)
        return state.view(np.uint8).reshape(-1, BLOCK)


def _by_position(messages: NDArray[np.uint8], octets: int) -> NDArray[np.uint8]:
    """Padded copies of messages, by block position: uint8, (positions, messages x 16).

    What stands at one position lies side by side, so each pass reads and writes memory in order.
    """
    last = padded(octets) - BLOCK
    rest = octets - last
    blocks = np.empty((last // BLOCK + 1, len(messages) * BLOCK), np.uint8)
    if last:
        lumps(blocks[:-1], BLOCK)[:] = lumps(messages[:, :last], BLOCK).T
    blocks[-1] = 0
    tail = blocks[-1].reshape(-1, BLOCK)
    if rest:
        lumps(tail[:, :rest])[:] = lumps(messages[:, last:octets])
    if rest < BLOCK:
        tail[:, rest] = 0x80
    return blocks
