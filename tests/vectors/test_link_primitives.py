"""Published vectors of all that the node link builds on; the source stands beside each."""

from __future__ import annotations

import numpy as np
import pytest

from benchsim.link import cmac, keys
from benchsim.link.codec import crc32c
from benchsim.link.framing import Deframer, to_stream

_H = bytes.fromhex


def test_crc_32c_of_the_check_string() -> None:
    # RFC 3720 (iSCSI) names the polynomial; check value of the ASCII digits: catalogue of CRC algorithms.
    assert crc32c(b"123456789") == 0xE3069283


@pytest.mark.parametrize(
    ("content", "crc"),
    [  # RFC 3720, B.4; printed there as octets in wire order
        (bytes(32), "aa36918a"),
        (b"\xff" * 32, "43aba862"),
        (bytes(range(32)), "4e79dd46"),
        (bytes(range(31, -1, -1)), "5cdb3f11"),
    ],
)
def test_crc_32c_of_the_iscsi_examples(content: bytes, crc: str) -> None:
    assert crc32c(content).to_bytes(4, "little") == _H(crc)


ALL = bytes(range(256))
COBS = [  # Cheshire and Baker, 1997: the rule and its packet example; the rest are the usual edge cases
    (b"\x00", _H("0101")),
    (b"\x00\x00", _H("010101")),
    (_H("001100"), _H("01021101")),
    (_H("11220033"), _H("0311220233")),
    (_H("11223344"), _H("0511223344")),
    (_H("11000000"), _H("0211010101")),
    (ALL[1:255], b"\xff" + ALL[1:255]),
    (ALL[0:255], b"\x01\xff" + ALL[1:255]),
    (ALL[1:256], b"\xff" + ALL[1:255] + b"\x02\xff"),
    (ALL[2:256] + b"\x00", b"\xff" + ALL[2:256] + b"\x01\x01"),
    (ALL[3:256] + b"\x00\x01", b"\xfe" + ALL[3:256] + b"\x02\x01"),
    (_H("4500002c4c79000040064f37"), _H("024501042c4c79010540064f37")),
]


@pytest.mark.parametrize(("plain", "encoded"), COBS)
def test_cobs_both_ways(plain: bytes, encoded: bytes) -> None:
    assert to_stream(plain) == encoded + b"\x00"
    assert Deframer().feed(encoded + b"\x00") == [plain]


@pytest.mark.parametrize(
    ("key", "content", "mac"),
    [  # RFC 4231, 4.2 to 4.4
        (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
        (
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        ),
        (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
    ],
)
def test_hmac_sha_256(key: bytes, content: bytes, mac: str) -> None:
    assert keys.extract(key, content) == _H(mac)  # HKDF-Extract is HMAC (RFC 5869, 2.2)


def test_hkdf_sha_256() -> None:
    # RFC 5869, A.1
    master = keys.extract(bytes(range(13)), b"\x0b" * 22)
    assert master == _H("077709362c2e32df0ddc3f0dc47bba6390b6c73bb50f9c3122ec844ad7c2b3e5")
    okm = "3cb25f25faacd57a90434f64d0362f2a2d2d0a90cf1a5a4c5db02d56ecc4c5bf34007208d5b887185865"
    assert keys.expand(master, bytes(range(0xF0, 0xFA)), 42) == _H(okm)


ALICE = _H("77076d0a7318a57d3c16c17251b26645df4c2f87ebc0992ab177fba51db92c2a")
ALICE_PUBLIC = _H("8520f0098930a754748b7ddcb43ef75a0dbf3a0d26381af4eba4a98eaa9b4e6a")
BOB = _H("5dab087e624a8a4b79e17f8b83800ee66f3bb1292618b6fd1c2f8b27ff88e0eb")
BOB_PUBLIC = _H("de9edb7d7b7dc1b4d35b61c2ece435373f8343c85b78674dadfc7e146f882b4f")


def test_x25519_between_alice_and_bob() -> None:
    # RFC 7748, 6.1
    assert keys.public_of(ALICE) == ALICE_PUBLIC
    assert keys.public_of(BOB) == BOB_PUBLIC
    shared = _H("4a5d9d5ba4ce2de1728e3bf480350f25e07e21c947d19e3376f09b3c1e161742")
    assert keys.agree(ALICE, BOB_PUBLIC) == keys.agree(BOB, ALICE_PUBLIC) == shared


def test_x25519_of_one_scalar() -> None:
    # RFC 7748, 5.2, first vector
    scalar = _H("a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4")
    u = _H("e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c")
    assert keys.agree(scalar, u) == _H("c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552")


def test_a_public_value_that_makes_the_secret_zero_is_refused() -> None:
    # RFC 7748, 6.1: "check ... whether K is the all-zero value"; 0 and 1 are of small order
    assert keys.agree(ALICE, bytes(32)) is None
    assert keys.agree(ALICE, b"\x01" + bytes(31)) is None


CMAC_KEY = _H("2b7e151628aed2a6abf7158809cf4f3c")
CMAC_TEXT = _H(
    "6bc1bee22e409f96e93d7e117393172aae2d8a571e03ac9c9eb76fac45af8e51"
    "30c81c46a35ce411e5fbc1191a0a52eff69f2445df4f9b17ad2b417be66c3710"
)
CMAC = [  # RFC 4493, section 4
    (0, "bb1d6929e95937287fa37d129b756746"),
    (16, "070a16b46b4d4144f79bdd9dd04a287c"),
    (40, "dfa66747de9ae63030ca32611497c827"),
    (64, "51f0bebf7e3b9d92fc49741779363cfe"),
]


@pytest.mark.parametrize(("octets", "mac"), CMAC)
def test_aes_cmac_one_at_a_time(octets: int, mac: str) -> None:
    assert keys.cmac(CMAC_KEY, CMAC_TEXT[:octets]) == _H(mac)
    assert keys.Tagger(CMAC_KEY).tag(CMAC_TEXT[:octets]) == _H(mac)[:8]


@pytest.mark.parametrize(("octets", "mac"), CMAC)
def test_aes_cmac_many_at_once(octets: int, mac: str) -> None:
    rows = np.zeros((3, cmac.padded(octets)), dtype=np.uint8)
    rows[1, :octets] = np.frombuffer(CMAC_TEXT[:octets], np.uint8)
    assert cmac.Many(CMAC_KEY).tags(rows, octets)[1].tobytes() == _H(mac)


def test_cmac_subkeys() -> None:
    # RFC 4493, section 4: AES-128(key, 0), K1, K2
    zero = _H("7df76b0c1ab899b33e42f047b91b546f")
    assert cmac.doubled(zero) == _H("fbeed618357133667c85e08f7236a8de")
    assert cmac.doubled(cmac.doubled(zero)) == _H("f7ddac306ae266ccf90bc11ee46d513b")
