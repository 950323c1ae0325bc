"""Weeds by name, the general clocks, and what is shown of each weed."""

from __future__ import annotations

import datetime as dt
import json
import re
from dataclasses import replace
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner
from spoken import render
from uscrn_sites import MID_ATLANTIC, record
from web_fixtures import client, make_site

from windowcast.cli import cli, rank, review, season
from windowcast.cli.weeds import command
from windowcast.core.errors import InputError
from windowcast.core.site import site_from
from windowcast.core.values import load
from windowcast.core.weed_codes import known, supported, weed_code
from windowcast.programme.key_dates import events
from windowcast.report.catalogue import Voice, catalogue
from windowcast.report.weed_facts import weed_rows, weed_said
from windowcast.season.clocks import Drivers
from windowcast.season.emergence import emerge
from windowcast.season.model import Emergence, SiteState
from windowcast.season.weeds import weed
from windowcast.verify.emergence import beside, read_seen
from windowcast.windows.advice import burs
from windowcast.windows.days import DayContext

US = Voice("us", "en")
DATA = Path(__file__).parent / "data"
TASK = {  # what keepers of warm-season turf ask about, as they write it
    "POAAN": "annual bluegrass", "LAMAM": "henbit", "LAMPU": "Purple Deadnettle",
    "STEME": "Common Chickweed", "CERGL": "mouseear chickweed", "CERVU": "common mouse-ear",
    "SOVSE": "Spurweed", "CARHI": "hairy bittercress", "APHAR": "Parsley Piert",
    "VERAR": "corn speedwells", "VERPE": "persian speedwell", "GERCA": "Carolina geraniums",
    "BROCA": "rescuegrasses", "HORPU": "Little Barley", "GNAPU": "cudweed",
    "DIGIS": "smooth crabgrass", "DIGSA": "Large Crabgrass", "DIGAD": "southern crabgrass",
    "ELEIN": "Goosegrass", "EPHHT": "prostrate spurge", "EPHMA": "spotted spurge",
    "CCHEC": "southern sandburs", "CCHIN": "field sandbur", "MUDNU": "doveweed",
    "KYLBR": "green kyllinga", "KYLGR": "false green kyllinga", "CYPCP": "annual sedges",
}  # fmt: skip


def spring(days: int = 200) -> Drivers:
    """A moist year that warms by a fifth of a degree a day from 4 °C on 1 January."""
    dates = np.datetime64("2021-01-01") + np.arange(days)
    air = np.minimum(4.0 + 0.12 * np.arange(days), 26.0)
    wet = np.full(days, 0.9)
    return Drivers(dates, air, air, wet, 40 * wet, southern=False, latitude_deg=38.0)


def fall(days: int = 300) -> Drivers:
    """A moist year from 1 June on: 26 °C in summer, cooling from mid August on."""
    dates = np.datetime64("2021-06-01") + np.arange(days)
    air = np.clip(26.0 - 0.18 * (np.arange(days) - 75), 2.0, 26.0)
    wet = np.full(days, 0.9)
    return Drivers(dates, air, air, wet, 40 * wet, southern=False, latitude_deg=38.0)


def day_of(curve: Emergence, share: float) -> int:
    return int(np.flatnonzero(curve.share >= share)[0])


@pytest.mark.parametrize(("code", "name"), TASK.items())
def test_a_weed_goes_by_its_code_and_its_names(code: str, name: str) -> None:
    assert weed_code(name) == weed_code(code.lower()) == weed_code(known()[code].latin) == code


def test_no_name_means_two_weeds() -> None:
    own = [entry.name.casefold() for entry in known().values()]
    also = [name.casefold() for entry in known().values() for name in entry.also]
    assert len(own + also) == len(set(own + also))


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("henbitt", "did you mean henbit"),
        ("goose grass!", ""),
        ("dead nettles", ""),
        ("speedwell", "corn speedwell"),
        ("qwertz", "windowcast weeds lists"),
    ],
)
def test_a_name_that_is_not_known_is_answered_with_those_that_come_near(
    typed: str, says: str
) -> None:
    if not says:
        assert weed_code(typed) in known()
        return
    with pytest.raises(ValueError, match="is not a weed we know") as caught:
        weed_code(typed)
    assert says in str(caught.value)


def test_a_site_file_names_its_weeds_in_words() -> None:
    raw = {"name": "a", "latitude": 35.0, "longitude": -80.0, "weeds": ["Henbit", "spurweeds"]}
    assert site_from(raw).weeds == ("LAMAM", "SOVSE")


