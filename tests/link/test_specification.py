"""Page, definition, vectors and code say the same, or a test fails."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
from cobs import cobs

from benchsim.link import batch, data, framing, limits
from benchsim.link.codec import layout_of
from benchsim.link.definition import describe, tables
from benchsim.link.frames import MESSAGES, Data, Header
from benchsim.link.parts import LinkSettings
from tests.link.specification import FOLDER, filled, vectors

PROSE = (FOLDER / "README.md").read_text(encoding="utf-8")


def test_the_definition_file_says_what_the_codec_is_built_from() -> None:
    assert tomllib.loads((FOLDER / "definition.toml").read_text(encoding="utf-8")) == describe()


@pytest.mark.parametrize("name", sorted(tables()))
def test_the_page_prints_every_table_as_the_code_has_it(name: str) -> None:
    assert f"<!-- table: {name} -->\n{tables()[name]}\n<!-- end -->" in PROSE


def test_the_page_has_no_table_that_nobody_makes() -> None:
    assert set(re.findall(r"<!-- table: ([\w-]+) -->", PROSE)) == set(tables())
    assert filled(PROSE) == PROSE


def test_the_vectors_are_what_the_code_makes() -> None:
    assert json.loads((FOLDER / "vectors.json").read_text(encoding="utf-8")) == json.loads(
        json.dumps(vectors())
    )


def test_the_vectors_hold_every_kind_of_frame() -> None:
    said = vectors()
    told = {t["name"] for part in ("pairing", "refuse", "flow", "resume") for t in said[part]}
    assert told == {m["name"] for m in describe()["message"]}


def test_the_fast_paths_lie_as_the_declaration() -> None:
    assert data.HEAD.size == limits.HEADER_OCTETS + layout_of(Data).fixed.size
    names = [f.name for f in (*layout_of(Header).fields, *layout_of(Data).fields)]
    kind = batch.row_type(8, 4)
    assert kind.names is not None
    assert list(kind.names) == names
    assert kind.fields is not None
    assert kind.fields["samples"][1] == data.HEAD.size + 4


def test_the_page_prints_what_a_frame_costs() -> None:
    rows = re.findall(r"^\| (\d+) \| (\d+) \| (\d+) \| ([\d.]+ m?s) \|$", PROSE, flags=re.MULTILINE)
    assert [int(k) for k, *_ in rows] == [1, 4, 8, 16, 80]
    for k, octets, each_second, waiting in rows:
        size = batch.body_octets(int(k), 4) + limits.TAG_OCTETS + limits.CRC_OCTETS
        assert int(octets) == size
        assert int(each_second) == size * 80 // int(k)
        number, unit = waiting.split()
        assert float(number) * (1e-3 if unit == "ms" else 1) == int(k) / 80


def test_the_page_says_how_long_a_frame_can_get() -> None:
    """COBS adds one octet for each 254 begun (Cheshire and Baker, 1997), and one in front."""
    longest = max(
        len(cobs.encode(b"\x01" * limits.LONGEST_FRAME)), len(cobs.encode(bytes(limits.LONGEST_FRAME)))
    )
    assert longest == framing.LONGEST_ENCODED
    assert f"in COBS ({longest}, without the 0x00)" in PROSE
    assert f"The longest has {limits.LONGEST_FRAME} octets" in PROSE


def test_the_page_prints_the_settings_as_they_are() -> None:
    settings = LinkSettings()
    for line in (
        f"| samples a frame, k | {settings.samples_per_frame} |",
        f"| liveness limit | {settings.liveness_us // 1_000_000} s |",
        f"| beat time | {settings.beat_us // 1_000_000} s |",
        f"| offer window | {settings.offer_window_us // 1000} ms |",
        f"| answer timeout | {settings.answer_timeout_us // 1000} ms |",
        f"| tries: of a seek, a prove, a release | {settings.tries} |",
    ):
        assert line in PROSE


def test_no_message_is_longer_than_the_longest_frame() -> None:
    longest = batch.body_octets(limits.MAX_SAMPLES_PER_FRAME, limits.MAX_CHANNELS)
    assert longest + limits.TAG_OCTETS + limits.CRC_OCTETS == limits.LONGEST_FRAME
    ranges = 1 + 10 * limits.MAX_RANGES
    others = [layout_of(m).fixed.size for m in MESSAGES.values()] + [ranges]
    assert max(others) + limits.HEADER_OCTETS + 12 <= limits.LONGEST_FRAME
