"""YAML text to values, each with its place: YAML 1.2 scalar rules on the events of PyYAML's C parser.

YAML 1.2 core schema: `on` and `yes` are words, 012 is twelve, 1:30 is a word, 1e3 is a number.  A key that
stands twice is refused.  Size, depth and the number of values after aliases are limited, so that no file,
however written, takes more than a moment to read or to refuse.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import Any

import yaml

from benchsim.ground.errors import BadInput, Place

MAX_BYTES = 2_000_000
MAX_DEPTH = 40
MAX_VALUES = 200_000

_PARSER: Any = getattr(yaml, "CLoader", yaml.Loader)
_INT = re.compile(r"[-+]?[0-9]+\Z")
_BASED = re.compile(r"0o[0-7]+\Z|0x[0-9a-fA-F]+\Z")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?\Z")
_WORDS: dict[str, bool | float | None] = (
    dict.fromkeys(("", "~", "null", "Null", "NULL"))
    | dict.fromkeys(("true", "True", "TRUE"), True)
    | dict.fromkeys(("false", "False", "FALSE"), False)
    | dict.fromkeys((".inf", ".Inf", ".INF", "+.inf", "+.Inf", "+.INF"), float("inf"))
    | dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf"))
    | dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan"))
)

Loc = tuple[str | int, ...]


@dataclass(slots=True)
class Node:
    """One value of the file.  value is set for a scalar, keys for a mapping, items for a list."""

    line: int
    column: int
    value: Any = None
    keys: dict[str, tuple[Place, Node]] | None = None
    items: list[Node] | None = None
    quoted: bool = False
    one_line: bool = True


@dataclass(slots=True)
class _Open:
    """A mapping or list that is still being read.  key: the mapping's key that waits for its value."""

    node: Node
    key: str | None = None
    key_place: Place | None = None


@dataclass(slots=True)
class Places:
    """Where everything in one file stands."""

    file: str
    root: Node = field(default_factory=lambda: Node(1, 1))

    def of(self, loc: Loc, key: bool = False) -> Place:
        """The place of a value, or of its key; of the nearest thing around it when it is not there."""
        node, place = self.root, Place(self.file, self.root.line, self.root.column)
        for step in loc:
            if node.keys is not None and step in node.keys:
                key_place, node = node.keys[str(step)]
                place = key_place if key else Place(self.file, node.line, node.column)
            elif node.items is not None and isinstance(step, int) and step < len(node.items):
                node = node.items[step]
                place = Place(self.file, node.line, node.column)
            else:
                break
        return place

    def node(self, loc: Loc) -> Node | None:
        """The value at loc, or None."""
        node = self.root
        for step in loc:
            if node.keys is not None and step in node.keys:
                node = node.keys[str(step)][1]
            elif node.items is not None and isinstance(step, int) and step < len(node.items):
                node = node.items[step]
            else:
                return None
        return node

    def inside(self, loc: Loc, column: int) -> Place:
        """The place of one character (column from 1) of a text that stands on one line; else of the text."""
        place, node = self.of(loc), self.node(loc)
        if node is None or not node.one_line or column < 1:
            return place
        return Place(self.file, place.line, place.column + column - 1 + node.quoted)


def read(text: str, file: str) -> tuple[Any, Places]:
    """The values of a YAML text and where they stand.  Raises BadInput, with its place."""
    root = _Reader(file).read(text)
    return _Plain(file).value(root), Places(file, root)