def test_every_weed_and_fact_has_its_words() -> None:
    texts = catalogue("en").raw
    for code, entry in known().items():
        assert texts[f"weed.{code}"] == entry.name
        said = weed_said(code, US)
        for text in (said.life, said.clock, *(w for f in said.facts for w in (f.label, f.value))):
            assert "weed_" not in text, text


def test_a_weed_without_a_curve_says_so_and_how_far_its_dates_are_good() -> None:
    assert "general clock for winter annuals" in weed_said("LAMAM", US).clock
    assert "3 weeks" in weed_said("LAMAM", US).clock
    assert "2 weeks" in weed_said("ELEIN", US).clock
    assert "perennial" in weed_said("KYLBR", US).clock
    assert "general" not in weed_said("POAAN", US).clock


def test_winter_annuals_share_one_clock_that_follows_the_first_cool_days_of_fall() -> None:
    henbit, chickweed = (emerge(weed(code), fall())[0] for code in ("LAMAM", "STEME"))
    assert np.array_equal(henbit.share, chickweed.share, equal_nan=True)
    assert henbit.share[day_of(henbit, 0.01) - 1] < 0.01
    dates = fall().dates
    assert str(dates[day_of(henbit, 0.01)]) >= "2021-08-01"  # no seed is ripe before
    # Baskin & Baskin 1983, 1984: September and October in Kentucky
    assert "2021-09-01" < str(dates[day_of(henbit, 0.5)]) < "2021-11-15"
    bluegrass = emerge(weed("POAAN"), fall())[0]
    band = [float(np.nanmax(curve.share_high - curve.share_low)) for curve in (henbit, bluegrass)]
    assert band[0] > band[1]


def test_goosegrass_follows_crabgrass_by_its_published_lag() -> None:
    goosegrass, crabgrass = (emerge(weed(code), spring())[0] for code in ("ELEIN", "DIGIS"))
    low, high = known()["ELEIN"].facts["lag_d"].value
    assert low <= day_of(goosegrass, 0.01) - day_of(crabgrass, 0.01) <= high
    spurge = emerge(weed("EPHMA"), spring())[0]
    assert day_of(crabgrass, 0.01) < day_of(spurge, 0.01) < day_of(goosegrass, 0.01)


def test_a_weed_on_a_general_clock_moves_nothing_of_the_others() -> None:
    drivers = fall()
    curves = {code: emerge(weed(code), drivers)[0] for code in ("POAAN", "LAMAM", "STEME")}
    bare = SiteState(
        dates=drivers.dates, soil_5cm_c=drivers.soil_c, soil_10cm_c=drivers.soil_c,
        soil_moisture=drivers.water, soil_frozen=np.zeros(300, bool), degree_days={},
        emergence={}, turf=None,  # type: ignore[arg-type]
    )  # fmt: skip

    def share(*codes: str) -> np.ndarray:
        state = replace(bare, emergence={code: curves[code] for code in codes})
        site = site_from({"name": "a", "latitude": 38.0, "longitude": -80.0})
        return DayContext(site, state, "fall").emerging("share", np.mean)

    def same(a: np.ndarray, b: np.ndarray) -> bool:
        return np.array_equal(a, b, equal_nan=True)

    assert same(share("POAAN", "LAMAM", "STEME"), share("POAAN"))
    assert same(share("LAMAM", "STEME"), share("LAMAM"))
    assert not same(share("LAMAM"), share("POAAN"))
    assert np.isnan(share()).all()  # none watched is not known


def test_only_burs_are_a_caution_and_only_of_weeds_of_which_a_date_is_known() -> None:
    burweed, henbit = (emerge(weed(code), fall(60))[0] for code in ("SOVSE", "LAMAM"))
    (said,) = burs([burweed, henbit], dt.date(2021, 12, 1), southern=False)
    assert render(said) == (
        "Lawn burweed sets burs from between 1 Mar and 1 Apr: kill it before, the burs stay."
    )
    (late,) = burs([burweed], dt.date(2022, 4, 2), southern=False)
    assert "may have its burs" in render(late)
    assert burs([henbit], dt.date(2021, 12, 1), southern=False) == ()
    (south,) = burs([burweed], dt.date(2022, 6, 1), southern=True)
    assert "1 Sep and 1 Oct" in render(south)


