"""What people read comes from the catalogue: no sentence in a template, a report or a page."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment
from phrase_ids import PACKAGE

from windowcast.core.turf import Species
from windowcast.core.units import UNITS
from windowcast.report.catalogue import catalogue

TEMPLATES = sorted((PACKAGE / "web" / "templates").glob("*.html"))
MODULES = sorted(
    path for layer in ("report", "web", "cli") for path in (PACKAGE / layer).rglob("*.py")
)
PROPER = {"windowcast", "JSON"}  # names
SAID = ("title", "aria-label", "placeholder", "alt", "label")  # attributes that people read or hear
# what may stay in English, and why
ENGLISH = {
    "report/alerts.py": "what is wrong with an address, or went wrong when a message was sent",
    "report/plain.py": "a schema, for programs",
    "report/trial_dataset.py": "what the fields of data files are, for programs",
    "report/figures_png.py": "what needs the drawing library, and names that it knows",
    "report/trial_reproduce.py": "a script that stands alone, for those who check the numbers",
    "web/openapi.py": "a document for programs",
    "web/security.py": "refusals of the guard",
    "web/incoming_views.py": "remedies of errors",
    "cli/__init__.py": "help, and what is wrong with a command line",
    "cli/init.py": "questions that the site file answers in English",
    "cli/service_systems.py": "what systemd and launchd read",
    "cli/man.py": "help, as a manual page",
    "cli/reference.py": "heads of a page of the documentation",
    "cli/options.py": "help of the options that commands share",
    "cli/watching.py": "what went wrong when messages were sent",
    "cli/verify.py": "measures the models, for those who work on them",
    "cli/verify_advice_table.py": "as above",
    "cli/verify_models.py": "as above",
    "cli/verify_odds.py": "as above",
}
# calls whose texts are ids, names, errors, help or lines of a server's own log
_NOT_READ = re.compile(
    r"say|Phrase|\w*Error|\w*Exception|\w*option|argument|command|group|Choice|Path"
    r"|debug|info|warning|error|exception|fault|compile|replace|strftime|TypeVar|cast|schema_of|Shown"
)
_PROSE = re.compile(r"[A-Za-z]{2,}[,:;]? [a-z]{2,}|^[A-Z][a-z]{2,}[.:]?$|^ ?[a-z]{3,}[:;] ?$")

_CODE = re.compile(r"[{}]|=\"$|^[a-z]+ [a-z]+/[\w² ]+$")  # styles, a header, a rate's unit


def _plain(source: str) -> str:
    """A template without what is filled in."""
    return re.sub(r"\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}", "", source, flags=re.DOTALL)


class _Read(HTMLParser):
    """Collects what people read of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self._hidden += tag in {"style", "script"}
        self.found += [text for name, text in attrs if name in SAID and text]

    def handle_endtag(self, tag: str) -> None:
        self._hidden -= tag in {"style", "script"}

    def handle_data(self, data: str) -> None:
        if not self._hidden:
            self.found.append(data)


def read_in(source: str) -> list[str]:
    """Words of a template that are written in it."""
    page = _Read()
    page.feed(_plain(source))
    words = [word for text in page.found for word in re.findall(r"[^\W\d_]{2,}", text)]
    return [word for word in words if word not in PROPER]


def said_in_expressions(source: str) -> list[str]:
    """Texts within a template's expressions that look like words for people."""
    strings = [text[1:-1] for _, kind, text in Environment().lex(source) if kind == "string"]
    return [
        text
        for text in strings
        if re.match(r"[A-Z][a-z]+\b(?!\.)|(?!windowcast )\w+ \w+ \w+", text)
    ]


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.stem)
def test_a_template_says_nothing_by_itself(path: Path) -> None:
    source = path.read_text("utf-8")
    assert not read_in(source)
    assert not said_in_expressions(source)


def test_the_check_of_templates_notices() -> None:
    assert read_in("<p>{{ t('a.b') }} Save</p>") == ["Save"]
    assert read_in('<nav aria-label="Pages">{% if x %} · {% endif %}</nav>') == ["Pages"]
    assert said_in_expressions("{{ 'Save' if site else 'Make this my site' }}")
    assert not said_in_expressions("{{ t('form.save') }}{% if a == 'application' %}{% endif %}")


