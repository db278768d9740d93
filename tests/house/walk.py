"""What the house's tests look at: the project's own files, and the imports written in them."""

from __future__ import annotations

import ast
import shutil
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "benchsim"


@cache
def modules() -> dict[str, Path]:
    """Every module of benchsim by its dotted name."""
    found = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def tree(path: Path) -> ast.Module:
    """The syntax tree of a file, read once."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def room_of(module: str) -> str:
    """The room a module stands in: "link" for benchsim.link.node, "" for the package's face."""
    return module.partition(".")[2].partition(".")[0]


def imported(path: Path) -> Iterator[tuple[int, str, str]]:
    """Every import in a file, wherever it stands: (line, module, name taken from it or "").

    Functions and TYPE_CHECKING blocks count too, and so does import_module with a literal name.
    """
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield node.lineno, alias.name, ""
        elif isinstance(node, ast.ImportFrom):
            module = "." * node.level + (node.module or "")
            for alias in node.names:
                yield node.lineno, module, alias.name
        elif isinstance(node, ast.Call) and called(node) in ("import_module", "__import__"):
            for literal in (a for a in node.args[:1] if isinstance(a, ast.Constant)):
                yield node.lineno, str(literal.value), ""


def called(node: ast.Call) -> str:
    """The last name of what is called: "open", "import_module"."""
    function = node.func
    return str(getattr(function, "attr", None) or getattr(function, "id", ""))


def own_imports(module: str) -> Iterator[tuple[int, str]]:
    """The modules of benchsim that a module imports: (line, dotted name of a real module)."""
    known = modules()
    for line, target, name in imported(known[module]):
        if target.split(".")[0] != "benchsim":
            continue
        inner = f"{target}.{name}"
        yield line, inner if inner in known else target


def tracked() -> list[Path]:
    """The files that are, or would be, handed on: git's list, or all files of an unpacked archive."""
    if (ROOT / ".git").exists() and shutil.which("git"):
        command = ["git", "-C", str(ROOT), "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
        names = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split("\0")
        return [ROOT / n for n in names if n and (ROOT / n).is_file()]
    left_out = {".venv", "__pycache__", "build", "dist"}
    return [p for p in ROOT.rglob("*") if p.is_file() and not left_out & set(p.relative_to(ROOT).parts)]
