"""`make fuzz`: every target in turn for its share of the time; what was found is kept and told.

A find lies in tests/fuzz/finds/NAME afterwards, where the tests replay it until it is mended, and for good.
What each target has learnt lies in .fuzz/NAME and is gone on from the next time.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib
import importlib.metadata
import os
import platform
import re
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tests.fuzz.pieces import Target

ROOT = Path(__file__).parents[2]
LEARNT = ROOT / ".fuzz"
ONE_INPUT_S = 10  # far more than any input takes
MEMORY_MB = 1024
LATE_S = 60  # so much longer than it was given no target is waited for
MOST_LINES = 40
STATUS = re.compile(r"cov: (\d+) ft: \d+ corp: (\d+)")
EXECUTED = re.compile(r"stat::number_of_executed_units:\s*(\d+)")
BEGINS = (" === Uncaught Python exception", "ERROR: libFuzzer", "Traceback")
EXITED = re.compile(r"\n==\d+== ERROR: libFuzzer: fuzz target exited")
KEPT = re.compile(r"Test unit written to (\S+)")
HEAD = f"{'target':<18}{'executed':>9}{'a second':>9}{'inputs':>8}{'branches':>9}  lines run of each decoder"


def main() -> int:
    """Exit code 0: nothing found.  1: something was.  2: the fuzzer is not there."""
    asked = argparse.ArgumentParser(prog="python -m tests.fuzz.run", description=__doc__)
    asked.add_argument("--seconds", type=float, default=600, help="for all targets together")
    asked.add_argument("targets", nargs="*", help="which ones, by name; without one all")
    options = asked.parse_args()
    ends_s = time.monotonic() + options.seconds
    try:
        version = importlib.metadata.version("atheris")
    except importlib.metadata.PackageNotFoundError:
        print("atheris is not installed; `make fuzz` installs it", file=sys.stderr)
        return 2
    with _quiet():
        importlib.import_module("tests.fuzz.one")  # all that is imported by it counts its branches
    from tests.fuzz.targets import TARGETS

    names = options.targets or list(TARGETS)
    if unknown := [name for name in names if name not in TARGETS]:
        asked.error(f"no target {', '.join(unknown)}; there are {', '.join(TARGETS)}")
    os.nice(10)
    print(f"atheris {version}, Python {platform.python_version()}, {len(names)} targets\n{HEAD}", flush=True)
    failed = []
    for done, name in enumerate(names):
        share_s = (ends_s - time.monotonic()) / (len(names) - done)
        if not _fuzzed(name, TARGETS[name], share_s):
            failed.append(name)
    print(f"found something in: {', '.join(failed)}" if failed else f"{len(names)} targets, nothing found")
    return 1 if failed else 0


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Without the fuzzer's word for each module that it prepares."""
    kept = os.dup(1), os.dup(2)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in (1, 2):
        os.dup2(nowhere, stream)
    try:
        yield
    finally:
        for stream, before in zip((1, 2), kept, strict=True):
            os.dup2(before, stream)
        for file in (*kept, nowhere):
            os.close(file)


def _fuzzed(name: str, target: Target, share_s: float) -> bool:
    """One target: a fifth of its time goes to counting what it reached.  False: something escaped it."""
    from tests.fuzz.targets import FINDS, SEEDS

    learnt, finds = LEARNT / name, FINDS / name
    for folder in (learnt, finds):
        folder.mkdir(parents=True, exist_ok=True)
    words = LEARNT / f"{name}.words"
    words.write_text("".join(f"{_quoted(word)}\n" for word in target.words or ("\0",)), encoding="utf-8")
    fuzz_s = max(1, int(share_s * 4 / 5))
    folders = [str(SEEDS / name), str(finds), str(learnt)]
    command = ["fuzz", f"-max_total_time={fuzz_s}",
               f"-timeout={ONE_INPUT_S}", f"-rss_limit_mb={MEMORY_MB}", f"-max_len={target.longest}",
               f"-artifact_prefix={finds}{os.sep}", f"-dict={words}", "-print_final_stats=1",
               "-report_slow_units=1000000", *reversed(folders)]  # fmt: skip
    log, reached = LEARNT / f"{name}.log", LEARNT / f"{name}.reached"
    begun_s = time.monotonic()
    good = _apart(lambda: _fuzz(target, command), log, fuzz_s + LATE_S)
    taken_s = time.monotonic() - begun_s
    told = log.read_text(encoding="utf-8", errors="replace")
    _apart(lambda: _reach(name, folders, max(1.0, share_s / 5)), reached, LATE_S)
    print(_line(name, told, taken_s, reached.read_text(encoding="utf-8")), flush=True)
    if not good:
        _failure(name, told, log)
    if not any(finds.iterdir()):
        finds.rmdir()
    return good


def _fuzz(target: Target, command: list[str]) -> None:
    import atheris

    atheris.Setup(command, target.run)
    atheris.Fuzz()


def _reach(name: str, folders: list[str], longest_s: float) -> None:
    from tests.fuzz.reach import told_of

    print(told_of(name, folders, longest_s), flush=True)


def _apart(work: Callable[[], None], log: Path, longest_s: float) -> bool:
    """Do something in a process of its own that writes to a log.  Whether it ended well and in time."""
    log.write_bytes(b"")
    child = os.fork()
    if not child:
        _be_the_child(work, log)
    ends_s = time.monotonic() + longest_s
    while time.monotonic() < ends_s:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return status == 0
        time.sleep(0.05)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def _be_the_child(work: Callable[[], None], log: Path) -> None:
    """What escapes ends this process in the ordinary way: at its exit the fuzzer keeps the input."""
    file = os.open(log, os.O_WRONLY | os.O_APPEND)
    for stream in (1, 2):
        os.dup2(file, stream)
    work()
    os._exit(0)


def _quoted(word: str) -> str:
    """A word as a dictionary of libFuzzer has it."""
    return '"' + "".join(rf"\x{octet:02x}" for octet in word.encode()) + '"'


def _line(name: str, told: str, taken_s: float, reached: str) -> str:
    """What one target came to."""
    executed = EXECUTED.search(told)
    count = int(executed[1]) if executed else 0
    branches, inputs = (STATUS.findall(told) or [("0", "0")])[-1]
    lines = reached.strip().splitlines()[-1] if reached.strip() else "not counted"
    return f"{name:<18}{count:>9}{count / taken_s:>9.0f}{inputs:>8}{branches:>9}  {lines}"


def _failure(name: str, told: str, log: Path) -> None:
    """What escaped, where the input is, and how to see it again."""
    begins = min((at for word in BEGINS if (at := told.find(word)) >= 0), default=0)
    lines = EXITED.split(told[begins:])[0].splitlines()
    print("\n".join(f"    {line[:200]}" for line in lines[:MOST_LINES]))
    if kept := KEPT.search(told):
        path = Path(kept[1]).relative_to(ROOT)
        print(f"    kept: {path}")
        print(f"    again: {os.path.relpath(sys.executable, ROOT)} -m tests.fuzz.one {name} {path}")
    else:
        print(f"    no input was kept: see {log.relative_to(ROOT)}")


if __name__ == "__main__":
    sys.exit(main())
