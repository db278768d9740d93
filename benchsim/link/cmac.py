"""AES-CMAC (RFC 4493) of many messages of one length at once: one AES-ECB pass per block position.

Byte for byte what keys.cmac gives for each of them.  Only XOR and AES: no rounding anywhere.
"""

from __future__ import annotations

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


class Many:
    """One key, ready for any number of batches."""

    __slots__ = ("_encryptor", "_keys")

    def __init__(self, key: bytes) -> None:
        self._encryptor = Cipher(AES(key), ECB()).encryptor()
        first = doubled(self._encryptor.update(bytes(BLOCK)))
        self._keys = tuple(np.frombuffer(k, np.uint64) for k in (first, doubled(first)))

    def tags(self, messages: NDArray[np.uint8], octets: int) -> NDArray[np.uint8]:
        """The CMAC of each row's first `octets` octets: uint8, (rows, 16).

        messages: uint8, (rows, padded(octets)), contiguous, zero behind each message; what stands behind
        is written over.
        """
        rows, cut = len(messages), bool(octets % BLOCK or not octets)
        if cut:
            messages[:, octets] = 0x80
        words = messages.view(np.uint64)
        room = bytearray((rows + 1) * BLOCK)  # the cipher wants a block to spare
        state = np.frombuffer(room, np.uint64, 2 * rows).reshape(rows, 2)
        mixed = np.empty((rows, 2), np.uint64)
        plain = mixed.reshape(-1).view(np.uint8).data
        last = words.shape[1] - 2
        for column in range(0, last, 2):
            np.bitwise_xor(state, words[:, column : column + 2], out=mixed)
            self._encryptor.update_into(plain, room)
        np.bitwise_xor(state, words[:, last:], out=mixed)
        mixed ^= self._keys[cut]
        self._encryptor.update_into(plain, room)
        return np.frombuffer(room, np.uint8, rows * BLOCK).reshape(rows, BLOCK)
