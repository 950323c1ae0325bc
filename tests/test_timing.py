"""When the barrier of spring opens, against the windows that extension services publish."""

import datetime as dt
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import uscrn_sites
from report_fixtures import words
from spoken import render
from windows_fixtures import TODAY, past, site, state

from windowcast.core.phrase import sentence
from windowcast.core.values import load
from windowcast.report.season import _dated
from windowcast.season.model import SiteState
from windowcast.windows.advice import out_of_season
from windowcast.windows.days import DAY_CRITERIA, DayContext
from windowcast.windows.odds import DateRange, normal_range
from windowcast.windows.opening import Opening, judged_days
from windowcast.windows.purposes import purpose_of
from windowcast.windows.score import Rule
from windowcast.windows.season_axis import SeasonAxis
from windowcast.windows.timing import Timing

SPRING = purpose_of("pre-spring")


def openings(station: str) -> list[int]:
    """Day of the year on which it first opens, for each whole spring of a station's record."""
    days, _ = uscrn_sites.state(station)
    ctx = DayContext(uscrn_sites.site(), days, "spring")
    is_open = judged_days(SPRING, SPRING.generic, ctx)[1][0] >= Rule.of(load("criteria")).season
    dates = days.dates.astype("datetime64[D]").astype(object)
    found = []
    for year in range(dates[0].year + 1, dates[-1].year):
        spring = [i for i, d in enumerate(dates) if d.year == year and d.month <= 6]
        found.append(next(dates[i].timetuple().tm_yday for i in spring if is_open[i]))
    return found


@pytest.mark.parametrize(
    ("station", "first", "last"),
    [
        # Univ. Georgia Extension 2019: from 15 Feb in the south, 1 to 20 March in the north
        (uscrn_sites.DEEP_SOUTH, (2, 15), (3, 20)),
        # Univ. Arkansas 2009: about 10 March in the north (same latitude as Bowling Green)
        (uscrn_sites.MID_SOUTH, (3, 1), (3, 20)),
        # Univ. Delaware 2009: 1 March to 1 April in the south of the state
        (uscrn_sites.MID_ATLANTIC, (3, 1), (4, 1)),
    ],
)
def test_the_barrier_of_spring_opens_when_extension_services_lay_it(
    station: str, first: tuple[int, int], last: tuple[int, int]
) -> None:
    opens = float(np.median(openings(station)))
    begin, end = (dt.date(2023, *day).timetuple().tm_yday for day in (first, last))
    assert begin - 10 <= opens <= end, opens  # seven days' mean, a few springs: ten days' grace


@pytest.mark.parametrize("station", [uscrn_sites.MID_ATLANTIC, uscrn_sites.MID_SOUTH])
def test_a_warm_spell_in_january_does_not_open_the_spring(station: str) -> None:
    days, _ = uscrn_sites.state(station)
    week = DAY_CRITERIA["soil_week"](DayContext(uscrn_sites.site(), days, "spring"), SPRING.generic)
    january = days.dates.astype("datetime64[M]").astype(int) % 12 == 0
    assert (week[0, january] > 8.2).any()  # warm enough for the soil's grade alone
    assert min(openings(station)) >= dt.date(2023, 2, 15).timetuple().tm_yday


def lead(share: list[float], after: list[list[float]] | None = None) -> list[float]:
    """Days to the emergence over made-up shares of smooth crabgrass."""

    def with_share(values: np.ndarray, first: dt.date) -> SiteState:
        made = state(first, values.shape[-1])
        weed = replace(made.emergence["DIGIS"], share=values)
        return replace(made, emergence={"DIGIS": weed})

    days = with_share(np.array(share), TODAY - dt.timedelta(days=len(share)))
    later = with_share(np.array(after), TODAY) if after else None
    ctx = DayContext(site(), days, "spring", after=later)
    found: list[float] = DAY_CRITERIA["emergence_lead"](ctx, SPRING.generic)[0].tolist()
    return found


def test_days_to_the_emergence_are_counted_to_the_day_it_has_begun() -> None:
    assert lead([0.0, 0.05, 0.1, 0.5]) == [2, 1, 0, 0]
    assert lead([0.0, 0.0, 0.0]) == [3, 2, 1]  # at least to the end of what is known
    assert lead([0.0, 0.0], [[0.0, 0.2, 0.3], [0.0, 0.0, 0.2], [0.0, 0.2, 0.4]]) == [3, 2]


def test_a_gap_hides_the_emergence_only_where_it_may_have_begun_in_it() -> None:
    nan = float("nan")
    assert lead([0.0, nan, 0.0, 0.2]) == [3, 2, 1, 0]
    hidden = lead([0.0, nan, 0.3, 0.4])
    assert np.isnan(hidden[:2]).all()
    assert hidden[2:] == [0, 0]
    assert np.isnan(lead([0.0, nan])).all()


def test_a_watched_season_without_weeds_cannot_be_told() -> None:
    ctx = DayContext(site(), replace(past(), emergence={}), "spring")
    assert np.isnan(DAY_CRITERIA["emergence_lead"](ctx, SPRING.generic)).all()


