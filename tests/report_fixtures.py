"""Made-up answers for the report tests: small, complete and awkward (markup in the names)."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np

from windowcast.core.phrase import NOTHING, Name, Phrase, Quantity, joined, say
from windowcast.core.record import (
    DateArray,
    FloatArray,
    Grade,
    Members,
    Provenance,
    Record,
    Weather,
)
from windowcast.core.site import Site
from windowcast.core.values import load
from windowcast.programme.answer import Answer
from windowcast.programme.model import KeyDate, PurposePlan, SeasonPlan
from windowcast.season.model import Emergence, SiteState, TurfPhase, TurfState
from windowcast.windows.hour_model import Bound, HoursAhead, HourStrip
from windowcast.windows.model import (
    PURPOSES,
    FollowUp,
    Job,
    Judged,
    Odds,
    PurposeName,
    PurposeOutlook,
    Ranking,
    Verdict,
    Window,
)
from windowcast.windows.odds import DateRange
from windowcast.windows.reasons import label
from windowcast.windows.running_season import RunningSeason

ZONE = ZoneInfo("Europe/Lisbon")
TODAY = dt.date(2023, 11, 6)
HOSTILE = "<script>alert('x')</script> & \"Sons\""


def at(day: int, hour: int) -> dt.datetime:
    """A local time `day` days after TODAY."""
    return dt.datetime.combine(TODAY + dt.timedelta(days=day), dt.time(hour), ZONE)


def words(*parts: str | Quantity) -> Phrase:
    """A made-up sentence."""
    said = (Name(part) if isinstance(part, str) else part for part in parts)
    return say("report.note", of=joined(*said, join="sentences"))


def judged(verdict: Verdict = "marginal", score: float | None = 0.62) -> Judged:
    return Judged(
        criterion="air-temperature",
        label=label("air_temperature", load("criteria").table("air_temperature")),
        verdict=verdict,
        score=score,
        measured=None if score is None else 11.5,
        unit="degC",
        reason=words("no value in the record")
        if score is None
        else say(
            "criterion.air_temperature.low",
            measured=Quantity(11.5, "degC"),
            low=Quantity(15.5, "degC"),
        ),
        source="published range",
    )


def window(
    purpose: PurposeName = "post-early",
    day: int = 2,
    hours: tuple[int, int] = (10, 15),
    score: float | None = 78.0,
    verdict: Verdict = "fit",
) -> Window:
    start, end = hours
    reason = judged(score=None if score is None else 0.62)
    return Window(
        purpose=purpose,
        start=at(day, start),
        end=at(day, end),
        score=score,
        verdict=verdict,
        odds=None if score is None else Odds(0.72, 0.64, 0.79, 100, "forecast"),
        limiting=reason,
        judged=(reason,),
        follow_up=(
            FollowUp("keep dry", at(day, end + 4), words("keep dry for 4 h, until 19:00")),
            FollowUp(
                "water in",
                at(day + 3, 12),
                say(
                    "follow_up.water_in",
                    depth=Quantity(12.7, "mm"),
                    by=say("follow_up.by", day=dt.date(2023, 11, 11)),
                    rain=NOTHING,
                ),
            ),
        ),
        grade=say("hours.forecast"),
    )


def strip(days: int = 7) -> HourStrip:
    times = tuple(at(0, 0) + dt.timedelta(hours=h) for h in range(24 * days))
    scores: list[float | None] = []
    for n, time in enumerate(times):
        base = max(0.0, 100 - 14 * abs(time.hour - 13)) * (0.35 + 0.65 * ((n // 24) % 3) / 2)
        scores.append(None if n >= 24 * (days - 1) and time.hour > 15 else base)
    limits = tuple("" if s and s > 80 else "air_temperature" for s in scores)
    measured = tuple(None if s is None or s > 80 else 8.5 for s in scores)
    bounds = (
        Bound("air_temperature", 4.4, None, "degC"),
        Bound("wind", None, 4.47, "m s-1"),
    )
    return HourStrip(times, tuple(scores), limits, measured, bounds)


def hours(days: int = 7) -> HoursAhead:
    """Hours of daylight from 8 to 17; the wind of the last day is not known."""
    times = tuple(at(0, 0) + dt.timedelta(hours=h) for h in range(24 * days))
    known = [n < 24 * (days - 1) for n in range(len(times))]
    return HoursAhead(
        times=times,
        light=tuple(8 <= time.hour < 17 for time in times),
        temp_c=tuple(8.0 + 4 * np.sin((time.hour - 7) / 4) for time in times),
        wind_m_s=tuple(
            2.0 + time.hour / 8 if k else None for k, time in zip(known, times, strict=True)
        ),
        gust_m_s=tuple(
            3.0 + time.hour / 8 if k else None for k, time in zip(known, times, strict=True)
        ),
        rain_mm=(0.0,) * len(times),
        rain_chance=tuple(0.1 * (time.day % 3) for time in times),
        day_rain_chance=tuple(0.2 * (time.day % 3) for time in times),
        soil_5cm_c=(12.0,) * len(times),
    )


def ranking(site: str = "Quinta do Teste", units: str = "metric") -> Ranking:
    best = window()
    barrier = window("pre-fall", 1, (9, 12), None, "cannot tell")
    return Ranking(
        site=site,
        today=TODAY,
        timezone="Europe/Lisbon",
        units=units,  # type: ignore[arg-type]
        purposes=(
            PurposeOutlook(
                "pre-fall",
                say("purpose.pre-fall.title"),
                True,
                words("Soil is", Quantity(17.2, "degC"), "and falling"),
                dt.date(2023, 9, 14),
                dt.date(2023, 11, 20),
                words("Cannot tell: wind is missing from the record."),
                (),
                barrier,
                words("It would be fit with wind up to", Quantity(3.6, "m s-1"), "at most."),
                strip(),
                cannot_tell=True,
            ),
            PurposeOutlook(
                "post-early",
                say("purpose.post-early.title"),
                True,
                words("Half of the annual bluegrass is up"),
                dt.date(2023, 10, 20),
                dt.date(2023, 12, 31),
                words("Go on Wed 8 Nov, 10:00 to 15:00, at", Quantity(11.5, "degC"), "or warmer."),
                (best, window(day=4, score=61.0, verdict="marginal")),
                None,
                NOTHING,
                strip(),
            ),
            PurposeOutlook(
                "dormant",
                say("purpose.dormant.title"),
                False,
                words("The turf is still green"),
                dt.date(2023, 12, 18),
                None,
                NOTHING,
                (),
                None,
                NOTHING,
            ),
            PurposeOutlook(
                "pre-spring",
                say("purpose.pre-spring.title"),
                False,
                words("Soil is above", Quantity(12.8, "degC"), "only in spring"),
                None,
                None,
                NOTHING,
                (),
                None,
                NOTHING,
            ),
        ),
        weather_notes=(words("Hours after Fri 10 Nov are built from daily values."),),
        provenance=(words("file weather.csv, 2014-01-01 to 2023-11-13"),),
        cautions=(
            words("The product label is the law."),
            words("Only a licensed applicator may decide."),
        ),
        explain=(words("soil.thatch = 12 mm [choice: this program]"),),
        program_version="0.1.0",
        hours=hours(),
    )


def _state(dates: DateArray, shape: tuple[int, ...]) -> SiteState:
    """A smooth year with a little spread between members, in the northern hemisphere."""
    day = (dates - dates.astype("datetime64[Y]")).astype(int) + 0.0
    rng = np.random.default_rng(3)
    wobble = np.zeros(shape) if len(shape) == 1 else rng.normal(0, 1.5, (shape[0], 1))
    year = dates.astype("datetime64[Y]").astype(int)
    soil = 16 - 9 * np.cos(2 * np.pi * (day - 25) / 365) + 1.2 * np.sin(day / 5 + year) + wobble
    fall = np.clip((day - 250) / 100, 0, 1) + np.where(day < 182, 1.0, 0.0)
    spring = np.clip((day - 90) / 80, 0, 1) * (day < 182)
    ones: FloatArray = np.ones(shape)

    def curve(code: str, name: str, season: str, share: FloatArray) -> Emergence:
        share = share * ones
        low, high = np.clip(share - 0.12, 0, 1), np.clip(share + 0.12, 0, 1)
        return Emergence(code, name, season, share, low, high, 0.5 * ones, 2 * ones)

    phase = np.full(shape, TurfPhase.HARDENING, dtype=np.int8)
    turf = TurfState(
        phase=phase,
        dormant_probability=0.4 * ones,
        green_probability=0.6 * ones,
        half_green_probability=0.6 * ones,
        greening_begun=0 * ones,
        injury_probability=0.6 * ones,
        days_since_dormant=np.nan * ones,
        days_to_greenup=np.nan * ones,
        nonselective_safe=0 * ones,
        unseen=np.zeros(shape, dtype=bool),
    )
    return SiteState(
        dates=dates,
        soil_5cm_c=soil,
        soil_10cm_c=soil,
        soil_moisture=0.6 * ones,
        soil_frozen=soil < 0,
        degree_days={},
        emergence={
            "POAAN": curve("POAAN", "annual bluegrass", "fall", fall),
            "DIGIS": curve("DIGIS", "smooth crabgrass", "spring", spring),
        },
        turf=turf,
    )


def answer(site: str = "Quinta do Teste", units: str = "metric", years: int = 8) -> Answer:
    """A complete made-up answer."""
    today = np.datetime64(TODAY, "D")
    past = np.arange(today - np.timedelta64(365 * years, "D"), today)
    ahead = np.arange(today, today + np.timedelta64(238, "D"))
    checked = Site(name="any", latitude=38.6, longitude=-9.1, units=units)  # type: ignore[arg-type]
    checked = checked.model_copy(update={"name": site})  # past the checks: reports trust nobody
    temp = 14 - 8 * np.cos(np.arange(len(past)) * 2 * np.pi / 365)
    daily = Record(
        checked.place,
        past,
        {"tmax_c": temp + 5, "tmin_c": temp - 5},
        {name: np.full(len(past), Grade.OBSERVED, np.uint8) for name in ("tmax_c", "tmin_c")},
        (Provenance("file", "weather.csv", ("tmax_c", "tmin_c")),),
    )
    days_ahead = Record(checked.place, ahead, {}, {})
    hours_ahead = Record(checked.place, np.array([today], "datetime64[h]"), {}, {})
    so_far, futures = _state(past, (len(past),)), _state(ahead, (30, len(ahead)))
    members = Members(days_ahead, hours_ahead, 7)
    return Answer(
        site=checked,
        weather=Weather(daily, None, TODAY),
        members=members,
        past=so_far,
        ahead=futures,
        ranking=ranking(site, units),
        running=RunningSeason.of(checked, so_far, futures, members),
    )


def with_season_of(made: Answer, **changed: object) -> Answer:
    """The answer with another site or state, and the running season that follows from it."""
    new = replace(made, **changed)  # type: ignore[arg-type]
    return replace(new, running=RunningSeason.of(new.site, new.past, new.ahead, new.members))


def between(early: dt.date | None, median: dt.date | None, late: dt.date | None) -> DateRange:
    """A date with its 10 and 90 %; without an end it never comes in a fifth of the futures."""
    return DateRange(early, median, late, 0.0 if late else 0.2, 0.0, 30)


def job_plan(purpose: PurposeName, status: str = "ahead", **known: object) -> PurposePlan:
    """One purpose's part of a plan; what is not given is not known."""
    nothing = dict.fromkeys(
        ("opened", "opens", "closes", "closed", "normal_opens", "normal_closes")
    )
    fields = {**nothing, "job": None, **known}
    return PurposePlan(
        purpose=purpose,
        title=say(f"purpose.{purpose}.title"),
        status=status,  # type: ignore[arg-type]
        reopens=0.0,
        years=(),
        weeks=(),
        fewest=None,
        covers=(),
        decision=None,
        if_missed=NOTHING,
        delay_cost=NOTHING,
        **fields,  # type: ignore[arg-type]
    )


