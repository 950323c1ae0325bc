"""The scoring of replayed seasons beside published trials: pairs, errors and totals by hand."""

from __future__ import annotations

import csv
import datetime as dt
import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from advice_seen import level_totals, pairs_of, seen_scores, timing_totals
from lived_seasons import PRODIAMINE, WATER_MM, done, worlds
from seen_scoring import NearStations, ScoredTrial, beyond, controlled
from seen_trials import SeenTrial, read_trials
from seen_turf import turf_seen
from uscrn_sites import DEEP_SOUTH, FOLDER

from windowcast.core.errors import InputError
from windowcast.core.record import FloatArray
from windowcast.core.values import load
from windowcast.sources.uscrn import read_uscrn

BENCHMARKS = Path(__file__).parent.parent / "benchmarks"
BY_DATE = BENCHMARKS / "trials_by_date.csv"
SELMA = 32.46, -87.24
HEAD = (
    "trial,paper,weed,actives,timing,first,last,seasons,rated,rate_kg_ha,low_pct,high_pct,lat,lon"
)


def _trial(**changed: object) -> SeenTrial:
    plain = SeenTrial(
        row=2, trial="T", paper="none", weed="POAAN", actives=("prodiamine",), timing="pre",
        first="09-10", last="09-10", rated="04-15", seasons=(2016,), rate_kg_ha=0.84, sprays=1,
        low=-math.inf, high=math.inf, better_than=frozenset(), same_as=frozenset(),
        latitude_deg=SELMA[0], longitude_deg=SELMA[1], place="", source="",
    )  # fmt: skip
    return replace(plain, **changed)  # type: ignore[arg-type]


def _scored(control: float | FloatArray, **changed: object) -> ScoredTrial:
    return ScoredTrial(_trial(**changed), "S", 1.0, (2016,), np.atleast_1d(control), 21.0)


def test_what_lies_within_the_bounds_is_not_missed() -> None:
    assert beyond(0.9, 0.87, math.inf) == 0.0
    assert beyond(0.5, 0.87, math.inf) == pytest.approx(-0.37)
    assert beyond(0.9, -math.inf, 0.8) == pytest.approx(0.1)
    assert beyond(0.7, 0.72, 0.72) == pytest.approx(-0.02)


def test_two_dates_of_a_published_trial() -> None:
    # Toler et al. 2007, HortScience 42(3):670: glyphosate 72 % in December, 93 % in February;
    # simazine over 85 and under 80 %; foramsulfuron 87 % or more in both
    december, february = {"first": "12-01"}, {"first": "02-01"}
    number = (
        _scored(0.70, **december, low=0.72, high=0.72),
        _scored(0.80, **february, low=0.93, high=0.93),
    )
    (pair,) = pairs_of(number)
    assert pair.seen == -1
    assert (pair.low, pair.high) == pytest.approx((-0.21, -0.21))
    assert pair.scored == pytest.approx(-0.10)
    assert pair.agrees == 1.0
    bounds = _scored(0.7, **december, low=0.85), _scored(0.75, **february, high=0.80)
    (pair,) = pairs_of(bounds)
    assert (pair.seen, pair.agrees) == (1, -1.0)
    assert (pair.low, pair.high) == pytest.approx((0.05, 1.0))
    (pair,) = pairs_of([_scored(0.7, **december, low=0.87), _scored(0.75, **february, low=0.87)])
    assert pair.seen == 0
    assert (pair.low, pair.high) == pytest.approx((-0.13, 0.13))


def test_words_order_only_what_they_name() -> None:
    months = ("07-01", "08-01", "10-01")
    words = {"10-01": frozenset(months[:2])}
    scored = [
        _scored(c, first=m, better_than=words.get(m, frozenset()))
        for c, m in zip((0.4, 0.8, 0.6), months, strict=True)
    ]
    found = [(p.one.trial.first, p.other.trial.first, p.seen, p.agrees) for p in pairs_of(scored)]
    assert found == [("07-01", "10-01", -1, 1.0), ("08-01", "10-01", -1, -1.0)]
    even = _scored(0.5, first="01-01", same_as=frozenset({"03-01"})), _scored(0.6, first="03-01")
    (pair,) = pairs_of(even)
    assert pair.seen == 0
    assert not list(pairs_of([_scored(0.5, low=0.4), _scored(0.5, first="10-01", trial="U")]))