def naming(name: str) -> Iterator[tuple[Path, ast.Module]]:
    """The modules in which a name is written."""
    for path in PACKAGE.rglob("*.py"):
        if name in (source := path.read_text("utf-8")):
            yield path, ast.parse(source)


@cache
def _keys() -> set[str]:
    """Fixed choices, names of units and classes of the style sheet: nothing that is read."""
    found = {unit.name for units in UNITS.values() for unit in units} | set(UNITS) | set(Species)
    for _, tree in naming("Literal"):
        for node in ast.walk(tree):
            if isinstance(node, ast.Subscript) and getattr(node.value, "id", "") == "Literal":
                found |= {n.value for n in ast.walk(node) if isinstance(n, ast.Constant)}
    return found | {
        key[7:].replace("_", " ") for key in catalogue("en").raw if key[:7] == "answer."
    }


STYLES = {"bold", "cyan", "yellow", "red", "magenta", "green"}  # of the terminal
CLASSES = (
    STYLES
    | {"lab"}
    | {
        name
        for sheet in (PACKAGE / "web/static").glob("*.css")
        for name in re.findall(r"\.([a-z][\w-]*)", sheet.read_text("utf-8"))
    }
)


def prose(source: str) -> Iterator[str]:
    """Texts of a module that look like words for people, with their lines."""
    tree = ast.parse(source)
    above = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Constant) and isinstance(node.value, str)):
            continue
        text = node.value.replace("windowcast: ", "")  # before a line on standard error
        if not _PROSE.search(text) or text in _keys() or set(text.split()) <= CLASSES:
            continue
        if _CODE.search(text):
            continue
        if not any(_unread(step, above) for step in _upwards(node, above)):
            yield f"{node.lineno}: {text}"


def _upwards(node: ast.AST, above: dict[ast.AST, ast.AST]) -> Iterator[ast.AST]:
    while not isinstance(node, ast.FunctionDef | ast.Module):
        yield node
        node = above[node]


def _unread(node: ast.AST, above: dict[ast.AST, ast.AST]) -> bool:
    """Whether what stands here is for the code and not for a reader."""
    parent = above[node]
    if isinstance(parent, ast.Call):
        name = getattr(parent.func, "attr", getattr(parent.func, "id", ""))
        return node is not parent.func and bool(_NOT_READ.fullmatch(name))
    if isinstance(parent, ast.keyword):
        return parent.arg == "class_"
    annotation = isinstance(parent, ast.arg | ast.AnnAssign) and parent.annotation is node
    index = isinstance(parent, ast.Subscript) and parent.slice is node
    docstring = isinstance(parent, ast.Expr) and isinstance(node, ast.Constant)
    return annotation or index or docstring or isinstance(parent, ast.Raise | ast.Compare)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_a_module_leaves_its_sentences_to_the_catalogue(path: Path) -> None:
    if path.relative_to(PACKAGE).as_posix() not in ENGLISH:
        assert not list(prose(path.read_text("utf-8")))


def test_the_check_of_modules_notices() -> None:
    assert list(prose('echo(f"Written to {file}.")')) == ["1: Written to "]
    assert list(prose('rows = [("Area", 3)]')) == ["1: Area"]
    assert not list(prose('"""A docstring of words."""\nraise InputError("is not a date", x=1)'))
    assert not list(prose('voice.say("cli.written", file=file)\nif verdict == "cannot tell": pass'))


def test_only_the_edges_make_a_voice() -> None:
    """Commands, requests, the worker and the public interface know the reader; nobody else."""
    makers = set()
    for path, tree in naming("Voice"):
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Voice":
                makers.add(path.relative_to(PACKAGE).as_posix())
    assert makers == {
        "api/answers.py", "cli/output.py", "web/api.py", "web/context.py", "web/site_views.py",
        "web/worker.py",
    }  # fmt: skip
