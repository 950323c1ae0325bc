"""Judgements in words: SI inside, the reader's units outside.

Reasons, notes and follow-ups are written in SI by the layers below. `in_units` rewrites the
quantities in such a text; the other functions word the parts of a `Ranking`.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Sequence

from windowcast.core.units import (
    KG_PER_LB,
    M2_PER_ACRE,
    M_PER_FOOT,
    M_S_PER_MPH,
    MM_PER_INCH,
    Display,
)
from windowcast.limits.model import refused
from windowcast.windows import words
from windowcast.windows.covers import laid_on
from windowcast.windows.model import (
    FollowUp,
    Judged,
    Odds,
    PurposeOutlook,
    StockFit,
    Verdict,
    Window,
)

day = words.day  # one wording of dates for the whole program
CANDIDATES = 3  # windows of a purpose that are shown
SYMBOLS: dict[Verdict, str] = {"fit": "●", "marginal": "◐", "unfit": "○", "cannot tell": "?"}

_NUMBER = r"[-−+]?\d+(?:\.\d+)?"
_QUANTITY = re.compile(
    rf"(?<![\w.])(?P<first>{_NUMBER})"
    rf"(?:(?P<between>\s?(?:–|-|/|to|and|or)\s?)(?P<second>{_NUMBER}))?"
    r"\s?(?P<unit>°C·d|°C|K|m/s|mm|cm|km|kg/ha|ha|m)(?![\w/²³·])"
)


def _degree_days(value: float, display: Display) -> tuple[float, str, int]:
    return (value * 1.8, "°F·d", 0) if display.us else (value, "°C·d", 0)


def _temperature(value: float, display: Display) -> tuple[float, str, int]:
    return display.temperature_value(value), display.temperature_unit, 0 if display.us else 1


def _difference(value: float, display: Display) -> tuple[float, str, int]:
    return (value * 1.8, "°F", 0) if display.us else (value, "°C", 1)


def _speed(value: float, display: Display) -> tuple[float, str, int]:
    return (value / M_S_PER_MPH, "mph", 0) if display.us else (value * 3.6, "km/h", 0)


def _water(value: float, display: Display) -> tuple[float, str, int]:
    return (value / MM_PER_INCH, "in", 2) if display.us else (value, "mm", 1)


def _depth(value: float, display: Display) -> tuple[float, str, int]:
    return (value * 10 / MM_PER_INCH, "in", 0) if display.us else (value, "cm", 1)


def _distance(value: float, display: Display) -> tuple[float, str, int]:
    return (value / 1.609344, "mi", 0) if display.us else (value, "km", 0)


def _dose(value: float, display: Display) -> tuple[float, str, int]:
    if display.us:
        return value / KG_PER_LB * M2_PER_ACRE / 10_000, "lb/acre", 2
    return value, "kg/ha", 2


def _area(value: float, display: Display) -> tuple[float, str, int]:
    return (value * 10_000 / M2_PER_ACRE, "acre", 1) if display.us else (value, "ha", 1)


def _height(value: float, display: Display) -> tuple[float, str, int]:
    return (value / M_PER_FOOT, "ft", 0) if display.us else (value, "m", 1)


_Converter = Callable[[float, Display], tuple[float, str, int]]
_CONVERT: dict[str, _Converter] = {
    "°C": _temperature,
    "K": _difference,
    "°C·d": _degree_days,
    "m/s": _speed,
    "mm": _water,
    "cm": _depth,
    "km": _distance,
    "kg/ha": _dose,
    "ha": _area,
    "m": _height,
}


def number(value: float, digits: int) -> str:
    """A number with at most `digits` decimals, a true minus sign and no trailing zeros."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.removeprefix("-") if float(text) == 0 else text.replace("-", "−")


def quantity(value: float | None, unit: str, display: Display) -> str:
    """A value in SI with a unit of the schema, written in the reader's units; "–" for None."""
    return "–" if value is None else in_units(words.quantity(value, unit), display)


def in_units(text: str, display: Display) -> str:
    """Rewrite every SI quantity in a sentence; a temperature difference is written in K.

    >>> in_units("air 9.5 °C, gusts 3 to 5 m/s", Display("us"))
    'air 49 °F, gusts 7 to 11 mph'
    """

    def rewrite(match: re.Match[str]) -> str:
        convert = _CONVERT[match["unit"]]
        shown, sign, digits = convert(float(match["first"].replace("−", "-")), display)
        text = number(shown, digits)
        if match["second"]:
            shown, sign, digits = convert(float(match["second"].replace("−", "-")), display)
            text += match["between"] + number(shown, digits)
        return f"{text} {sign}"

    return _QUANTITY.sub(rewrite, text)


