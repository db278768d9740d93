"""No file and no function outgrows one sitting; what is not plain at sight says what it is."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

from tests.house.walk import PACKAGE, ROOT, modules, tree

LINES_OF_A_MODULE = 400
LINES_OF_A_FUNCTION = 60
# A public class or function this short is read as fast as a docstring would be.
LINES_PLAIN_AT_SIGHT = 20

Function = ast.FunctionDef | ast.AsyncFunctionDef


def _python_files() -> list[Path]:
    return sorted([*PACKAGE.rglob("*.py"), *(ROOT / "tests").rglob("*.py")])


def _functions(path: Path) -> Iterator[Function]:
    return (n for n in ast.walk(tree(path)) if isinstance(n, Function))


def _lines(node: Function | ast.ClassDef) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def _public(body: list[ast.stmt]) -> Iterator[Function | ast.ClassDef]:
    """Public functions and classes of a module, and those inside its public classes.

    The methods of a class with bases are left out: what they mean is said at the base.
    """
    for node in body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            yield node
            if isinstance(node, ast.ClassDef) and not node.bases:
                yield from _public(node.body)


def test_a_module_is_read_in_one_sitting() -> None:
    lengths = {p.relative_to(ROOT): p.read_text(encoding="utf-8").count("\n") for p in _python_files()}
    assert not {p: n for p, n in lengths.items() if n > LINES_OF_A_MODULE}


def test_a_function_is_seen_whole() -> None:
    long = {
        f"{p.relative_to(ROOT)}:{f.lineno} {f.name}": _lines(f)
        for p in _python_files()
        for f in _functions(p)
        if _lines(f) > LINES_OF_A_FUNCTION
    }
    assert not long


def test_a_file_opens_with_what_it_is() -> None:
    silent = [m for m, p in modules().items() if not ast.get_docstring(tree(p))]
    assert not silent


def test_a_public_class_or_a_longer_function_says_what_it_is() -> None:
    silent = [
        f"{p.relative_to(ROOT)}:{node.lineno} {node.name}"
        for p in modules().values()
        for node in _public(tree(p).body)
        if not ast.get_docstring(node)
        if _lines(node) > LINES_PLAIN_AT_SIGHT
    ]
    assert not silent


def test_the_package_has_no_stubs() -> None:
    unfinished = ("NotImplemented" + "Error", "TO" + "DO", "FIX" + "ME")
    found = [(p.name, w) for p in modules().values() for w in unfinished if w in p.read_text("utf-8")]
    assert not found