def test_totals_by_hand() -> None:
    # trial A: -20 and 0 points, trial B: +10; each counts alike: mean (-10 + 10) / 2 = 0,
    # root mean square sqrt((200 + 100) / 2) = 12.25
    scored = [
        _scored(0.70, trial="A", low=0.90),
        _scored(0.95, trial="A", first="10-01", low=0.90, high=1.0),
        _scored(0.60, trial="B", low=0.50, high=0.50),
    ]
    found = level_totals(scored)
    assert found["all"]["n"] == 3
    assert found["all"]["trials"] == 2
    assert found["all"]["mean"] == {"value": 0.0, "low": -10.0, "high": 10.0}
    assert found["all"]["rms"]["value"] == pytest.approx(12.25, abs=0.005)
    assert found["means_and_ranges"]["n"] == 2
    assert found["means_and_ranges"]["mean"]["value"] == pytest.approx(5.0)


def test_rank_correlation_by_hand() -> None:
    # A: two pairs in the order seen, one the other way: 1/3; B: one in the order: 1; mean 2/3
    rows = [
        ("A", "09-01", 0.9, 0.9), ("A", "10-01", 0.8, 0.5), ("A", "11-01", 0.1, 0.6),
        ("B", "09-01", 0.9, 0.8), ("B", "12-01", 0.2, 0.4),
    ]  # fmt: skip
    pairs = list(
        pairs_of([_scored(c, trial=t, first=f, low=seen, high=seen) for t, f, seen, c in rows])
    )
    found = timing_totals(pairs)
    assert (found["ordered"], found["in_the_order_seen"], found["other_way"]) == (4, 3, 1)
    assert found["rank_correlation"]["value"] == pytest.approx(2 / 3, abs=0.005)
    # seen A: 10, 80, 70 points, scored 40, 30, -10; B: 70 against 40
    off = (30.0**2 + 50.0**2 + 80.0**2) / 3, 30.0**2
    assert found["differences"]["rms"]["value"] == pytest.approx(math.sqrt(sum(off) / 2), abs=0.01)
    alike = (10.0**2 + 80.0**2 + 70.0**2) / 3, 70.0**2
    rms = found["no_difference"]["rms"]["value"]
    assert rms == pytest.approx(math.sqrt(sum(alike) / 2), abs=0.01)


def test_control_is_that_of_what_has_emerged_by_the_day_of_rating() -> None:
    world = worlds(DEEP_SOUTH, 2016)
    date = dt.date(2016, 9, 10)
    found = controlled(world, _trial())
    best = world.hours.workable("pre-fall", ["prodiamine"])[date]
    start, end = world.hours.span(best)
    sprayed = replace(
        done(world, "pre-fall", PRODIAMINE, date, water_mm=WATER_MM), start=start, end=end
    )
    up, left = world.came.emerging["POAAN"], world.survive(sprayed)["POAAN"]
    until = (dt.date(2017, 4, 15) - dt.date(2016, 7, 1)).days
    by_hand = [
        1 - sum(u * s for u, s in zip(us[:until], ls[:until], strict=True)) / sum(us[:until])
        for us, ls in zip(up.tolist(), left.tolist(), strict=True)
    ]
    assert found == pytest.approx(by_hand)
    whole = controlled(world, _trial(rated="06-30"))
    assert whole == pytest.approx(1 - (up * left)[:, :364].sum(-1) / up[:, :364].sum(-1))
    assert whole.mean() < found.mean()  # the last ones come when the residual is spent


def test_every_number_is_one_of_the_trials_that_efficacy_is_fitted_on() -> None:
    with (BENCHMARKS / "efficacy_trials.csv").open(encoding="utf-8", newline="") as file:
        fitted = {
            (r["paper"], r["weed"], r["actives"], r["low_pct"], r["high_pct"])
            for r in csv.DictReader(file)
        }
    with BY_DATE.open(encoding="utf-8", newline="") as file:
        rows = [r for r in csv.DictReader(file) if r["low_pct"] or r["high_pct"]]
    rows = [r for r in rows if r["rated"] != "06-10"]  # 100 % on 10 June is in a note there
    assert len(rows) > 70
    for row in rows:
        key = tuple(row[name] for name in ("paper", "weed", "actives", "low_pct", "high_pct"))
        assert key in fitted or (row["paper"], row["low_pct"]) in {
            ("brosnan2011", "99"), ("brosnan2012", "67"),
        }, row  # fmt: skip


def test_a_paper_is_left_out_of_what_its_trials_are_scored_by() -> None:
    full, others = load("efficacy"), load("efficacy_left_out")
    papers = {t.paper for t in read_trials(BY_DATE)}
    with (BENCHMARKS / "efficacy_trials.csv").open(encoding="utf-8", newline="") as file:
        tried = {(r["paper"], r["timing"], r["weed"], r["actives"]) for r in csv.DictReader(file)}
    assert papers & {t[0] for t in tried} == set(others)
    for paper, timing, weed, actives in tried:
        if paper in papers and f"{paper}.{timing}.{weed}" in others:
            cell = others.table(f"{paper}.{timing}.{weed}").get(actives)
            if cell is not None:
                assert cell.value[5] < full.value(f"{timing}.{weed}.{actives}").value[5]
    # Flessner et al. alone tried flumioxazin in the field and in pots: nothing is left of it
    assert others.value("flessner2013.post.POAAN.flumioxazin").value[5] == 0


