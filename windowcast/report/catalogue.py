"""Words for phrases: the one place where meaning becomes a language and the reader's units.

A `Voice` looks a phrase up in ``messages/<language>.toml``, converts and rounds its quantities once
from SI (`windowcast.report.measures`) and puts names in as they were given. It is made once, where
the reader is known, and handed down.
"""

from __future__ import annotations

import datetime as dt
import logging
import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from string import Formatter
from typing import Any, cast

from windowcast.core.packaged import packaged_toml
from windowcast.core.phrase import (
    Listing,
    Name,
    Noted,
    Phrase,
    Quantity,
    Share,
    Span,
    Value,
    say,
)
from windowcast.core.units import System
from windowcast.report.measures import both, shown
from windowcast.report.translated import translated

_log = logging.getLogger(__name__)
_NO_BREAK = "\N{NO-BREAK SPACE}"
# what a reader without a shell is told in place of a text that names a command
_ON_A_PAGE: Mapping[str, Phrase] = {
    "limit.look_and_log": say("on_page.look_and_log"),
    "limit.part_canopy": say("on_page.part_canopy"),
    "criterion.dormancy.remedy": say("on_page.no_gaps_or_look"),
    "suspicion.step.review": say("on_page.review"),
    "ahead.note.usual_days": say("on_page.usual_days"),
}
Parts = tuple[tuple[str, str | None, str], ...]  # text before, value's name, form


def _germanic(number: float) -> str:
    """English, Spanish and most others: one, or any other number (CLDR plural rules)."""
    return "one" if number == 1 else "other"


# languages with other rules than one and other
_PLURALS: Mapping[str, Callable[[float], str]] = {}


def languages() -> tuple[str, ...]:
    """The languages there is a message file for."""
    from importlib import resources

    files = resources.files("windowcast.report").joinpath("messages").iterdir()
    return tuple(sorted(f.name.removesuffix(".toml") for f in files if f.name.endswith(".toml")))


@dataclass(frozen=True)
class Text:
    """One entry: its parts by plural form, and the value that chooses; "" where there is none."""

    forms: Mapping[str, Parts]
    count: str = ""

    @property
    def names(self) -> frozenset[str]:
        """Every value it speaks of."""
        found = {name for parts in self.forms.values() for _, name, _ in parts if name}
        return frozenset(found | ({self.count} if self.count else set()))


@dataclass(frozen=True)
class Catalogue:
    """The texts of one language and how it writes numbers, dates and lists."""

    lang: str
    language: Mapping[str, Any]
    raw: Mapping[str, str | Mapping[str, str]]
    plural: Callable[[float], str]

    def text(self, key: str) -> Text | None:
        """The entry of an id; None when there is none."""
        return _text(self.lang, key)


@cache
def catalogue(lang: str) -> Catalogue:
    """The catalogue of a language, read once.

    Raises
    ------
    FileNotFoundError
        There is none in this language.
    """
    tables = packaged_toml("windowcast.report", "messages", f"{lang}.toml")
    language = tables.pop("language")
    return Catalogue(lang, language, dict(_entries("", tables)), _PLURALS.get(lang, _germanic))


def _entries(path: str, table: Mapping[str, Any]) -> list[tuple[str, str | Mapping[str, str]]]:
    """Dotted ids with their texts; a table with a `count` and plural forms is one entry."""
    found: list[tuple[str, str | Mapping[str, str]]] = []
    for key, item in table.items():
        name = f"{path}.{key}" if path else key
        if isinstance(item, str) or {"count", "other"} <= set(item):
            found.append((name, item))
        else:
            found += _entries(name, item)
    return found


@cache
def _text(lang: str, key: str) -> Text | None:
    raw = catalogue(lang).raw.get(key)
    if raw is None:
        return None
    if isinstance(raw, str):
        return Text({"other": _parts(raw)})
    forms = {form: _parts(text) for form, text in raw.items() if form != "count"}
    return Text(forms, raw.get("count", ""))


@cache
def _parts(text: str) -> Parts:
    return tuple((before, name, form or "") for before, name, form, _ in Formatter().parse(text))


