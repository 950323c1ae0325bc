"""Every text of an error that a user can meet, read from the source: ``{}`` stands for a value."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from functools import cache
from itertools import product
from pathlib import Path

import windowcast

PACKAGE = Path(windowcast.__file__).parent
# errors of these stay in English: docs/words_es.md says why
ENGLISH = (
    "verify/", "region/", "cli/verify", "cli/watch", "cli/serve.py", "cli/init.py", "report/alert",
    "api/", "web/api.py", "core/frames.py", "core/record.py", "core/values.py", "core/phrase.py",
    "core/extras.py", "sources/frames.py", "sources/ghcn", "sources/by_name.py", "sources/uscrn.py",
    "sources/archive_series.py", "sources/own_logger.py", "records/import_export.py",
    "records/store_schema.py", "trials/",
)  # fmt: skip
_RAISED = {"InputError", "_bad", "PydanticCustomError", "HTTPException"}
_VALIDATORS = ("core/site.py", "core/turf.py", "core/sprayer.py", "core/spray_calendar.py",
               "core/weed_codes.py", "records/", "web/fields.py")  # fmt: skip
_SECOND = {"_bad", "PydanticCustomError", "HTTPException"}  # the text is their second argument


@cache
def raised() -> tuple[tuple[str, str], ...]:
    """Where, and the text of a problem or a remedy."""
    return tuple(_raised())


def _raised() -> Iterator[tuple[str, str]]:
    trees = {path: ast.parse(path.read_text("utf-8")) for path in sorted(PACKAGE.rglob("*.py"))}
    constants = dict(_constants(trees.values()))
    for path, tree in trees.items():
        name = path.relative_to(PACKAGE).as_posix()
        if name.startswith(ENGLISH):
            continue
        makers = _RAISED | ({"ValueError"} if name in _VALIDATORS else set())
        for node in ast.walk(tree):
            for part in _said(node, makers):
                for text in _texts(part, constants):
                    if any(c.isalpha() for c in text.replace("{}", "")):
                        yield f"{name}:{part.lineno}", text


def _said(node: ast.AST, makers: set[str]) -> Iterator[ast.expr]:
    if isinstance(node, ast.Call):
        called = getattr(node.func, "id", getattr(node.func, "attr", ""))
        if called in makers:
            yield from node.args[called in _SECOND :][:1]
            yield from (word.value for word in node.keywords if word.arg == "remedy")
    if isinstance(node, ast.Assign):
        targets, values = [node.targets[0]], [node.value]
        if isinstance(targets[0], ast.Tuple) and isinstance(values[0], ast.Tuple):
            targets, values = targets[0].elts, values[0].elts
        for target, value in zip(targets, values, strict=True):
            if getattr(target, "id", "") in {"problem", "remedy"}:
                yield value


def _constants(trees: Iterable[ast.Module]) -> Iterator[tuple[str, list[str]]]:
    """Texts that a module keeps under a name."""
    for tree in trees:
        for node in tree.body:
            if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                yield node.targets[0].id, list(_texts(node.value, {}))


def _texts(node: ast.expr, constants: dict[str, list[str]]) -> Iterator[str]:
    match node:
        case ast.Constant(value=str(text)):
            yield text
        case ast.JoinedStr():
            parts = [
                [p.value if isinstance(p, ast.Constant) else "{}"]
                if not (isinstance(p, ast.FormattedValue) and isinstance(p.value, ast.IfExp))
                else [*_texts(p.value, constants)]
                for p in node.values
            ]
            yield from ("".join(map(str, each)) for each in product(*parts))
        case ast.IfExp():
            yield from _texts(node.body, constants)
            yield from _texts(node.orelse, constants)
        case ast.BinOp(op=ast.Add()):
            for each in product(_texts(node.left, constants), _texts(node.right, constants)):
                yield "".join(each)
        case ast.Name() if node.id in constants:
            yield from constants[node.id]
