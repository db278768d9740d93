"""What a run's recording holds of its frames: all of them, the same bytes each time, and never a secret."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from mcap.reader import make_reader

from benchsim.bench.bench import Bench
from benchsim.link import keys
from benchsim.record.frames import Carried
from benchsim.record.sightings import Sightings
from benchsim.scenario.run import run
from tests.scenario.texts import HEAD, built

# Two nodes flow; one falls silent and takes its session up again, so that there are keys of two epochs.
# A third, of another pairing key, is refused for its proof.
SCENARIO = (
    HEAD
    + """\
lasts: 12 s
cells: {count: 12}
nodes:
  each:
    - {cells: [1, 2, 3, 4]}
    - {cells: [5, 6, 7, 8]}
    - {cells: [9, 10, 11, 12], pairing key: of another site}
  strangers: [{strap: 1, network: 9}]
link: {delay: 2 ms, jitter: 1 ms, loss: 3 %, duplicates: 3 %, bit errors: 30 ppm, replays: 3 %, silence: 1 s}
timeline:
  - {at: 3 s, place: 1 t, name: block}
  - {at: 4 s, fault: outage, on: node 2, as: silence, for: 2500 ms}
"""
)


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "s.yaml"
    path.write_text(SCENARIO, "utf-8")
    return path


def test_a_recording_has_every_frame_of_the_run(scenario: Path, tmp_path: Path) -> None:
    """Held against the same bench, tapped without a recorder."""
    run(scenario, record=tmp_path / "run.mcap")
    made, told = built(SCENARIO), list[Carried]()
    bench = Bench(made.plan, made.profile, 1)
    bench.tap(told.append)
    bench.run(made.plan.lasts_us)
    sightings = Sightings(tmp_path / "run.mcap")
    starts = [(s.node, s.to_host, s.t_us, s.octets) for s in sightings if not s.arrived]
    assert starts == [(way // 2 + 1, way % 2 == 0, t_us, frame) for way, t_us, frame, _ in told]
    assert sightings.missing == ()
    assert len(sightings.head.nodes) == 4
    assert sightings.head.nodes[0] == "serial number 00000000000003E9, address 1, network 1"
    assert sightings.head.nodes[3].endswith("address 1, network 9, reads no cell")


@pytest.mark.parametrize("block_us", [70_000, 1_000_000, 3_300_000])
@pytest.mark.parametrize("step_us", [500_000, 7_000_000])
def test_the_bytes_are_the_same_at_any_size_of_block_and_step(
    scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, block_us: int, step_us: int
) -> None:
    run(scenario, record=tmp_path / "usual")
    monkeypatch.setattr("benchsim.bench.bench.BLOCK_US", block_us)
    monkeypatch.setattr("benchsim.scenario.run.STEP_US", step_us)
    run(scenario, record=tmp_path / "other")
    assert (tmp_path / "usual").read_bytes() == (tmp_path / "other").read_bytes()


def test_keeping_frames_changes_nothing_of_what_is_kept_beside_them(scenario: Path, tmp_path: Path) -> None:
    results = {
        depth: run(scenario, record=tmp_path / depth, depth=depth) for depth in ("frames", "indications")
    }
    beside = {"reasons", "indication", "events", "links", "s.yaml"}
    kept = {depth: [m for m in streams_of(tmp_path / depth) if m[0] in beside] for depth in results}
    assert kept["frames"] == kept["indications"]
    assert {topic for topic, _ in kept["frames"]} == beside
    columns = [result.trace.columns() for result in results.values()]
    assert columns[0].cells_kg.tobytes() == columns[1].cells_kg.tobytes()


def streams_of(path: Path) -> Iterator[tuple[str, bytes]]:
    """Everything in a file, unpacked by the container's own library: (what, octets)."""
    with path.open("rb") as file:
        reader = make_reader(file, validate_crcs=True)
        for _, channel, message in reader.iter_messages():
            yield channel.topic, message.data
        for attachment in reader.iter_attachments():
            yield attachment.name, attachment.data
        for record in reader.iter_metadata():
            yield record.name, repr(record.metadata).encode()
    yield "file", path.read_bytes()


def spied(monkeypatch: pytest.MonkeyPatch) -> set[bytes]:
    """Everything secret that keys.py is given or makes from now on."""
    secrets: set[bytes] = set()

    def keep(name: str, given: int | None, made: bool) -> None:
        real: Callable[..., bytes | None] = getattr(keys, name)

        def spy(*words: object) -> bytes | None:
            answer = real(*words)
            secret = [answer] if made else []
            secret += [words[given]] if given is not None else []  # type: ignore[list-item]
            secrets.update(octets for octets in secret if isinstance(octets, bytes))
            return answer

        monkeypatch.setattr(keys, name, spy)

    keep("public_of", 0, made=False)  # private values
    keep("agree", 0, made=True)  # shared secrets
    keep("extract", 0, made=True)  # pairing keys, master secrets
    keep("expand", 0, made=True)  # proof keys, session secrets, session keys, resume keys
    return secrets


def test_no_key_and_no_private_value_stands_anywhere_in_a_recording(
    scenario: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looked for in eight octets at a time, as octets and as digits, packed, unpacked and frame by frame."""
    plan = built(SCENARIO).plan
    pairing_keys = {plan.link.key} | {node.card.key for node in plan.nodes}
    secrets = spied(monkeypatch)
    run(scenario, record=tmp_path / "run.mcap")
    assert pairing_keys - {plan.nodes[3].card.key} <= secrets
    assert len(pairing_keys) == 2
    assert len(secrets) > 20
    seen = list(Sightings(tmp_path / "run.mcap"))
    frames = b"|".join(s.octets for s in seen)
    held = [*(octets for _, octets in streams_of(tmp_path / "run.mcap")), frames]
    assert all(public_of_a_seek(s.octets) in frames for s in seen if s.octets[1] == 1 and not s.arrived)
    everything = b"|".join([*held, *(part.hex().encode() for part in held)]).lower()
    for secret in secrets | pairing_keys:
        for at in range(0, len(secret), 8):
            piece = secret[at : at + 8]
            assert piece not in frames
            assert not any(piece in part for part in held)
            assert piece.hex().encode() not in everything


def public_of_a_seek(frame: bytes) -> bytes:
    """Octets 34 to 65 (protocols/nodelink, seek): what the search must be able to find."""
    return frame[34:66]
