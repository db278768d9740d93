"""protocols/recording/README.md is enough: a recording read by that page alone, with the container's own
library, struct and json, gives what was written."""

from __future__ import annotations

import hashlib
import json
import re
import struct
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from mcap.reader import McapReader, make_reader
from mcap.records import Channel, Message, Schema

from benchsim.record.container import streams
from benchsim.record.frames import Carried
from benchsim.record.trace import FLAGS
from tests.record.kept import END_US, a_run, framed_head, keep, some_frames

PAGE = (Path(__file__).parents[2] / "protocols" / "recording" / "README.md").read_text()


@pytest.fixture
def reader(tmp_path: Path) -> Iterator[McapReader]:
    keep(tmp_path / "run", a_run(), header=framed_head(), frames=some_frames())
    with (tmp_path / "run").open("rb") as file:
        yield make_reader(file, validate_crcs=True)


def messages(reader: McapReader, topic: str) -> list[tuple[Schema, Channel, Message]]:
    return [
        (schema, channel, message)
        for schema, channel, message in reader.iter_messages(topic, log_time_order=False)
        if schema
    ]


def block(data: bytes, cells: int) -> dict[str, list[Any]]:
    """A column block as the page lays it out."""
    (rows,) = struct.unpack_from("<I", data)
    assert len(data) == 4 + rows * (6 * 8 + 2 + 4 + 8 + 8 * cells)
    at, columns = 4, {}
    layout = re.findall(r"^\| (`.*?`) \| (int64|uint16|uint32|IEEE 754 double)", PAGE, re.MULTILINE)
    for names, kind in layout:
        for name in re.findall(r"`(\w+)`", names):
            count = rows * (cells if name == "cells_kg" else 1)
            code = {"int64": "q", "uint16": "H", "uint32": "I", "IEEE 754 double": "d"}[kind]
            columns[name] = list(struct.unpack_from(f"<{count}{code}", data, at))
            at += struct.calcsize(f"<{count}{code}")
    assert at == len(data)
    return columns