@dataclass(frozen=True, slots=True)
class Voice:
    """How a reader is spoken to: units, language, what parts a number from its unit, and whether
    commands can be typed where it is read."""

    units: System
    lang: str
    gap: str = " "
    shell: bool = True

    @property
    def language(self) -> Mapping[str, Any]:
        """How the language writes numbers, dates and lists."""
        return catalogue(self.lang).language

    @property
    def on_page(self) -> Voice:
        """The same for a page, where nobody can type a command."""
        return replace(self, shell=False)

    @property
    def unbroken(self) -> Voice:
        """The same with a no-break space between a number and its unit."""
        return replace(self, gap=_NO_BREAK)

    def text(self, phrase: Phrase) -> str:
        """A phrase in words.

        Nothing is raised for a phrase that the catalogue does not know or that lacks a value: its
        id stands in for it (see `fault`).
        """
        return _said(phrase, self)

    def say(self, phrase_id: str, /, **values: Value | str) -> str:
        """The phrase of an id in words; a text among its values is a name."""
        given = ((k, Name(v) if isinstance(v, str) else v) for k, v in values.items())
        return _said(Phrase(phrase_id, tuple(given)), self)

    def write(self, value: Value, form: str = "") -> str:
        """One value of a phrase in words; `form` as the message file lists them."""
        return _written(value, self, form)

    def number(self, value: float, digits: int, *, fixed: bool = False) -> str:
        """A bare number with at most `digits` decimals, with just as many where `fixed`."""
        text = f"{value:.{digits}f}"
        if "." in text and not fixed:
            text = text.rstrip("0").rstrip(".")
        return _signed(text.removeprefix("-") if float(text) == 0 else text, self)


def _said(phrase: Phrase, voice: Voice) -> str:
    if not phrase:
        return ""
    if not voice.shell:
        phrase = _ON_A_PAGE.get(phrase.id, phrase)
    book = catalogue(voice.lang)
    text = book.text(phrase.id)
    if text is None:
        return fault(phrase, "has no text")
    values = dict(phrase.values)
    if not text.names <= set(values):
        return fault(phrase, f"lacks {', '.join(sorted(text.names - set(values)))}")
    form = book.plural(_count(values[text.count])) if text.count else "other"
    said = []
    for before, name, how in text.forms.get(form, text.forms["other"]):
        if name is None:
            said.append(before)
        else:
            value = _written(values[name], voice, how)
            said += (_sounding(before, value, book), value)
    return "".join(said)


def _sounding(before: str, after: str, book: Catalogue) -> str:
    """A text as it sounds before another: in Spanish *y* is *e* before an i."""
    for ending, (sound, instead) in book.language["sounds"].items():
        if before.endswith(ending) and re.match(sound, after, re.IGNORECASE):
            return before.removesuffix(ending) + str(instead)
    return before


def fault(phrase: Phrase, problem: str) -> str:
    """What is written where a text is missing: never an error in front of a reader."""
    _log.error("phrase %s %s (%s)", phrase.id, problem, phrase.values)
    return f"[{phrase.id}]"


def _written(value: Value, voice: Voice, form: str) -> str:
    if isinstance(value, Name):
        return value.text
    if isinstance(value, Noted):
        return translated(value.text, voice.lang)
    if isinstance(value, Quantity):
        return both(value) if form == "both" else _quantity(value, voice, form)
    if isinstance(value, Phrase | Listing):
        text = _said(value, voice) if isinstance(value, Phrase) else _listing(value, voice)
        return _cased(text, form, named=bool(form) and _opens_with_name(value, voice))
    if isinstance(value, Share):
        return _chance(value, voice) if form == "chance" else _share(value, voice, form == "bare")
    if isinstance(value, Span):
        return _span(value, voice, form)
    if isinstance(value, dt.date):
        return _date(value, voice, form)
    return _signed(f"{value:.2f}".rstrip("0").rstrip(".") if value % 1 else f"{value:.0f}", voice)


def _count(value: Value) -> float:
    """The number that chooses a plural form."""
    if isinstance(value, Quantity):
        return value.value
    if isinstance(value, Listing):
        return len(value.items)
    return float(cast("float", value))


def _quantity(quantity: Quantity, voice: Voice, form: str) -> str:
    row, language = shown(quantity, voice.units), voice.language
    number = row.number(quantity.value)
    if not number:
        return str(language["unknown"])
    plus = "+" if form == "signed" and float(number) > 0 else ""
    text = plus + _signed(number, voice)
    if form == "bare" or not row.unit:
        return text
    worded = language["units"].get(row.unit)
    if worded is None:
        return str(language["number_unit"]).format(number=text, unit=row.unit, gap=voice.gap)
    plural = catalogue(voice.lang).plural(float(number))
    return str(worded.get(plural, worded["other"])).format(number=text)


