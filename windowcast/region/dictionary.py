"""What every column of a comparison's files means: one table makes the files and describes them.

The description is a Data Package (Frictionless Data, *Data Package* and *Table Schema*, version 1):
``datapackage.json`` lists each file with the names, types, units and meaning of its columns.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.core.atomic_files import write_atomic
from windowcast.core.packaged import packaged_toml
from windowcast.core.version import __version__
from windowcast.region.columns import DATE_COLUMNS, QUANTITIES, WORKABLE_COLUMNS

if TYPE_CHECKING:
    import pyarrow as pa

PACKAGE = "datapackage.json"
_MEDIA = {
    ".csv": "text/csv", ".parquet": "application/vnd.apache.parquet", ".nc": "application/netcdf",
    ".geojson": "application/geo+json", ".html": "text/html",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class DescribedColumn:
    """A column of a file: its type as in Table Schema, its unit ("" for none), what it means."""

    name: str
    type: str
    unit: str
    text: str

    def field(self) -> dict[str, str]:
        """As a field of a Table Schema; `unit` is an extra property of our own."""
        found = {"name": self.name, "type": self.type, "description": self.text}
        return found | ({"unit": self.unit} if self.unit else {})


@cache
def _texts() -> Mapping[str, Any]:
    return packaged_toml("windowcast.region", "dictionary.toml")


@cache
def described(column: str) -> str:
    """What a column of seasons or stations means.

    Raises
    ------
    KeyError
        Nobody wrote it down.
    """
    if column in QUANTITIES:
        return QUANTITIES[column] + (", date" if column in DATE_COLUMNS else "")
    happened = column.removeprefix("happened_")
    if happened != column:
        return f"{QUANTITIES[happened]}: 1 it came, 0 it did not"
    for purpose, name in WORKABLE_COLUMNS.items():
        if column == name:
            return f"workable days for the {purpose} application"
    return str(_texts()["columns"][column])


def files() -> Mapping[str, str]:
    """What each file of a comparison holds, by its name."""
    return {name: str(entry["about"]) for name, entry in _texts()["files"].items()}


def columns_of(file: str) -> tuple[DescribedColumn, ...]:
    """Columns of one of the CSV files that are written row by row."""
    return tuple(DescribedColumn(*row) for row in _texts()["files"][file]["columns"])


def names_of_columns(file: str) -> tuple[str, ...]:
    """The header of that file."""
    return tuple(column.name for column in columns_of(file))


def columns_in(schema: pa.Schema, names: Sequence[str] | None = None) -> Iterator[DescribedColumn]:
    """Columns of a Parquet file, or of a CSV file with some of them."""
    import pyarrow as pa

    for field in schema:
        if names is not None and field.name not in names:
            continue
        unit = (field.metadata or {}).get(b"units", b"").decode()
        dated = field.name in DATE_COLUMNS and not pa.types.is_struct(field.type)
        kind = "date" if dated else _kind(field.type)
        yield DescribedColumn(
            field.name, kind, "" if dated or unit == "1" else unit, described(field.name)
        )


def _kind(of: pa.DataType) -> str:
    import pyarrow as pa

    if pa.types.is_struct(of):
        return "object"
    if pa.types.is_fixed_size_list(of):
        return "array"
    if pa.types.is_integer(of):
        return "integer"
    return "number" if pa.types.is_floating(of) else "string"


def write_dictionary(
    folder: Path, written: Sequence[Path], schemas: Mapping[str, Sequence[DescribedColumn]]
) -> Path:
    """``datapackage.json``: every file that was written, and the columns of each table.

    Parameters
    ----------
    written
        The files, in the folder.
    schemas
        Columns of the files that follow a schema, by name; those of others are in the table here.
    """
    resources = [
        _resource(path, schemas.get(path.name)) for path in written if path.suffix in _MEDIA
    ]
    package = {
        "profile": "data-package",
        "name": "windowcast-comparison",
        "title": "Stations, regions and years compared",
        "description": _texts()["about"],
        "sources": [{"title": f"windowcast {__version__}"}],
        "resources": resources,
    }
    text = json.dumps(package, indent=1, ensure_ascii=False)
    return write_atomic(folder / PACKAGE, text + "\n")


def _resource(path: Path, columns: Sequence[DescribedColumn] | None) -> dict[str, Any]:
    entry = _texts()["files"].get(path.name, {})
    found: dict[str, Any] = {
        "name": path.name.replace(".", "-").replace("_", "-").lower(),
        "path": path.name,
        "description": entry["about"],
        "format": path.suffix.removeprefix("."),
        "mediatype": _MEDIA[path.suffix],
    }
    if columns is None and "columns" in entry:
        columns = columns_of(path.name)
    if columns is not None:
        tabular = {"profile": "tabular-data-resource", "encoding": "utf-8"}
        found |= tabular if path.suffix == ".csv" else {}
        schema: dict[str, Any] = {"fields": [column.field() for column in columns]}
        if "key" in entry:
            schema["primaryKey"] = entry["key"]
        found["schema"] = schema | {"missingValues": [""]}
    return found