def test_first_seedheads_of_annual_bluegrass_come_by_air_temperature_from_january_on() -> None:
    curve = emerge(weed("POAAN"), fall())[0]
    assert curve.sets_by_air is not None
    new_year = int(np.searchsorted(fall().dates, np.datetime64("2022-01-01")))
    assert (curve.sets_by_air[25:new_year] == 0).all()  # from the biofix, 21 June, on
    # 2 °C all winter is 7 °C d a day above -5 °C; 555 takes 80 days
    assert int(np.flatnonzero(curve.sets_by_air[new_year:] >= 1.0)[0]) == 79
    assert emerge(weed("LAMAM"), fall())[0].sets_by_air is None


def test_key_dates_of_burs_spread_over_the_published_days() -> None:
    dates = np.datetime64("2021-07-01") + np.arange(365)
    day = np.zeros((9, 365))
    state = SiteState(
        dates=dates, soil_5cm_c=day, soil_10cm_c=day, soil_moisture=day,
        soil_frozen=day.astype(bool), degree_days={},
        emergence={"SOVSE": replace(emerge(weed("SOVSE"), fall())[0], share=day)},
        turf=None,  # type: ignore[arg-type]
    )  # fmt: skip
    found = {e.name: e for e in events(state, load("plan"), southern=False)}["SOVSE_burs"]
    assert found.by_calendar
    assert "Americus" in found.source
    first = dates[found.day(found.holds(state), np.arange(365.0)).astype(int)]
    inside = (first >= np.datetime64("2022-03-01")) & (first <= np.datetime64("2022-04-01"))
    assert 7 <= inside.sum() < 9  # 80 % within


SEEN = "weed,event,date,lat,lon\n"


@pytest.mark.slow
def test_sightings_are_held_against_the_nearest_station(tmp_path: Path) -> None:
    table = tmp_path / "seen.csv"
    rows = ("crabgrass,first,2017-02-21,38.0,-78.5", "goosegrass,usual none yet,01-15,38,-78")
    table.write_text(SEEN + "\n".join(rows))
    crabgrass, goosegrass = beside([record(MID_ATLANTIC)], read_seen(table))
    assert crabgrass.early <= crabgrass.middle <= crabgrass.late
    assert crabgrass.days > 14  # a warm spot long before most of the ground
    assert abs(crabgrass.days_by_air) < 14
    assert goosegrass.agrees
    assert np.isnan(goosegrass.days)
    assert beside([record(MID_ATLANTIC)], read_seen(DATA / "emergence_observed.csv"))
    far = tmp_path / "far.csv"
    far.write_text(SEEN + "crabgrass,first,2017-02-21,60.0,20.0\n")
    assert beside([record(MID_ATLANTIC)], read_seen(far)) == []


@pytest.mark.parametrize(
    ("row", "field"),
    [
        ("henbitt,first,2017-02-21,38,-78", "weed"),
        ("henbit,seen,2017-02-21,38,-78", "event"),
        ("henbit,first,02-21,38,-78", "date"),
        ("henbit,usual first,2017-02-21,38,-78", "date"),
        ("henbit,first,2017-02-21,north,-78", "lat"),
        ("henbit,first,2017-02-21,38,", "lon"),
        ("henbit,first,2017-02-21,38", None),
    ],
)
def test_a_faulty_sighting_is_named_with_its_row(tmp_path: Path, row: str, field: str) -> None:
    table = tmp_path / "seen.csv"
    table.write_text(SEEN + row + "\n")
    with pytest.raises(InputError) as caught:
        read_seen(table)
    assert (caught.value.row, caught.value.field) == (2, field)


def test_every_weed_with_a_clock_has_a_season_of_its_own_cycle() -> None:
    for code in supported():
        assert weed(code).season == known()[code].season, code


def shown(*args: str) -> str:
    result = CliRunner().invoke(command, list(args))
    assert result.exit_code == 0, result.output
    return result.output


def test_the_command_lists_all_and_shows_one_with_sources() -> None:
    listed = shown()
    assert all(f"{entry.name} " in listed for entry in known().values())
    henbit = shown("Henbits")
    for text in (
        "Lamium amplexicaule",
        "Baskin & Baskin 1981",
        "published:",
        "derived:",
        "Its clock",
    ):
        assert text in henbit
    assert "°C" in shown("henbit", "--units", "metric")