def _share(share: Share, voice: Voice, bare: bool) -> str:
    language = voice.language
    if share.value != share.value:  # NaN
        return str(language["unknown"])
    number = _signed(f"{100 * share.value:.0f}".replace("-0", "0"), voice)
    return number if bare else str(language["share"]).format(number=number, gap=voice.gap)


def _chance(share: Share, voice: Voice) -> str:
    """``likely (7 in 10)``: a word with the same meaning everywhere, and its figure."""
    language, chance = voice.language, share.value
    if math.isnan(chance):
        return str(language["unknown"])
    table = language["chances"]
    limits = table["below"]
    # a limit belongs to the words in the middle: 30 and 70 % are about even
    middle = len(limits) // 2
    passed = [*(chance >= at for at in limits[:middle]), *(chance > at for at in limits[middle:])]
    figure = _odds_figure(chance, limits, table)
    return str(language["chance"]).format(word=table["words"][sum(passed)], figure=figure)


def _odds_figure(chance: float, limits: Sequence[float], table: Mapping[str, Any]) -> str:
    """``7 in 10``; near the ends in hundredths, a little below a limit ``2 in 3``.

    Never a figure of another word's chances.
    """
    if not limits[0] <= chance <= limits[-1]:
        number = round(100 * chance)
        form = "fewest" if number < 1 else "most" if number > 99 else "hundredths"
        return str(table[form]).format(number=number)
    number = min(9, max(1, round(10 * chance)))
    if any(chance < at <= number / 10 for at in limits[1:-1]):
        return str(table["nearly"][str(number)])
    return str(table["tenths"]).format(number=number)


def _signed(number: str, voice: Voice) -> str:
    """With a true minus sign and the language's decimal sign."""
    return number.replace(".", voice.language["decimal"]).replace("-", "−")


def _listing(listing: Listing, voice: Voice) -> str:
    between, last = voice.language["joins"][listing.join]
    items: list[str] = []
    for item in listing.items:
        text = _written(item, voice, "")
        if text and not (isinstance(item, Phrase) and text in items):
            items.append(text)
    if len(items) < 2:
        return "".join(items)
    last = _sounding(last, items[-1], catalogue(voice.lang))
    return f"{between.join(items[:-1])}{last}{items[-1]}"


def _date(date: dt.date, voice: Voice, form: str) -> str:
    """A date, or a time of a day, in one of the language's forms."""
    language = voice.language
    forms = language["forms"]
    if isinstance(date, dt.datetime) and form in ("", "clock"):
        clock = forms["clock"].format(hour=date.hour, minute=date.minute)
        if form:
            return str(clock)
        return str(forms["time"].format(date=_date(date, voice, "day"), clock=clock))
    return str(
        forms[form or "day"].format(
            day=date.day,
            number=date.month,
            year=date.year,
            month=language["months"][date.month - 1],
            month_long=language["months_long"][date.month - 1],
            weekday=language["weekdays"][date.weekday()],
            weekday_long=language["weekdays_long"][date.weekday()],
        )
    )


def _span(span: Span, voice: Voice, form: str) -> str:
    forms = voice.language["forms"]
    if isinstance(span.first, dt.datetime):
        first, last = (_date(end, voice, "clock") for end in (span.first, span.last))
        text = forms["clocks" if form == "clock" else "hours"]
        return str(text.format(date=_date(span.first, voice, "day"), first=first, last=last))
    first, last = (_date(end, voice, form or "short") for end in (span.first, span.last))
    return str(forms["days"].format(first=first, last=last))


def _cased(text: str, form: str, *, named: bool) -> str:
    """A text with its first letter as asked, unless that belongs to a name."""
    if not named and form == "low":
        text = text[:1].lower() + text[1:]
    if not named and form in ("cap", "sentence"):
        text = text[:1].upper() + text[1:]
    if form == "sentence" and text and not text.endswith((".", "?", "!")):
        text += "."
    return text


def _opens_with_name(value: Value, voice: Voice) -> bool:
    if isinstance(value, Listing):
        return bool(value.items) and _opens_with_name(value.items[0], voice)
    text = catalogue(voice.lang).text(value.id) if isinstance(value, Phrase) else None
    if text is None:
        return isinstance(value, Name)
    before, name, _ = text.forms["other"][0]
    return (
        not before
        and name is not None
        and _opens_with_name(cast("Phrase", value).value(name), voice)
    )
