"""What the columns of a table of ratings stand for, by the names people give them.

A long table has a column for the value and says in others what was rated and when. A wide table
has a column for each thing that was rated, whose name says all of it: ``POAAN control 28 DAT (%)``,
``injury_2026-03-14``, ``count per ft2 before``.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from windowcast.core.errors import InputError
from windowcast.core.quantity import parse
from windowcast.core.weed_codes import weed_code
from windowcast.sources.column_names import normal, without_accents
from windowcast.sources.written_dates import Ambiguous, date_written
from windowcast.trials.rated_measures import MEASURES, TrialMeasure

Role = Literal[
    "site", "block", "plot", "number", "treatment", "timing", "date", "days", "measure", "value",
    "weed", "sample", "notes",
]  # fmt: skip
_ROLES: Mapping[Role, tuple[str, ...]] = {
    "site": ("site", "location", "loc", "place", "farm", "field", "trial site", "sitio",
             "localidad", "ubicacion", "lugar"),
    "block": ("block", "blk", "rep", "reps", "replicate", "replication", "bloque", "repeticion"),
    "plot": ("plot", "plot no", "plot no.", "plot number", "plot id", "plot #", "plotno", "plots",
             "experimental unit", "parcela", "no parcela", "numero de parcela"),
    "number": ("trt no", "trt no.", "trt #", "trt number", "trtno", "treatment no", "treatment no.",
               "treatment number", "entry", "entry no", "num tratamiento"),
    "treatment": ("treatment", "trt", "treat", "treatments", "trt name", "treatment name", "active",
                  "herbicide", "tratamiento", "herbicida"),
    "timing": ("timing", "application timing", "app timing", "appl timing", "momento"),
    "date": ("date", "rating date", "date rated", "eval date", "evaluation date", "obs date",
             "assessment date", "fecha", "fecha de evaluacion"),
    "days": ("dat", "daa", "days after treatment", "days after application", "days after", "dda",
             "dias despues de aplicar", "dias despues de la aplicacion"),
    "measure": ("measure", "variable", "rating type", "assessment", "parameter", "trait",
                "what was rated", "what", "medida", "variable evaluada"),
    "value": ("value", "rating", "score", "result", "valor", "evaluacion", "calificacion"),
    "weed": ("weed", "weed species", "species", "pest", "weed code", "maleza", "especie"),
    "sample": ("sample", "subsample", "sub sample", "sub-sample", "quadrat", "frame", "subplot",
               "muestra", "submuestra", "marco"),
    "notes": ("notes", "note", "comment", "comments", "remarks", "notas", "comentarios",
              "observaciones"),
}  # fmt: skip
_ROLE_OF = {name: role for role, names in _ROLES.items() for name in names}
_BEFORE = {"before", "pre", "pretreatment", "pre-treatment", "initial", "baseline", "antes",
           "inicial"}  # fmt: skip
_DAYS = re.compile(
    r"(?:^|(?<=\s))(?:(?P<n>\d{1,3})\s?(?P<unit>dat|daa|dda|wat|waa)"
    r"|(?P<unit2>dat|daa|dda|wat|waa)\s?(?P<n2>\d{1,3}))(?:[\s-](?P<code>[a-z]))?(?=\s|$)",
    re.ASCII,
)
_UNIT_WORDS = {"%", "pct", "percent", "no", "no.", "#", "number", "plants", "rating", "g", "grams"}
_AREA = re.compile(r"(?:/|\bper\b)\s?(?P<area>[\w²]+(?: ?\^?2\b)?)")
_LONGEST = 4  # words of a name, or of a date


@dataclass(frozen=True, slots=True)
class RatedColumn:
    """A column whose cells are ratings, as far as its name says what of.

    Attributes
    ----------
    measure
        None where only the weed is named.
    date, days
        When it was rated: the date (or one whose order is still open), or days after treatment.
    timing
        Code of the application that the days count from, in small letters; "" where it says none.
    before
        Whether the name says that it was before treatment.
    area
        Name of the area that a count belongs to; "" where it says none.
    """

    measure: TrialMeasure | None
    weed: str = ""
    date: dt.date | Ambiguous | None = None
    days: int | None = None
    timing: str = ""
    before: bool = False
    area: str = ""

    @property
    def area_m2(self) -> float | None:
        """The area that a count belongs to [m²]; None where its name says none."""
        return parse(f"1 {self.area}", "area") if self.area else None


def role_named(header: str) -> Role | None:
    """What a column of a table says, if it is no rating."""
    return _ROLE_OF.get(_plain(header)) or _ROLE_OF.get(_plain(header).replace("-", " "))


def rated_named(header: str) -> RatedColumn | None:
    """What a column of ratings says by its name; None where a word of it is not understood."""
    name = _plain(header).replace("(", " ").replace(")", " ").replace("[", " ").replace("]", " ")
    name = " ".join(name.split())
    found = _DAYS.search(name)
    days, timing = None, ""
    if found:
        name = f"{name[: found.start()]} {name[found.end() :]}"
        number, unit = found["n"] or found["n2"], found["unit"] or found["unit2"]
        days, timing = int(number) * (7 if unit.startswith("w") else 1), found["code"] or ""
    area, name = _without_area(" ".join(name.split()))
    words = name.split()
    measure = date = None
    weed = ""
    for start, end in _runs(words):
        text = " ".join(words[start:end])
        if measure is None and text in _measures():
            measure = _measures()[text]
        elif date is None and (written := _date(words[start:end])) is not None:
            date = written
        else:
            continue
        words[start:end] = ["\0"] * (end - start)
    before = any(word in _BEFORE for word in words)
    spare = _BEFORE | _UNIT_WORDS | ({measure.unit} if measure is not None else set())
    words = ["\0" if word in spare else word for word in words]
    for start, end in _runs(words):
        text = " ".join(words[start:end])
        if not weed and "\0" not in text and (code := _weed(text)):
            weed = code
            words[start:end] = ["\0"] * (end - start)
    if any(word != "\0" for word in words) or (measure is None and not weed):
        return None
    return RatedColumn(measure, weed, date, days, timing, before, area)


def measure_said(text: str) -> RatedColumn | None:
    """What a cell of a column of measures says; the id of a measure, or as a column's name."""
    if text.strip() in MEASURES:
        return RatedColumn(MEASURES[text.strip()])
    found = rated_named(text)
    return found if found is not None and found.measure is not None else None


def _without_area(name: str) -> tuple[str, str]:
    """The area behind "per" or a slash, and the name without it; "" where there is none."""
    for found in _AREA.finditer(name):
        area = found["area"].replace(" ", "").replace("^", "")
        try:
            parse(f"1 {area}", "area")
        except InputError:
            continue
        return area, f"{name[: found.start()]} {name[found.end() :]}".strip()
    return "", name


def _runs(words: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Runs of words, the longest first."""
    for size in range(min(_LONGEST, len(words)), 0, -1):
        for start in range(len(words) - size + 1):
            yield start, start + size


def _date(words: Sequence[str]) -> dt.date | Ambiguous | None:
    for text in (" ".join(words), "-".join(words)):
        try:
            return date_written(text)
        except ValueError:
            continue
    return None


def _weed(text: str) -> str:
    try:
        return weed_code(text)
    except ValueError:
        return ""


@cache
def _measures() -> Mapping[str, TrialMeasure]:
    named = {name: measure for measure in MEASURES.values() for name in measure.names}
    return named | {f"{name} %": m for name, m in named.items() if m.scale == "percent"}


def _plain(header: str) -> str:
    return without_accents(normal(header)).replace("percentage", "percent")
