"""The reference for users, made from the code: ``docs/reference.md``.

    python -m windowcast.cli.reference > docs/reference.md

What a key, an option or a column means is written once, where it is declared; a test holds the page
to it.
"""

from __future__ import annotations

import ast
import inspect
import json
import textwrap
from collections.abc import Callable, Iterator, Mapping, Sequence
from enum import Enum
from importlib import resources
from typing import Any, get_args

import click
from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

from windowcast.core.validation import allowed

_UNITS = {"degC": "°C", "m s-1": "m/s", "MJ m-2": "MJ/m²", "degree": "°", "1": ""}
Row = Sequence[str]


def page() -> str:
    """The whole page as Markdown."""
    parts: tuple[Callable[[], Iterator[str]], ...] = (
        _head, _site_file, _commands, _exits, _weather_columns, _written_files, _schemas,
    )  # fmt: skip
    return "\n".join(line for part in parts for line in part()).rstrip("\n") + "\n"


def _head() -> Iterator[str]:
    yield from _parted(
        "# Reference",
        "Keys of the site file, commands with their options, exit codes, columns and schemas. "
        "The page is made from the program (`python -m windowcast.cli.reference`).",
    )
    for title in ("Site file", "Commands", "Exit codes", "Environment", "Weather columns",
                  "Written files", "JSON schemas"):  # fmt: skip
        yield f"- [{title}](#{title.lower().replace(' ', '-')})"
    yield ""


def _parted(*paragraphs: str) -> Iterator[str]:
    """Paragraphs with an empty line after each."""
    for text in paragraphs:
        yield from (text, "")


def _table(head: Row, rows: Sequence[Row]) -> Iterator[str]:
    """A table; marks that part its cells are escaped."""
    yield f"| {' | '.join(head)} |"
    yield f"|{' --- |' * len(head)}"
    for row in rows:
        cells = (" ".join(cell.split()).replace("|", "\\|") for cell in row)
        yield f"| {' | '.join(cells)} |"
    yield ""


def _code(text: str) -> str:
    return f"`{text}`" if text else ""


# ---- site file --------------------------------------------------------------------------------


def _site_file() -> Iterator[str]:
    from windowcast.core.site import Site

    yield from _parted(
        "## Site file",
        "`windowcast init` writes one with comments. A key that is not listed is refused. "
        "What is *not said* of the turf is unknown, and nothing that depends on it is rated fit.",
    )
    yield from _keys_of(Site, "", {})


def _keys_of(model: type[BaseModel], name: str, seen: dict[type[BaseModel], str]) -> Iterator[str]:
    """The keys of a table of the file, then those of the tables in it."""
    seen[model] = name
    parent = next((base for base in model.__mro__[1:] if base in seen), None)
    meant = texts_of_keys(model)
    own = {
        key: field
        for key, field in model.model_fields.items()
        if parent is None or key not in parent.model_fields
    }
    inner = {key: found for key, field in own.items() if (found := _model_in(field.annotation))}
    if name:
        yield from _parted(
            f"### `{name}`", " ".join((inspect.getdoc(model) or "").partition("\n\n")[0].split())
        )
    if parent is not None:
        yield from _parted(f"Every key of `{seen[parent]}` may stand here too, and:")
    rows = [
        (_code(key), _kind(model, key, field), _default(field), meant[key])
        for key, field in own.items()
        if key not in inner
    ]
    yield from _table(("key", "may hold", "default", "what it is"), rows)
    for key, (table, many) in inner.items():
        path = ".".join(filter(None, (name.strip("[]"), key)))
        path = f"[[{path}]]" if many else f"[{path}]"
        if table in seen:
            yield from _parted(f"`{path}` has the keys of `{seen[table]}`. {meant[key]}.")
        else:
            yield from _keys_of(table, path, seen)