def test_seen_scores_of_one_station(tmp_path: Path) -> None:
    record = read_uscrn(FOLDER / f"{DEEP_SOUTH}.txt.gz")
    path = tmp_path / "trials.csv"
    path.write_text(
        f"{HEAD}\n"
        "One,none,POAAN,prodiamine,pre,09-10,09-12,2016,04-15,0.84,90,,32.5,-87.2\n"
        "One,none,POAAN,prodiamine,pre,12-10,12-12,2016,04-15,0.84,,40,32.5,-87.2\n"
        "Far,none,POAAN,prodiamine,pre,09-10,09-12,2016,04-15,0.84,90,,45,-70\n"
        "No place,none,POAAN,prodiamine,pre,09-10,09-12,2016,04-15,0.84,90,,,\n"
        "Not tried,none,POAAN,benfluralin,pre,09-10,09-12,2016,04-15,1.7,90,,32.5,-87.2\n",
        encoding="utf-8",
    )
    found = seen_scores(path, [record])
    assert [row["trial"] for row in found["trials"]] == ["One", "One"]
    assert found["trials"][0]["own_seasons"]
    assert found["trials"][0]["distance_km"] < 10
    (pair,) = found["pairs"]
    assert (pair["seen"], pair["seen_low"]) == (1, 50.0)
    assert pair["scored"] > 40
    assert found["timing"]["pre"]["rank_correlation"]["value"] == 1.0
    assert [row["trial"] for row in found["unused"]] == ["Far", "No place", "Not tried"]
    assert found["turf"] is None


def test_a_table_without_rows_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "trials.csv"
    for text, said in ((HEAD, "has a header but no rows"), ("", "the column is missing")):
        path.write_text(f"{text}\n\n", encoding="utf-8")
        with pytest.raises(InputError, match=said):
            read_trials(path)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (lambda row: row.replace("09-10", "31-12"), "first"),
        (lambda row: row.replace(",pre,", ",early,"), "timing"),
        (lambda row: row.replace(",90,", ",190,"), "low_pct"),
        (lambda row: row.replace("2016", "last year"), "seasons"),
        (lambda row: row.replace("09-12", "09-02"), "last"),
    ],
)
def test_a_bad_row_is_named(tmp_path: Path, change: Callable[[str], str], field: str) -> None:
    row = "One,none,POAAN,prodiamine,pre,09-10,09-12,2016,04-15,0.84,90,,32.5,-87.2"
    path = tmp_path / "trials.csv"
    path.write_text(f"{HEAD}\n{row}\n{change(row)}\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_trials(path)
    assert (caught.value.row, caught.value.field) == (3, field)


def test_live_leaf_and_dormant_turf_as_sighted(tmp_path: Path) -> None:
    # made up; bermudagrass in central Alabama is green in mid-October (common practice)
    path = tmp_path / "seen.csv"
    path.write_text(
        "grass,event,date,lat,lon\n"
        "hybrid bermudagrass,still green,2016-10-12,32.5,-87.2\n"
        "hybrid bermudagrass,dormant,2018-01-20,32.5,-87.2\n"
        "hybrid bermudagrass,still green,2016-10-12,45,-70\n",
        encoding="utf-8",
    )
    stations = NearStations([read_uscrn(FOLDER / f"{DEEP_SOUTH}.txt.gz")])
    found = turf_seen(path, stations)
    assert found["live"]["n"] == 1
    assert found["live"]["refused"] == 1
    assert found["live"]["allowed_in_hindsight"] == 0
    assert found["live"]["hurt_chance"] == 1.0
    assert found["dormant"]["n"] == 1
    assert found["dormant"]["hurt_chance"] < 0.5


def test_soil_unknown_before_a_pre_emergent_takes_nothing_from_it() -> None:
    world = worlds(DEEP_SOUTH, 2016)
    spring = done(world, "pre-spring", PRODIAMINE, dt.date(2017, 3, 1), water_mm=WATER_MM)
    gap = world.came.soil_c.copy()
    gap[:, :6] = np.nan
    gapped = replace(world, came=replace(world.came, soil_c=gap), _survive={})
    for code, rest in world.survive(spring).items():
        assert gapped.survive(spring)[code] == pytest.approx(rest)