def test_the_indications_can_be_read_by_the_page(reader: McapReader) -> None:
    made = a_run()
    read: dict[str, list[Any]] = {}
    for _, channel, message in messages(reader, "indication"):
        assert channel.message_encoding == "x-benchsim-columns"
        for name, values in block(message.data, made.cells).items():
            read.setdefault(name, []).extend(values)
            if name == "t_us":
                assert {t // 1_000_000 * 10**9 for t in values} == {message.log_time}
    columns = made.columns()
    for name in ("t_us", "gross_d", "tare_d", "net_d", "tenths_gross_d", "tenths_net_d", "flags", "true_kg"):
        assert read[name] == getattr(columns, name).tolist()
    assert read["cells_kg"] == columns.cells_kg.ravel().tolist()
    reasons: list[str] = []
    for _, _, message in messages(reader, "reasons"):
        document = json.loads(message.data)
        assert document["first"] == len(reasons)
        reasons += document["reasons"]
    assert [reasons[i] for i in read["reason"]] == [columns.reasons[i] for i in columns.reason]


def test_the_flags_stand_in_the_order_of_the_page() -> None:
    line = re.search(r"bits, lowest first: ([\w, ]+)", PAGE)
    assert line is not None
    assert tuple(line[1].strip().split(", ")) == FLAGS


def test_the_layout_in_the_file_is_that_of_the_page(reader: McapReader) -> None:
    schema, _, message = messages(reader, "indication")[0]
    layout = json.loads(schema.data)
    assert [c["name"] for c in layout["columns"]] == list(block(message.data, 4))
    size = sum(int(c["type"][-1]) * c["per_row"] for c in layout["columns"])
    assert size == 6 * 8 + 2 + 4 + 8 + 8 * 4


@pytest.mark.parametrize("topic", ["reasons", "events", "links"])
def test_json_messages_keep_to_the_schema_beside_them(reader: McapReader, topic: str) -> None:
    found = messages(reader, topic)
    assert found
    for schema, channel, message in found:
        assert (channel.message_encoding, schema.encoding) == ("json", "jsonschema")
        validator = Draft202012Validator(json.loads(schema.data))
        Draft202012Validator.check_schema(json.loads(schema.data))
        validator.validate(json.loads(message.data))


@pytest.mark.parametrize("topic", ["events", "links"])
def test_the_examples_of_the_page_keep_to_the_schemas(topic: str) -> None:
    example = re.search(rf'`(\{{"{topic}".*?\}})`', PAGE, re.DOTALL)
    assert example is not None
    schema = next(s.schema_data for s in streams(4) if s.topic == topic)
    Draft202012Validator(json.loads(schema)).validate(json.loads(example[1]))


def test_the_page_names_every_channel(reader: McapReader) -> None:
    summary = reader.get_summary()
    assert summary is not None
    named = re.findall(r"^\| `(\w+)` \| `(json|x-benchsim-\w+)` \|", PAGE, re.MULTILINE)
    assert sorted(named) == sorted((c.topic, c.message_encoding) for c in summary.channels.values())


def test_head_tail_and_scenario_are_where_the_page_says(reader: McapReader) -> None:
    assert reader.get_header().profile == "x-benchsim"
    metadata = {record.name: record.metadata for record in reader.iter_metadata()}
    (attachment,) = reader.iter_attachments()
    assert metadata["benchsim"][f"sha256 {attachment.name}"] == hashlib.sha256(attachment.data).hexdigest()
    table = PAGE.split("### Head")[1].split("### Tail")[0]
    keys = re.findall(r"^\| `([\w ]+)`(?:, `([\w ]+)`)?(?: \.\.\.)? \|", table, re.MULTILINE)
    told = set(metadata["benchsim"]) - {f"sha256 {attachment.name}"}
    assert {key for pair in keys for key in pair if key} - {"sha256 NAME"} == told
    counts = {"rows": "50", "events": "3", "links": "2", "frames": "40", "arrivals": "40"}
    assert metadata["benchsim.end"] == {"ended_us": str(END_US)} | counts


def table(data: bytes, at: int, rows: int, octets: int) -> list[bytes]:
    """A table as the page lays it down, each row as octets, before rows are added up."""
    return [bytes(data[at + i * rows + r] for i in range(octets)) for r in range(rows)]


def numbers(data: bytes, at: int, rows: int, columns: int) -> list[list[int]]:
    made, last = [], [0] * columns
    for row in table(data, at, rows, 8 * columns):
        last = [(a + b) % 2**64 for a, b in zip(last, struct.unpack(f"<{columns}Q", row), strict=True)]
        made.append([n - 2**64 if n >= 2**63 else n for n in last])
    return made


def octets(data: bytes, at: int, lengths: list[int]) -> tuple[list[bytes], int]:
    """Octets of these lengths, and where they end."""
    found: dict[int, list[bytes]] = {}
    for length in sorted(set(lengths)):
        last = bytes(length)
        for step in table(data, at, lengths.count(length), length):
            last = bytes((a + b) % 256 for a, b in zip(last, step, strict=True))
            found.setdefault(length, []).append(last)
        at += lengths.count(length) * length
    return [found[length].pop(0) for length in lengths], at


def test_the_frames_can_be_read_by_the_page(reader: McapReader) -> None:
    read: list[Carried] = []
    for schema, channel, message in messages(reader, "frames"):
        assert channel.message_encoding == schema.encoding == "x-benchsim-frames"
        data = message.data
        count, arrived = struct.unpack_from("<II", data)
        rows = numbers(data, 8, count, 4)
        arrivals = numbers(data, 8 + 32 * count, arrived, 2)
        sent, at = octets(data, 8 + 32 * count + 16 * arrived, [n for _, _, n, _ in rows])
        others, at = octets(data, at, [n for _, n in arrivals if n >= 0])
        assert at == len(data)
        for (way, t_us, _, several), frame in zip(rows, sent, strict=True):
            assert t_us // 1_000_000 * 10**9 == message.log_time
            own, arrivals = arrivals[:several], arrivals[several:]
            came = [(t_us + later_us, frame if n < 0 else others.pop(0)) for later_us, n in own]
            read.append((way, t_us, frame, came))
    assert read == some_frames()


def test_the_layout_of_frames_in_the_file_is_that_of_the_page(reader: McapReader) -> None:
    schema, _, _ = messages(reader, "frames")[0]
    layout = json.loads(schema.data)
    section = PAGE.split("### frames")[1]
    for part in ("frames", "arrivals"):
        item = re.search(rf"a table of {part},(.*?);\n\d", section, re.DOTALL)
        assert item is not None
        assert re.findall(r"`(\w+)`", item[1]) == [c["name"] for c in layout[part]]


def test_there_is_one_message_a_channel_and_second(reader: McapReader) -> None:
    seen = [(channel.topic, message.log_time) for _, channel, message in reader.iter_messages()]
    assert len(seen) == len(set(seen))
    assert {t % 10**9 for _, t in seen} == {0}