def test_the_command_gives_plain_data() -> None:
    rows = json.loads(shown("--format", "json"))
    assert [row["code"] for row in rows] == list(known())
    (one,) = json.loads(shown("henbit", "--format", "json"))
    assert one == weed_rows(["LAMAM"])[0]
    assert one["clock"] == "general"
    assert {"value", "unit", "source", "status"} <= set(one["facts"]["flowers"])


def test_an_unknown_name_is_one_line_and_a_fault_of_the_user() -> None:
    result = CliRunner().invoke(command, ["henbitt"])
    assert isinstance(result.exception, InputError)
    assert "did you mean henbit (LAMAM)?" in str(result.exception)
    assert result.exception.exit_code == 2


def test_the_manual_says_what_a_user_must_bring() -> None:
    page = (Path(__file__).parents[1] / "docs" / "weeds.md").read_text("utf-8")
    for entry in known().values():
        assert f"| {entry.name} |" in page, entry.name


WATCHED = ["henbit", "chickweed", "burweed", "annual bluegrass", "goosegrass"]
SAMPLE = Path(__file__).parents[1] / "sample_weather"


def sample_site(folder: Path, *weeds: str) -> Path:
    """The sample's site with other weeds, its weather beside it."""
    text = (SAMPLE / "site.toml").read_text("utf-8")
    named = ", ".join(f'"{name}"' for name in weeds)
    site = folder / "site.toml"
    site.write_text(re.sub(r"weeds = .*", f"weeds = [{named}]", text), "utf-8")
    return site


def ran(command: click.Command, site: Path, *more: str) -> str:
    weather = [f"--weather={SAMPLE / name}.csv.gz" for name in ("daily", "hourly")]
    args = [str(site), *weather, "--offline", "--date", "2018-01-15", *more]
    result = CliRunner().invoke(command, args, catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return " ".join(result.output.split())


@pytest.mark.slow
def test_every_screen_answers_with_weeds_on_general_clocks(tmp_path: Path) -> None:
    site, page = sample_site(tmp_path, *WATCHED), tmp_path / "page.html"
    ranked = ran(rank.command, site, "--page", str(page))
    assert "general clock for winter annuals" in ranked
    assert "Lawn burweed sets burs" in ranked
    html = page.read_text("utf-8")
    assert "good to 3 weeks" in html
    assert "goosegrass" in html.casefold()
    planned = ran(season.command, site)
    assert "10 % of henbit, common chickweed and lawn burweed emerged" in planned
    assert "first burs of lawn burweed" in planned
    assert "control before" in planned
    dates = json.loads(ran(season.command, site, "--format", "json"))["key_dates"]
    assert {"LAMAM_10", "SOVSE_burs", "POAAN_seedheads"} <= {key["name"] for key in dates}
    said = ("application", "start=2018-01-05 13:00", "active=glyphosate", "target=Henbit")
    logged = CliRunner().invoke(cli, ["log", "add", *said, "where=field 2", "--site", str(site)])
    assert logged.exit_code == 0, logged.output
    assert "glyphosate" in ran(review.command, site).casefold()


@pytest.mark.slow
def test_more_weeds_on_a_general_clock_change_no_score_and_a_lone_one_is_answered(
    tmp_path: Path,
) -> None:
    def windows(*weeds: str) -> list[tuple[object, ...]]:
        found = json.loads(ran(rank.command, sample_site(tmp_path, *weeds), "--format", "json"))
        return [
            (o["purpose"], o["opens"], w["start"], w["score"], w["verdict"], w["odds"])
            for o in found["purposes"]
            for w in [*o["windows"], *([o["closest"]] if o["closest"] else [])]
        ]

    alone = windows("annual bluegrass")
    assert windows("annual bluegrass", "henbit", "chickweed", "kyllinga") == alone
    henbit = windows("henbit")
    assert any(row[0] == "dormant" and row[4] in ("fit", "marginal") for row in henbit)
    assert windows("henbit", "chickweed", "clover") == henbit


def test_the_page_of_weeds_and_the_settings_list_them_all(tmp_path: Path) -> None:
    browser = client(tmp_path)
    shown = browser.get("/weeds")
    assert shown.status_code == 200
    assert "Baskin &amp; Baskin 1981" in shown.text
    assert 'href="/weeds"' in browser.get("/new").text
    slug = make_site(tmp_path)
    form = browser.get(f"/s/{slug}/settings").text
    for code, entry in known().items():
        assert entry.name in shown.text
        assert f'name="weed.{code}"' in form
    assert len(re.findall(r'name="weed.\w+" value="yes" checked', form)) == 2
