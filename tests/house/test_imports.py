"""The floors of the house: who may import whom, and which rooms keep their hands off the world."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterable
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

from tests.house.walk import ROOT, called, imported, modules, own_imports, room_of, tree

GROUND = {"ground"}
ROOMS = {"scale", "link", "outputs", "rules", "record"}
BELOW_BENCH = GROUND | ROOMS | {"faults", "host", "checks"}
MAY_IMPORT: dict[str, set[str]] = {
    "ground": set(),
    **dict.fromkeys(ROOMS, GROUND),
    "faults": GROUND | {"scale", "link", "host"},
    "host": GROUND | {"link", "rules"},
    "checks": GROUND | {"rules", "record"},
    "bench": BELOW_BENCH - {"checks"},
    "scenario": BELOW_BENCH | {"bench"},
    "serve": BELOW_BENCH | {"bench"},
    "verify": BELOW_BENCH | {"bench"},
    "probe": GROUND | {"link", "serve"},
    "cli": BELOW_BENCH | {"bench", "scenario", "verify", "serve", "probe"},
}
PURE = GROUND | ROOMS | {"faults", "host", "checks", "bench", "verify"}
THE_WORLD = {
    "asyncio", "select", "selectors", "socket", "socketserver", "ssl", "threading", "multiprocessing",
    "concurrent", "subprocess", "signal", "time", "random", "secrets", "uuid", "serial", "pty", "tty",
    "termios", "fcntl", "http", "urllib", "aiomqtt",
}  # fmt: skip
DRAWS_OR_LOOKS_AT_A_CLOCK = {
    "urandom", "getrandom", "default_rng", "SystemRandom", "generate", "generate_key", "token_bytes",
    "now", "utcnow", "today", "perf_counter", "monotonic",
}  # fmt: skip
READS_FILES = {"open", "read_text", "read_bytes", "write_text", "write_bytes"}
READS_NO_FILES = {"scale", "link", "host", "faults", "checks", "outputs", "bench", "verify"}
ORACLES = {"scipy"}


def offenders(wrong: Callable[[str, Path], Iterable[str]], rooms: set[str] | None = None) -> list[str]:
    """What is wrong, with file and line, in all modules or in those of some rooms."""
    chosen = {m: p for m, p in modules().items() if rooms is None or room_of(m) in rooms}
    return [f"{p.relative_to(ROOT)}:{found}" for m, p in chosen.items() for found in wrong(m, p)]


def test_every_room_has_a_floor() -> None:
    rooms = {room_of(m) for m in modules()} - {""}
    assert rooms <= set(MAY_IMPORT), "give the new room a floor here and in DEVELOPERS.md"


def test_a_room_imports_only_rooms_below_it() -> None:
    def upward(module: str, _path: Path) -> Iterable[str]:
        room = room_of(module)
        allowed = MAY_IMPORT[room] | {room} if room else set()
        return (f"{n}: {t}" for n, t in own_imports(module) if room_of(t) not in allowed)

    assert not offenders(upward)


def test_nobody_imports_the_package_s_own_face() -> None:
    assert not offenders(lambda module, _: (f"{n}" for n, t in own_imports(module) if t == "benchsim"))


def test_imports_are_absolute() -> None:
    assert not offenders(lambda _, path: (f"{n}" for n, t, _ in imported(path) if t.startswith(".")))


def test_no_module_imports_itself_by_way_of_others() -> None:
    graph = {module: {target for _, target in own_imports(module)} - {module} for module in modules()}
    try:
        order = list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))
    assert len(order) >= len(graph) > 20


def test_a_pure_room_owns_no_socket_thread_clock_or_chance() -> None:
    def impure(_module: str, path: Path) -> Iterable[str]:
        for line, name, taken in imported(path):
            if name.split(".")[0] in THE_WORLD or taken in DRAWS_OR_LOOKS_AT_A_CLOCK:
                yield f"{line}: {name} {taken}"
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Attribute) and node.attr in DRAWS_OR_LOOKS_AT_A_CLOCK:
                yield f"{node.lineno}: {node.attr}"

    assert not offenders(impure, PURE)


def test_a_room_of_the_bench_reads_no_file_by_itself() -> None:
    def reads(_module: str, path: Path) -> Iterable[str]:
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.Call) and (name := called(node)) in READS_FILES:
                owner = getattr(getattr(node.func, "value", None), "id", "")
                if owner != "library" and not (name == "read_text" and isinstance(node.func, ast.Name)):
                    yield f"{node.lineno}: {name}"

    assert not offenders(reads, READS_NO_FILES)


def test_what_is_only_an_oracle_for_tests_stays_out_of_the_package() -> None:
    assert not offenders(lambda _, path: (f"{n}" for n, t, _ in imported(path) if t.split(".")[0] in ORACLES))


def test_the_walk_sees_imports_wherever_they_stand(tmp_path: Path) -> None:
    planted = tmp_path / "planted.py"
    planted.write_text(
        "import one\n"
        "if TYPE_CHECKING:\n    from two import a\n"
        "def f():\n    import three.b\n    importlib.import_module('four')\n"
        "class C:\n    def g(self):\n        from . import five\n"
    )
    assert [(n, t, name) for n, t, name in sorted(imported(planted))] == [
        (1, "one", ""), (3, "two", "a"), (5, "three.b", ""), (6, "four", ""), (9, ".", "five"),
    ]  # fmt: skip