def _model_in(annotation: Any) -> tuple[type[BaseModel], bool] | None:
    """The table that a key holds, and whether it holds a list of them."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    found = next((f for part in get_args(annotation) if (f := _model_in(part))), None)
    return found and (found[0], found[1] or getattr(annotation, "__origin__", None) is tuple)


def texts_of_keys(model: type[BaseModel]) -> Mapping[str, str]:
    """What each key means: the text below its declaration, without the full stop."""
    found: dict[str, str] = {}
    for kind in reversed(model.__mro__):
        if not (issubclass(kind, BaseModel) and kind is not BaseModel):
            continue
        (declared,) = ast.parse(textwrap.dedent(inspect.getsource(kind))).body
        assert isinstance(declared, ast.ClassDef)
        for field, text in zip(declared.body, declared.body[1:], strict=False):
            if (
                isinstance(field, ast.AnnAssign)
                and isinstance(field.target, ast.Name)
                and isinstance(text, ast.Expr)
                and isinstance(text.value, ast.Constant)
            ):
                found[field.target.id] = " ".join(str(text.value.value).split()).rstrip(".")
    return found


def _kind(model: type[BaseModel], key: str, field: FieldInfo) -> str:
    if field.annotation == tuple[SecretStr, ...]:
        return "a list, each text"
    return allowed(model, [key]) or "text"


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "needed"
    value = field.get_default(call_default_factory=True)
    if value is None:
        return "*not said*"
    if isinstance(value, Enum):
        value = value.value
    if value in ("", ()):
        return "empty"
    return _code(json.dumps(value, ensure_ascii=False))


# ---- commands ---------------------------------------------------------------------------------


def _commands() -> Iterator[str]:
    from windowcast.cli import cli

    yield from _parted("## Commands", "Every command has `--help`. Options before a command:")
    context = click.Context(cli, info_name="windowcast")
    yield from _options(cli)
    yield from _below(cli, context)


def _below(group: click.Group, context: click.Context) -> Iterator[str]:
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if found is None or found.hidden:
            continue
        own = click.Context(found, info_name=name, parent=context)
        if isinstance(found, click.Group):
            yield from _below(found, own)
            continue
        words = [_argument(p) for p in found.params if isinstance(p, click.Argument)]
        usage = " ".join([own.command_path, *words])
        yield from _parted(f"### {own.command_path}", f"`{usage}`")
        yield from _help(found)
        yield from _options(found)


def _argument(argument: click.Argument) -> str:
    name = argument.metavar or (argument.name or "").upper()
    return name if argument.required or name.startswith("[") else f"[{name}]"


def _help(command: click.Command) -> Iterator[str]:
    """The help of a command; a paragraph whose lines stay as they are begins with ``\\b``."""
    for part in inspect.cleandoc(command.help or "").partition("\f")[0].split("\n\n"):
        lines = part.strip("\n").split("\n")
        if lines[0].strip() == "\b":
            yield from ("", "```text", *lines[1:], "```")
        else:
            yield from (*([""] if part.startswith("    ") else []), " ".join(part.split()))
        yield ""


def _options(command: click.Command) -> Iterator[str]:
    rows = [
        (_code(" ".join(filter(None, (", ".join(o.opts), _value(o))))), _meaning(o))
        for o in command.params
        if isinstance(o, click.Option) and not o.hidden and o.name != "help"
    ]
    if rows:
        yield from _table(("option", "what it does"), rows)


def _value(option: click.Option) -> str:
    """What stands behind an option; "" for a switch."""
    if option.is_flag:
        return ""
    if option.metavar:
        return option.metavar
    if isinstance(option.type, click.Choice):
        return "|".join(map(str, option.type.choices))
    kinds: tuple[tuple[Any, str], ...] = (
        (click.types.IntParamType, "INTEGER"), (click.types.FloatParamType, "NUMBER"),
        (click.DateTime, "DATE"),
    )  # fmt: skip
    return next((word for kind, word in kinds if isinstance(option.type, kind)), "TEXT")


def _meaning(option: click.Option) -> str:
    said = [(option.help or "").strip()]
    if isinstance(option.type, click.IntRange | click.FloatRange):
        low, high = option.type.min, option.type.max
        ends = (("from" if not option.type.min_open else "above", low), ("to", high))
        bounds = [f"{word} {end:g}" for word, end in ends if end is not None]
        said.append(f"[{' '.join(bounds)}]" if bounds else "")
    if option.show_default is True and isinstance(option.default, str | int | float):
        said.append(f"[default: {option.default}]")
    if option.required:
        said.append("[needed]")
    return " ".join(filter(None, said))


def _exits() -> Iterator[str]:
    from windowcast.cli.man import EXITS, VARIABLES

    yield from _parted("## Exit codes")
    yield from _table(("code", "means"), list(EXITS.items()))
    yield from _parted(
        "Some commands have more: `watch` and `weather doctor`, above.", "## Environment"
    )
    yield from _table(("variable", "what it is"), [(_code(k), v) for k, v in VARIABLES.items()])
    yield from _parted(
        "Hosts and switches of weather services: [weather](weather.md#what-a-request-reveals)."
    )


# ---- columns and schemas ----------------------------------------------------------------------


def _weather_columns() -> Iterator[str]:
    from windowcast.core.record import DAILY_VARIABLES, HOURLY_VARIABLES
    from windowcast.sources.columns import CONVERSIONS, kind_of

    yield from _parted(
        "## Weather columns",
        "Names in the plain layout; [weather files](weather_csv.md) says what else is read. "
        "A value outside what is possible counts as missing.",
    )
    for title, variables in (("By day", DAILY_VARIABLES), ("By hour", HOURLY_VARIABLES)):
        rows = []
        for name, variable in variables.items():
            kind = kind_of(name)
            stem = name.removesuffix(f"_{kind}") if kind else name
            names = [f"{stem}_{unit}" if unit else stem for unit in CONVERSIONS[kind]]
            unit = _UNITS.get(variable.unit, variable.unit)
            possible = f"{variable.low:g} to {variable.high:g} {unit}"
            rows.append((", ".join(map(_code, names)), variable.label, possible))
        yield from _parted(f"### {title}")
        yield from _table(("columns", "what it is", "possible"), rows)


def _written_files() -> Iterator[str]:
    from windowcast.core.packaged import packaged_toml
    from windowcast.region.dictionary import DescribedColumn, columns_of, files
    from windowcast.region.outputs import schemas
    from windowcast.report.tables import CSV_COLUMNS

    yield from _parted(
        "## Written files",
        "The season log's CSV has the columns of [its fields](season_log.md#every-field). "
        "`datapackage.json`, beside the files of `compare` and of a trial report, describes each "
        "file for programs.",
    )
    yield from _parted("### rank --format csv")
    meant = packaged_toml("windowcast.report", "rank_columns.toml")
    rows = [(_code(name), str(meant[name])) for name in CSV_COLUMNS]
    yield from _table(("column", "what it is"), rows)
    laid_out = schemas()
    for name, about in files().items():
        columns: Sequence[DescribedColumn] = ()
        if name.endswith(".csv"):
            columns = laid_out.get(name) or columns_of(name)
        yield from _parted(f"### compare: {name}", about)
        if columns:
            described = [(_code(c.name), c.type, c.unit, c.text) for c in columns]
            yield from _table(("column", "type", "unit", "what it is"), described)
    yield from _trial_tables()


def _trial_tables() -> Iterator[str]:
    from windowcast.report import trial_dataset as tables

    for title, fields in (
        ("ratings.csv", tables.RATINGS), ("rounds.csv", tables.ROUNDS),
        ("means.csv", tables.MEANS), ("comparisons.csv", tables.COMPARISONS),
        ("over_days.csv", tables.OVER_DAYS), ("doses.csv", tables.DOSES),
        ("applications.csv", tables.APPLICATIONS),
    ):  # fmt: skip
        yield from _parted(f"### trial report: {title}")
        rows = [(_code(name), kind, text) for name, kind, text in fields]
        yield from _table(("column", "type", "what it is"), rows)


def _schemas() -> Iterator[str]:
    yield from _parted(
        "## JSON schemas",
        "Values that cannot be told are null. Numbers are metric, whatever the units shown.",
    )
    folder = resources.files("windowcast.data").joinpath("schema")
    for file in sorted(folder.iterdir(), key=lambda file: file.name):
        if not file.name.endswith(".json"):
            continue
        schema = json.loads(file.read_text("utf-8"))
        yield f"- {schema['title']}: `windowcast/data/schema/{file.name}`, with the keys"
        yield f"  {', '.join(map(_code, schema['properties']))}."
    yield "- The page's interface: `/api/openapi.json` of `windowcast serve`."
    yield "- Files of `compare` and of a trial report: `datapackage.json` (Frictionless 1)."


if __name__ == "__main__":
    print(page(), end="")
