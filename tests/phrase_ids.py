"""Every phrase that the code can say, read from its source without running it."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import product
from pathlib import Path

import windowcast

PACKAGE = Path(windowcast.__file__).parent
MAKERS = ("say", "Phrase")
ANY = r"[\w-]+"
_HANDED_ON = (
    PACKAGE / "core" / "phrase.py",
    PACKAGE / "report" / "catalogue.py",
)  # ids from elsewhere
_CALL = r"\bt\('([\w.-]+)'((?:[^()]|\([^()]*\))*)\)"


@dataclass(frozen=True)
class Said:
    """A phrase made somewhere in the code.

    `pattern` is a regular expression for its id, which may be built from parts (`family`); `names`
    are its values, None where they are not written out.
    """

    where: str
    pattern: str
    names: frozenset[str] | None

    @property
    def family(self) -> bool:
        """Whether it stands for several texts, each of which may use some of the values."""
        return ANY in self.pattern

    def among(self, ids: Mapping[str, object]) -> list[str]:
        """Which of the ids it may be."""
        if not self.family:
            literal = self.pattern.replace("\\", "")
            return [literal] if literal in ids else []
        return list(filter(re.compile(self.pattern).fullmatch, ids))


@cache
def said() -> tuple[Said, ...]:
    """Every ``say(...)`` and ``Phrase(...)`` of the package, and what its templates say."""
    return tuple(_said())


def _said() -> Iterator[Said]:
    yield from _in_templates()
    for path in sorted(PACKAGE.rglob("*.py")):
        makers = MAKERS[:1] if path in _HANDED_ON else MAKERS
        source = path.read_text("utf-8")
        tree = ast.parse(source if any(maker in source for maker in makers) else "")
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and _name(node.func) in makers and node.args:
                for pattern in _patterns(node.args[0]):
                    yield Said(f"{path.relative_to(PACKAGE)}:{node.lineno}", pattern, _names(node))


def _in_templates() -> Iterator[Said]:
    """Every ``t('id', name=...)`` of the templates."""
    for path in sorted(PACKAGE.rglob("*.html")):
        for call in re.finditer(_CALL, path.read_text("utf-8")):
            given = frozenset(re.findall(r"(\w+)=", call[2]))
            yield Said(str(path.relative_to(PACKAGE)), re.escape(call[1]), given)


def _name(node: ast.expr) -> str:
    return node.attr if isinstance(node, ast.Attribute) else getattr(node, "id", "")


def _patterns(node: ast.expr) -> list[str]:
    """The ids an expression may give; [] for the empty id, an error for one that hides them."""
    if isinstance(node, ast.Constant):
        return [re.escape(node.value)] if node.value else []
    if isinstance(node, ast.IfExp):
        return _patterns(node.body) + _patterns(node.orelse)
    if isinstance(node, ast.JoinedStr):
        return ["".join(parts) for parts in product(*map(_parts, node.values))]
    raise AssertionError(f"line {node.lineno}: write a phrase's id as a text where it is said")


def _parts(node: ast.expr) -> list[str]:
    """What a part of an f-string may be: a text, one of two texts, or anything."""
    if isinstance(node, ast.FormattedValue) and isinstance(node.value, ast.IfExp):
        return _patterns(node.value)
    return [re.escape(node.value) if isinstance(node, ast.Constant) else ANY]


def _names(node: ast.Call) -> frozenset[str] | None:
    if _name(node.func) == "Phrase":
        return None if len(node.args) > 1 or node.keywords else frozenset()
    given = [keyword.arg for keyword in node.keywords]
    return None if None in given else frozenset(name for name in given if name)
