"""Each hour of the days ahead, criterion by criterion."""

from __future__ import annotations

from dataclasses import replace

import pytest
from report_fixtures import TODAY, hours, strip
from spoken import METRIC, US

from windowcast.core.phrase import NOTHING, say
from windowcast.core.values import PACKAGED
from windowcast.limits.model import TurfSpan
from windowcast.report.answer_page import hour_levels
from windowcast.report.catalogue import Voice, catalogue
from windowcast.report.hour_checks import HourTable, hour_table
from windowcast.windows.hour_model import HourCheck, HourStrip
from windowcast.windows.score import Rule

CRITERIA = PACKAGED["criteria"]


def check(name: str, unit: str, **given: object) -> HourCheck:
    """A criterion that is met in every hour, unless it is said otherwise."""
    many = sum(hours().light)
    plain = HourCheck(name, unit, None, None, False, (None,) * many, (1.0,) * many)
    return replace(plain, **given)  # type: ignore[arg-type]


def by_clock(values: dict[int, float | None], other: float | None) -> tuple[float | None, ...]:
    """A value for each hour in daylight by its clock hour."""
    lit = (time for time, light in zip(hours().times, hours().light, strict=True) if light)
    return tuple(values.get(time.hour, other) for time in lit)


def table(
    *checks: HourCheck, voice: Voice = US, turf: tuple[TurfSpan, ...] = ()
) -> tuple[HourTable, HourStrip]:
    shown = replace(strip(), checks=checks)
    level = hour_levels(shown, Rule.of(CRITERIA))
    return hour_table(hours(), shown, level, turf, criteria=CRITERIA, voice=voice), shown


def cells(of: HourTable, column: int = 0) -> dict[str, tuple[str, str]]:
    """Of the first day: text and side of a column by clock."""
    return {c: (row[column].text, row[column].side) for c, _, row in of.days[0].rows}


WIND = check(
    "wind", "m s-1", low=1.34, high=4.47, yours=True,
    measured=by_clock({9: 0.45, 10: 5.0, 11: 7.0, 12: None}, 3.0),
    scores=by_clock({9: 0.7, 10: 0.5, 11: 0.0, 12: None}, 1.0),
)  # fmt: skip


def test_each_hour_has_its_value_with_a_sign_that_needs_no_colour() -> None:
    found = cells(table(WIND)[0])
    assert found["08:00"] == ("7", "fits")
    assert found["09:00"] == ("1◐", "low")
    assert found["10:00"] == ("11◐", "high")
    assert found["11:00"] == ("16○", "high")
    assert found["12:00"] == ("?", "unknown")


def test_sentences_name_value_limit_and_whose_it_is() -> None:
    (column,) = table(WIND)[0].columns
    said = dict(column.said)
    assert said["fits"] == "Wind: {0} mph, fits (your limit 10 mph)"
    assert said["high"] == "Wind: {0} mph, best up to 10 mph"
    assert said["low"].startswith("Wind: {0} mph, light and variable, best from 3 mph")
    assert said["unknown"] == "Wind: unknown"
    assert column.both
    assert dict(table(WIND, voice=METRIC)[0].columns[0].said)["high"].endswith("16 km/h")


def test_what_is_the_same_in_every_hour_is_said_once() -> None:
    unknown = check("humidity", "%", low=40.0, scores=by_clock({}, None))
    found, _ = table(check("frozen_soil", ""), WIND, unknown)
    assert found.always == ("Frozen soil: fits", "Relative humidity: unknown")
    assert len(found.columns) == 1


@pytest.mark.parametrize("name", [n for n, t in CRITERIA.items() if n != "rule"])
def test_every_criterion_has_words_on_both_sides_and_for_the_unknown(name: str) -> None:
    unit = str(CRITERIA.table(name)["unit"])
    low, high = (13.0, 13.0) if unit == "BBCH" else (0.4, 0.5)
    worth: dict[int, float | None] = {9: 0.5, 10: 0.0}
    if f"criterion.{name}.unknown" in catalogue("en").raw:
        worth[11] = None  # sun and calendar are always known
    scores = by_clock(worth, 1.0)
    at = by_clock({9: low - 0.1, 10: high + 0.1}, 0.45) if unit else by_clock({}, None)
    ends = {"low": low, "high": high, "measured": at} if unit else {}
    (column,) = table(check(name, unit, scores=scores, **ends))[0].columns
    for side, said in column.said:
        assert "[" not in said  # an id without its text
        assert ("{0}" in said) <= bool(unit and side != "unknown")


def test_a_day_that_the_turf_refuses_has_no_hours() -> None:
    refusal = say("answer.wait")
    no = TurfSpan(TODAY, TODAY, "no", "overseeding", "", None, refusal, NOTHING, "", None)
    found, _ = table(WIND, turf=(no,))
    assert found.days[0].refused == "do not spray"
    assert not found.days[0].rows
    assert found.days[1].rows


def test_the_picture_and_the_table_have_the_same_hours() -> None:
    found, shown = table(WIND)
    assert found.clocks == (8, 17)
    assert len(found.days) == len({t.date() for t in shown.times})
    assert [c for c, _, _ in found.days[0].rows] == [f"{h:02}:00" for h in range(8, 17)]
    assert found.days[0].day.startswith(f"{TODAY:%a}")
