"""Past seasons of one's own site: what is kept, how it is said, and where it is refused."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from uscrn_sites import FOLDER

from windowcast.api.here import here_report
from windowcast.cli.verify_advice import command
from windowcast.core.errors import InputError
from windowcast.core.record import Weather
from windowcast.core.site import Site, site_from
from windowcast.report.catalogue import Voice
from windowcast.report.here_text import here_lines, here_view
from windowcast.report.page import page_of
from windowcast.report.plain import plain
from windowcast.sources.cache import Cache
from windowcast.sources.foretold import Foretold
from windowcast.sources.uscrn import read_uscrn
from windowcast.verify import advice_kept
from windowcast.verify.advice_here import follower_at, replay_at
from windowcast.verify.advice_kept import AdviceHere, SeasonsHere, Sprayed, advice_here, keep, kept
from windowcast.verify.here import HereReport

TODAY = dt.date(2018, 7, 5)
ADVISED = Sprayed((0.95, 0.93, 0.97), (0.963, 0.95, 0.98), (0.941, 0.9, 0.96), (3.4, 3.2, 3.6),
                  (0.0, 0.0, 0.0))  # fmt: skip
CALENDAR = Sprayed((0.95, 0.93, 0.97), (0.97, 0.96, 0.98), (0.93, 0.9, 0.95), (4.0, 4.0, 4.0),
                   (0.7, 0.5, 0.9))  # fmt: skip
FOUND = SeasonsHere(12, 2005, 2016, True, ADVISED, CALENDAR, (0.002, -0.01, 0.014), "0.1.0")


def site(turf: dict[str, Any] | None = None, **more: Any) -> Site:
    ground = {"overseeded": False, "mature": True} if turf is None else turf
    return site_from({"name": "Cedar Hollow", "latitude": 37.25, "longitude": -86.23,
                      "elevation_m": 240.0, "turf": ground, **more})  # fmt: skip


def said(known: AdviceHere, lang: str = "en") -> list[str]:
    report = HereReport("Cedar Hollow", TODAY, 0, (), (), known, "0.1.0")
    lines = here_lines(report, Voice("us", lang))
    assert not any("[here" in line for line in lines)
    return [line.strip() for line in lines[4:]]


def test_both_ways_to_spray_are_told_with_what_they_rest_on() -> None:
    assert said(AdviceHere(None, FOUND, same_grass=True)) == [
        (
            "In 12 seasons, 2005/06 to 2016/17, spraying as advised would have controlled 96 % of "
            "the annual bluegrass and 94 % of the large crabgrass with 3.4 sprays a season. No "
            "spray would have gone out on a day that the turf limits rule out."
        ),
        (
            "By calendar dates: 97 % of the annual bluegrass and 93 % of the large crabgrass with "
            "4 sprays a season. 0.7 sprays a season would have gone out on a day that the turf "
            "limits rule out."
        ),
        (
            "Counting only sprays that the turf took, the difference in control between the two, "
            "0.2 points, is within what luck alone does (−1 to 1.4)."
        ),
        (
            "By the program's own models of weeds, products and forecasts, with one tank for each "
            "application, on mature hybrid bermudagrass that is not overseeded, with irrigation."
        ),
    ]
    assert said(AdviceHere(None, FOUND, same_grass=False))[-1].startswith("Your turf is another")


@pytest.mark.parametrize(
    ("gain", "text"),
    [
        ((0.03, 0.01, 0.05), "controlled 3 points more of the weeds than calendar dates (1 to 5)"),
        ((-0.03, -0.05, -0.01), "controlled 3 points less of the weeds than calendar dates (1 to"),
        ((None, None, None), "12 seasons are too few to compare"),
    ],
)
def test_the_difference_is_told_by_its_sign(gain: advice_kept.Ends, text: str) -> None:
    assert text in said(AdviceHere(None, replace(FOUND, gain=gain), same_grass=True))[2]


def test_few_seasons_tell_no_difference() -> None:
    once = replace(CALENDAR, hurt=(1.0, 1.0, 1.0))
    few = replace(FOUND, calendar=once, seasons=1, last=2005, gain=(0.03, 0.03, 0.03))
    lines = said(AdviceHere(None, few, same_grass=True))
    assert lines[0].startswith("In the season 2005/06, spraying as advised")
    assert "1 spray a season would have gone out" in lines[1]
    assert lines[2] == "1 season is too few to compare the two."


def test_a_weed_without_a_curve_is_left_out() -> None:
    unknown = replace(ADVISED, summer=(None, None, None))
    first = said(AdviceHere(None, replace(FOUND, advice=unknown), same_grass=True))[0]
    assert "96 % of the annual bluegrass with 3.4 sprays" in first


def test_spanish() -> None:
    text = "\n".join(said(AdviceHere(None, FOUND, same_grass=False), "es"))
    assert "En 12 temporadas, de 2005/06 a 2016/17" in text
    assert "96 % de poa " in text
    assert "Su césped es de otra especie" in text


def test_nothing_kept_names_the_command_in_terminal_and_page(tmp_path: Path) -> None:
    with Cache(tmp_path / "c.sqlite") as cache:
        known = advice_here(cache, site(), TODAY)
    (line,) = said(known)
    assert "windowcast verify advice --site SITE.toml" in line
    voice = Voice("us", "en")
    view = here_view(HereReport("Cedar Hollow", TODAY, 0, (), (), known, "0.1.0"), voice)
    assert line in page_of("here_card.html", voice, here=view)


def test_what_is_kept_is_found_again_by_this_ground_and_version(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Cache(tmp_path / "c.sqlite") as cache:
        keep(cache, site(), FOUND)
        assert kept(cache, site()) == FOUND
        assert kept(cache, site(name="Other")) == FOUND, "a new name is the same ground"
        watered = {"overseeded": False, "mature": True, "irrigated": True}
        assert kept(cache, site(watered)) is None
        assert kept(cache, site(calendar={"spray_hours": "06:00-09:00"})) is None
        monkeypatch.setattr(advice_kept, "__version__", "9.9")
        assert kept(cache, site()) is None


def test_the_report_finds_it_in_the_cache(tmp_path: Path) -> None:
    record = read_uscrn(FOLDER / "KY_Bowling_Green_21_NNE.txt.gz")
    store = Foretold(tmp_path / "c.sqlite")
    with Cache(store.path) as cache:
        keep(cache, site(), FOUND)
    report = here_report(site(), Weather(record, None, TODAY), None, store)
    assert report.advice == AdviceHere(None, FOUND, same_grass=True)
    json = plain(report, Voice("us", "en"))
    assert json["advice"]["kept"]["advice"]["winter"] == [0.963, 0.95, 0.98]


REFUSED = [
    ({"overseeded": True}, 37.0, "turf.overseeded", "overseeded turf does not take"),
    ({"overseed": {"state": "planned", "date": dt.date(2018, 10, 1)}}, 37.0, "turf.overseeded",
     "overseeded turf"),
    ({"established": dt.date(2017, 5, 1)}, 37.0, "turf.mature", "this turf is new"),
    ({"mature": False}, 37.0, "turf.mature", "this turf is new"),
    ({"mature": True}, -37.0, "latitude", "north of the equator"),
]  # fmt: skip


@pytest.mark.parametrize(("turf", "latitude", "field", "text"), REFUSED)
def test_ground_where_seasons_cannot_be_lived(
    tmp_path: Path, turf: dict[str, Any], latitude: float, field: str, text: str
) -> None:
    record = read_uscrn(FOLDER / "KY_Bowling_Green_21_NNE.txt.gz")
    ground = site(turf).model_copy(update={"latitude": latitude})
    with pytest.raises(InputError) as error:
        replay_at(ground, Weather(record, None, TODAY))
    assert error.value.field == field
    with Cache(tmp_path / "c.sqlite") as cache:
        (line,) = said(advice_here(cache, ground, TODAY))
    assert text in line


def test_turf_laid_years_ago_is_mature() -> None:
    assert advice_kept.refused_ground(site({"established": dt.date(2010, 5, 1)}), TODAY) is None


def test_the_follower_has_the_ground_and_hours_of_the_site_file() -> None:
    calendar = {"spray_hours": "07:00-10:00", "spray_weekdays": ["tue"]}
    found = follower_at(site({"use": "sod"}, calendar=calendar))
    assert (found.irrigated, found.hours, found.weekdays, found.use) == (
        False, "07:00-10:00", ("tue",), "sod",
    )  # fmt: skip
    lived = found.site(site().place)
    assert lived.calendar.spray_weekdays == ("tue",)
    assert (lived.turf.irrigated, lived.turf.use) == (False, "sod")


def test_the_record_ends_yesterday_and_begins_where_mornings_know_of() -> None:
    record = read_uscrn(FOLDER / "KY_Bowling_Green_21_NNE.txt.gz")
    lives = replay_at(site(), Weather(record, None, dt.date(2018, 6, 1)), seasons=1)
    assert str(lives.read().times[-1])[:10] == "2018-05-31"
    assert [one.name for one in lives.followers] == ["site"]


@pytest.mark.parametrize("asked", [[], ["--site", "a.toml", "b.csv"]])
def test_one_of_records_and_site_is_asked_for(asked: list[str]) -> None:
    refused = CliRunner().invoke(command, asked)
    assert isinstance(refused.exception, InputError)
    assert refused.exception.field == "--site"


@pytest.mark.slow
def test_a_season_of_a_site_is_lived_kept_and_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("WINDOWCAST_CACHE", str(tmp_path / "cache"))
    file = FOLDER / "KY_Bowling_Green_21_NNE.txt.gz"
    (tmp_path / "site.toml").write_text(
        'name = "Cedar Hollow"\nlatitude = 37.25\nlongitude = -86.23\nelevation_m = 240.0\n'
        f'[turf]\nmature = true\noverseeded = false\n[weather]\nfiles = ["{file}"]\n'
    )
    years = str(dt.datetime.now(tz=dt.UTC).year - 2016)
    asked = ["--site", str(tmp_path / "site.toml"), "--offline", "--seasons", years]
    only = CliRunner().invoke(command, [*asked, "--futures", "10", "--only", "dormant"])
    assert only.exit_code == 0, only.output
    with Cache() as cache:
        assert kept(cache, site()) is None, "a part of the applications tells nothing of all"
    lived = CliRunner().invoke(command, [*asked, "--futures", "10"])
    assert lived.exit_code == 0, lived.output
    assert "your site (" in lived.output
    with Cache() as cache:
        found = kept(cache, site())
    assert found is not None
    assert (found.first, found.irrigated) == (2016, False)
    share, sprays = found.advice.controlled[0], found.advice.sprays[0]
    assert share is not None
    assert 0.5 < share <= 1
    assert sprays is not None
    assert 1 <= sprays <= 6