class _Reader:
    """Events to nodes, without recursion: a thousand brackets in a row are an error, not a crash."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.open: list[_Open] = []
        self.anchors: dict[str, Node] = {}
        self.root: Node | None = None

    def read(self, text: str) -> Node:
        if len(text) > MAX_BYTES:
            raise BadInput(f"the file has {len(text)} characters", f"at most {MAX_BYTES}", Place(self.file))
        try:
            for event in yaml.parse(text, Loader=_PARSER):
                self._take(event)
        except yaml.MarkedYAMLError as error:
            raise self._not_yaml(error) from None
        except yaml.YAMLError as error:
            raise self._not_text(error, text) from None
        if self.root is None:
            raise BadInput("the file is empty", "write at least a title and a scale", Place(self.file))
        return self.root

    def _take(self, event: Any) -> None:
        match event:
            case yaml.ScalarEvent():
                self._put(event, self._scalar(event))
            case yaml.MappingStartEvent():
                self._begin(event, Node(*_spot(event), keys={}))
            case yaml.SequenceStartEvent():
                self._begin(event, Node(*_spot(event), items=[]))
            case yaml.MappingEndEvent() | yaml.SequenceEndEvent():
                self.open.pop()
            case yaml.AliasEvent():
                if event.anchor not in self.anchors:
                    raise self._bad(event, f"the alias *{event.anchor} has no anchor before it", "")
                self._put(event, self.anchors[event.anchor])
            case yaml.DocumentStartEvent():
                if self.root is not None:
                    raise self._bad(event, "a second document begins here", "one scenario a file")

    def _begin(self, event: Any, node: Node) -> None:
        if event.tag and event.tag != "!":
            raise self._bad(event, f"the tag {event.tag!r}", "tags are not used here")
        if len(self.open) >= MAX_DEPTH:
            raise self._bad(event, "values nested too deep", f"at most {MAX_DEPTH} levels")
        self._put(event, node)
        self.open.append(_Open(node))

    def _put(self, event: Any, node: Node) -> None:
        anchor = getattr(event, "anchor", None)
        if anchor and not isinstance(event, yaml.AliasEvent):
            self.anchors[anchor] = node
        if not self.open:
            self.root = node
            return
        top = self.open[-1]
        if top.node.items is not None:
            top.node.items.append(node)
        elif top.key is None:
            self._key(event, node, top)
        else:
            assert top.node.keys is not None
            assert top.key_place is not None
            top.node.keys[top.key] = (top.key_place, node)
            top.key = None

    def _key(self, event: Any, node: Node, top: _Open) -> None:
        place = Place(self.file, *_spot(event))
        if node.keys is not None or node.items is not None:
            raise BadInput("a mapping or a list stands as a key", "write a word as the key", place)
        key = event.value if isinstance(event, yaml.ScalarEvent) else str(node.value)
        assert top.node.keys is not None
        if key in top.node.keys:
            first = top.node.keys[key][0]
            raise BadInput(
                f"the key {key!r} stands twice", f"the first is at line {first.line}; keep one of them", place
            )
        top.key, top.key_place = key, place

    def _scalar(self, event: Any) -> Node:
        line, column = _spot(event)
        if event.tag not in (None, "!", "tag:yaml.org,2002:str"):
            raise self._bad(event, f"the tag {event.tag!r}", "tags are not used here")
        plain = event.implicit[0] and event.style in (None, "")
        value = self._plain(event) if plain else event.value
        one_line = event.start_mark.line == event.end_mark.line
        quoted = event.style in ("'", '"')
        return Node(line, column, value, quoted=quoted, one_line=one_line)

    def _plain(self, event: Any) -> Any:
        text: str = event.value
        if text in _WORDS:
            return _WORDS[text]
        if len(text) > 60:
            return text
        if _INT.match(text):
            return int(text)
        if _BASED.match(text):
            return int(text, 0)
        return float(text) if _FLOAT.match(text) else text

    def _bad(self, event: Any, found: str, right: str) -> BadInput:
        return BadInput(found, right, Place(self.file, *_spot(event)))

    def _not_yaml(self, error: yaml.MarkedYAMLError) -> BadInput:
        mark = error.problem_mark or error.context_mark
        if "nesting depth" in str(error.problem):  # the C parser's own limit, a little before ours is met
            place = Place(self.file, mark.line + 1, mark.column + 1) if mark else Place(self.file)
            return BadInput("values nested too deep", f"at most {MAX_DEPTH} levels", place)
        place = Place(self.file, mark.line + 1, mark.column + 1) if mark else Place(self.file)
        right = "indent with spaces, never with tabs" if "start any token" in str(error.problem) else ""
        if "mapping values are not allowed" in str(error.problem):
            right = "put a text with a colon in quotes, or check the indentation"
        return BadInput(f"not YAML: {error.problem}", right or str(error.context or ""), place)

    def _not_text(self, error: yaml.YAMLError, text: str) -> BadInput:
        at = getattr(error, "position", None)
        place = Place(self.file)
        if isinstance(at, int) and at <= len(text):
            place = Place(self.file, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
        return BadInput(f"not YAML: {getattr(error, 'reason', error)}", "write plain text", place)


class _Plain:
    """Nodes to plain dicts, lists and scalars; an alias is written out, but not without end."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.count = 0
        self.inside: set[int] = set()

    def value(self, node: Node) -> Any:
        self.count += 1
        if self.count > MAX_VALUES:
            raise self._bad(node, "too many values, aliases written out", f"at most {MAX_VALUES}")
        if node.keys is None and node.items is None:
            return node.value
        if id(node) in self.inside:
            raise self._bad(node, "a value that contains itself by an alias", "write it out")
        if len(self.inside) >= MAX_DEPTH:
            raise self._bad(node, "values nested too deep by aliases", f"at most {MAX_DEPTH} levels")
        self.inside.add(id(node))
        value = (
            [self.value(item) for item in node.items]
            if node.items is not None
            else {key: self.value(child) for key, (_, child) in (node.keys or {}).items()}
        )
        self.inside.discard(id(node))
        return value

    def _bad(self, node: Node, found: str, right: str) -> BadInput:
        return BadInput(found, right, Place(self.file, node.line, node.column))


def _spot(event: Any) -> tuple[int, int]:
    return event.start_mark.line + 1, event.start_mark.column + 1