def marked(found: DateRange | None, *, southern: bool) -> DateRange | None:
    """An opening in spring, marked where the calendar holds it back."""
    here = SimpleNamespace(place=SimpleNamespace(southern=southern))
    spring = SimpleNamespace(purpose=SPRING, needs=SPRING.generic, site=here)
    return Opening.marked(spring, found)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("opens", "late", "text"),
    [
        (dt.date(2023, 1, 12), dt.date(2023, 1, 13), "from the start of its season, 12 Jan"),
        (
            dt.date(2023, 1, 12),
            dt.date(2023, 1, 19),
            "from 12 Jan (by 19 Jan in 9 of 10 cases)",
        ),
        (dt.date(2023, 1, 13), dt.date(2023, 1, 19), "about 13 Jan (likely 12 Jan to 19 Jan)"),
    ],
)
def test_an_opening_that_the_calendar_holds_back_is_not_given_a_band(
    opens: dt.date, late: dt.date, text: str
) -> None:
    # from day 195 of the season on (1 July + 194.5 days) the months of the purpose allow it
    found = DateRange(dt.date(2023, 1, 12), opens, late, 0.0, 0.0, 100)
    dates = marked(found, southern=False)
    assert dates is not None
    assert dates.by_calendar == (opens.day == 12)
    assert render(_dated(dates)) == text


def test_the_calendar_of_the_south_begins_in_january() -> None:
    when = dt.date(2014, 7, 15)
    found = DateRange(when, when, dt.date(2014, 7, 17), 0.0, 0.0, 100)
    dates = marked(found, southern=True)
    assert dates is not None
    assert dates.by_calendar
    assert marked(None, southern=True) is None


def timing(opens: DateRange | None, usual: DateRange | None) -> Timing:
    """A purpose that is not in season and has not opened since July 2022."""
    return Timing(
        grades={}, measured={}, in_season=False,
        season_end=dt.date(2023, 6, 30), opened=None, closed=None, closed_sure=True,
        opens=opens, closes=None, usual=usual,
    )  # fmt: skip


def test_past_years_do_not_open_what_the_futures_keep_closed() -> None:
    never = DateRange(None, None, None, 1.0, 0.0, 100)
    month = DateRange(dt.date(2022, 12, 25), dt.date(2023, 1, 25), None, 0.4, 0.1, 11)
    shut = timing(never, month)
    assert shut.opening is None
    why, rule = sentence(words("frost")), Rule.of(load("criteria"))
    said = render(out_of_season(SPRING, shut, why, rule))
    assert "It is very likely (more than 99 in 100) to stay closed this season." in said
    assert "Jan" not in said
    # the next season is another matter, and so is a season of which nothing is known
    later = DateRange(dt.date(2023, 9, 1), dt.date(2023, 9, 16), None, 0.0, 0.0, 11)
    assert timing(never, later).opening == dt.date(2023, 9, 16)
    assert timing(None, month).opening == dt.date(2023, 1, 25)


def made_axis(today: dt.date, members: int = 20, days: int = 40, gone: int = 5) -> SeasonAxis:
    """A season of made-up days, `gone` of them before today."""
    ahead = replace(state(today, days), soil_5cm_c=np.full((1 + members, days), 8.0))
    return SeasonAxis.of(past(today, gone), ahead, southern=False, overseeded=False)


@pytest.mark.parametrize("firsts", [[200.0, 200.0, 200.0], [200.0, 200.0, np.nan]])
def test_a_usual_opening_is_never_in_the_past(
    firsts: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    # a season of which it cannot be told (NaN) must not leave the date behind today
    start = dt.date(2022, 7, 1)
    rows = [(start, first, np.inf) for first in firsts]
    monkeypatch.setattr(Opening, "past_years", rows)
    for today, year in ((dt.date(2022, 12, 1), 2023), (dt.date(2023, 3, 10), 2024)):
        found = opening(made_axis(today), np.zeros((20, 45))).usual
        assert found is not None
        assert found.median is not None
        assert found.median >= today
        assert found.median.year == year
        assert normal_range(np.array(firsts), start).median.year == 2023  # type: ignore[union-attr]


def opening(axis: SeasonAxis, score: np.ndarray) -> Opening:
    return Opening(site(), axis, SPRING, SPRING.generic, score)


@pytest.mark.parametrize("ends", ["opens", "closes"])
def test_futures_that_a_gap_hides_widen_the_range_and_do_not_vanish(ends: str) -> None:
    """A fifth of the futures cannot be told: the end that they may lie at is not named."""
    score = np.zeros((20, 45))
    for member in range(20):
        score[member, 15 + member // 4 : 35 + member // 4] = 1.0
    axis = made_axis(dt.date(2024, 9, 6))
    known = getattr(opening(axis, score), ends)
    score[:4] = np.nan
    gap = getattr(opening(axis, score), ends)
    assert known is not None
    assert gap is not None
    assert None not in (known.early, known.late)
    assert (gap.late if ends == "opens" else gap.early) is None


def test_what_is_open_to_the_end_of_what_is_known_has_no_last_day() -> None:
    score = np.ones((20, 45))
    found = opening(made_axis(dt.date(2024, 9, 6)), score)
    assert found.closes is None
    score[:11, 44] = 0.0
    assert opening(made_axis(dt.date(2024, 9, 6)), score).closes is not None