def applied_job(day: dt.date, *until: dt.date | None) -> Job:
    """A pre-emergent that was applied, with its 10, 50 and 90 % dates."""
    residual = until if len(until) == 3 else None
    return Job("done", NOTHING, NOTHING, day, ("prodiamine",), residual)


def plan(
    *purposes: PurposePlan, site: str = "Quinta do Teste", units: str = "metric"
) -> SeasonPlan:
    """A made-up plan for the made-up answer; of the purposes given, else one of each kind."""
    some = purposes or (
        job_plan(
            PURPOSES[0],
            "open",
            opened=dt.date(2023, 9, 14),
            closes=between(dt.date(2023, 11, 10), dt.date(2023, 11, 20), dt.date(2023, 12, 1)),
            job=applied_job(dt.date(2023, 9, 20), dt.date(2023, 12, 20), dt.date(2024, 1, 30),
                            dt.date(2024, 3, 1)),
        ),
        job_plan(
            PURPOSES[1],
            "open",
            opened=dt.date(2023, 10, 20),
            closes=between(dt.date(2023, 12, 20), dt.date(2023, 12, 31), dt.date(2024, 1, 10)),
        ),
        job_plan(PURPOSES[2], "cannot tell"),
        job_plan(
            PURPOSES[3],
            opens=between(dt.date(2024, 2, 18), dt.date(2024, 3, 10), dt.date(2024, 3, 24)),
            closes=between(dt.date(2024, 4, 9), dt.date(2024, 4, 30), None),
            normal_opens=between(None, dt.date(2024, 3, 1), None),
            normal_closes=between(None, dt.date(2024, 5, 1), None),
        ),
    )  # fmt: skip
    green_up = KeyDate(
        "green_up",
        say("key_date.green_up"),
        None,
        between(dt.date(2024, 3, 13), dt.date(2024, 4, 5), dt.date(2024, 4, 21)),
        None,
        (),
        "made up",
    )
    return SeasonPlan(
        site=site,
        season="2023/24",
        today=TODAY,
        units=units,  # type: ignore[arg-type]
        standing=(words("The soil is cool."),),
        key_dates=(green_up,),
        purposes=some,
        assumptions=(),
        past_seasons=7,
        members=30,
        explain=(),
        program_version="0.1.0",
    )
