"""The parts of a `Ranking` in words, in the reader's units.

`text` words any phrase. `in_units` rewrites quantities in the sentences of the season log, which
are not phrases yet.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, Share, Span, joined, say
from windowcast.core.units import (
    KG_PER_LB,
    M2_PER_ACRE,
    M_PER_FOOT,
    M_S_PER_MPH,
    MM_PER_INCH,
    Display,
)
from windowcast.limits.model import refused
from windowcast.report.catalogue import render, written
from windowcast.windows import reasons
from windowcast.windows.covers import laid_on
from windowcast.windows.model import (
    Judged,
    Odds,
    PurposeOutlook,
    StockFit,
    Verdict,
    Window,
)

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


def text(phrase: Phrase, display: Display) -> str:
    """A phrase in words."""
    return render(phrase, display.system)


def quantity(value: float | None, unit: str, display: Display) -> str:
    """A value in SI with a unit of the criteria, written in the reader's units; "–" for None."""
    return "–" if value is None else written(reasons.measured(value, unit), display.system)


def day(date: dt.date) -> str:
    """``Thu 6 Nov``."""
    return written(date, form="day")


def short(date: dt.date) -> str:
    """``6 Nov``."""
    return written(date, form="short")


def long_day(date: dt.date) -> str:
    """``Thursday 6 November 2025``."""
    return written(date, form="long")


def hours(window: Window) -> str:
    """``10:00–15:00`` in the site's time."""
    return written(Span(window.start, window.end), form="clock")


def score(window: Window) -> str:
    """``78``, or "?" when it cannot be told."""
    return "?" if window.score is None else f"{window.score:.0f}"


def share(value: float) -> str:
    """A chance as a percentage that never claims certainty it was not counted to have."""
    return written(Share(value))


def odds(odds_: Odds | None) -> str:
    """``72 % (64–79)``; "–" without members to count."""
    if odds_ is None:
        return "–"
    ends = {"share": Share(odds_.share), "low": Share(odds_.low), "high": Share(odds_.high)}
    return render(say("report.odds", **ends))


def odds_basis(odds_: Odds) -> str:
    """How the odds of a window were counted."""
    basis = say(f"basis.{_key(odds_.basis)}")
    return render(say("report.odds_basis", members=odds_.members, basis=basis))


def verdict(of: Verdict) -> Phrase:
    """A verdict in words."""
    return say(f"verdict.{_key(of)}")


def _key(words: str) -> str:
    """The id of a fixed choice: ``cannot tell`` is ``cannot_tell``."""
    return words.replace(" ", "_")


def limit(judged: Judged | None) -> Phrase:
    """What holds a window down: ``air temperature: 9 °C, slow uptake``."""
    if judged is None:
        return say("report.nothing")
    return reasons.because(judged.label, judged.reason)


def must_follow(window: Window, display: Display) -> str:
    """Every follow-up of a window in one line."""
    items = joined(*(item.text for item in window.follow_up), join="clauses")
    return written(items, display.system) or "–"


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


def out_of_season(outlook: PurposeOutlook) -> Phrase:
    """When a closed purpose opens, and why it is closed."""
    if outlook.advice:
        return say("report.closed", title=outlook.title, advice=outlook.advice)
    if outlook.opens is None:
        return say("report.closed_why", title=outlook.title, why=outlook.why)
    return say("report.closed_opens", title=outlook.title, why=outlook.why, opens=outlook.opens)


def in_season(outlook: PurposeOutlook) -> Phrase:
    """Why a purpose is open and when it closes."""
    if outlook.closes is None:
        return say("report.open", why=outlook.why)
    return say("report.open_closes", why=outlook.why, closes=outlook.closes)


def stock(fit: StockFit) -> Phrase:
    """What an active at hand would do: ``metribuzin: fit, Sat 20 Jan 14:00, score 68; ...``."""
    return say(
        "stock.fit",
        active=Name(fit.active),
        verdict=verdict(fit.verdict),
        when=say("stock.when", start=fit.start) if fit.start else NOTHING,
        points=NOTHING
        if fit.score is None
        else say("stock.points", score=Quantity(fit.score, "1", "score")),
        reason=fit.reason,
    )


def covers(outlook: PurposeOutlook) -> list[Phrase]:
    """What each barrier catches, laid on the days of the best windows and on its best day."""
    if refused(outlook.turf):
        return []  # the turf takes none of them: no date to apply one is told
    days = [window.date for window in outlook.windows[:CANDIDATES]]
    return [laid_on(cover, days) for cover in outlook.covers]