def long_day(date: dt.date) -> str:
    """``Thursday 6 November 2025``."""
    return f"{date:%A} {date.day} {date:%B} {date.year}"


def hours(window: Window) -> str:
    """``10:00–15:00`` in the site's time."""
    return f"{window.start:%H:%M}–{window.end:%H:%M}"


def score(window: Window) -> str:
    """``78``, or "?" when it cannot be told."""
    return "?" if window.score is None else f"{window.score:.0f}"


def share(value: float) -> str:
    """A chance as a percentage that never claims certainty it was not counted to have."""
    return f"{100 * value:.0f} %"


def odds(odds_: Odds | None) -> str:
    """``72 % (64–79)``; "–" without members to count."""
    if odds_ is None:
        return "–"
    return f"{share(odds_.share)} ({100 * odds_.low:.0f}–{100 * odds_.high:.0f})"


def odds_basis(odds_: Odds) -> str:
    """How the odds of a window were counted."""
    return f"that these hours hold: counted in {odds_.members} possible futures, {odds_.basis}"


def limit(judged: Judged | None, display: Display) -> str:
    """What holds a window down, in words: ``air temperature: 9 °C, below the graded band``."""
    if judged is None:
        return "nothing"
    return in_units(f"{judged.label}: {judged.reason}", display)


def follow_up(item: FollowUp, display: Display) -> str:
    """What must follow, with its time: ``keep dry until Thu 6 Nov 19:00``."""
    return in_units(item.text, display)


def must_follow(window: Window, display: Display) -> str:
    """Every follow-up of a window in one line."""
    return "; ".join(follow_up(item, display) for item in window.follow_up) or "–"


def answer_word(outlook: PurposeOutlook) -> str:
    """What to do: go, marginal, wait, do not spray, cannot tell, or out of season."""
    if not outlook.in_season:
        return "out of season"
    answers = {span.answer for span in outlook.turf}
    if answers and "yes" not in answers:
        return "do not spray" if outlook.turf[0].answer == "no" else "cannot tell"
    if outlook.windows:
        return "go" if outlook.windows[0].verdict == "fit" else "marginal"
    return "cannot tell" if outlook.cannot_tell else "wait"


def out_of_season(outlook: PurposeOutlook, display: Display) -> str:
    """When a closed purpose opens, and why it is closed."""
    if outlook.advice:
        return f"{outlook.title}. {in_units(outlook.advice, display)}"
    opens = f" Opens about {day(outlook.opens)}." if outlook.opens else ""
    return f"{outlook.title}. {words.sentence(in_units(outlook.why, display))}{opens}"


def stock(fit: StockFit, display: Display) -> str:
    """What an active at hand would do: ``metribuzin: fit, Sat 20 Jan 14:00, score 68. ...``."""
    when = "" if fit.start is None else f", {day(fit.start.date())} {fit.start:%H:%M}"
    points = "" if fit.score is None else f", score {fit.score:.0f}"
    return f"{fit.active}: {fit.verdict}{when}{points}; {in_units(fit.reason, display)}"


def covers(outlook: PurposeOutlook) -> list[str]:
    """What each barrier catches, laid on the days of the best windows and on its best day."""
    if refused(outlook.turf):
        return []  # the turf takes none of them: no date to apply one is told
    days = [window.date for window in outlook.windows[:CANDIDATES]]
    return [laid_on(cover, days) for cover in outlook.covers]


def in_season(outlook: PurposeOutlook, display: Display) -> str:
    """Why a purpose is open and when it closes."""
    closes = f" Closes about {day(outlook.closes)}." if outlook.closes else ""
    return f"{words.sentence(in_units(outlook.why, display))}{closes}"


def merged_notes(notes: Sequence[str], display: Display) -> list[str]:
    """Remarks on the weather; those that say the same of several quantities become one."""
    named: dict[str, list[str]] = {}
    for note in notes:
        what, colon, text = in_units(note, display).partition(": ")
        named.setdefault(text if colon else "", []).append(what)
    merged = [words.sentence(what) for what in named.pop("", [])]
    return merged + [
        words.sentence(f"{words.joined(list(dict.fromkeys(things)))}: {text}")
        for text, things in named.items()
    ]
