"""Weeds by name, the general clocks, and what is shown of each weed."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from windowcast.cli.weeds import command
from windowcast.core.site import site_from
from windowcast.core.weed_codes import known, supported, weed_code
from windowcast.report.catalogue import Voice, catalogue
from windowcast.report.weed_facts import weed_rows, weed_said
from windowcast.season.clocks import Drivers
from windowcast.season.emergence import emerge
from windowcast.season.model import Emergence, SiteState
from windowcast.season.weeds import weed
from windowcast.windows.days import DayContext

US = Voice("us", "en")
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
    from windowcast.core.errors import InputError

    result = CliRunner().invoke(command, ["henbitt"])
    assert isinstance(result.exception, InputError)
    assert "did you mean henbit (LAMAM)?" in str(result.exception)
    assert result.exception.exit_code == 2


def test_the_manual_says_what_a_user_must_bring() -> None:
    page = (Path(__file__).parents[1] / "docs" / "weeds.md").read_text("utf-8")
    for entry in known().values():
        assert f"| {entry.name} |" in page, entry.name
