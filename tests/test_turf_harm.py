"""Ways in which knowing less of the turf, or of another place or day, must not permit anything."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path

import pytest
from windows_fixtures import site, state

from windowcast.api import load_site
from windowcast.core.errors import InputError
from windowcast.core.phrase import say
from windowcast.core.site import site_from
from windowcast.core.values import load
from windowcast.limits.answer import turf_answers
from windowcast.limits.ground import Ground, ground_of, nth_of
from windowcast.limits.model import TurfAnswer
from windowcast.limits.rules import limits_on
from windowcast.limits.treatment import treatments_of
from windowcast.limits.turf_days import TurfDays
from windowcast.materials.actives import Formulation, load_actives
from windowcast.materials.needs import needs_of
from windowcast.records.model import CoverReading
from windowcast.records.observations import observed_in
from windowcast.records.store import SeasonLog
from windowcast.season.sightings import CanopyLook, GreenCover, holding

ACTIVES = load_actives()
BERMUDA = "hybrid bermudagrass"
WHOLE = Ground(BERMUDA, sowing="none", mature=True)
JAN = dt.date(2027, 1, 16)
PLACE = {"name": "Field", "latitude": 41.0, "longitude": 2.0}


def rules(
    name: str, ground: Ground, date: dt.date, formulation: Formulation | None = None
) -> TurfAnswer:
    needs = needs_of(ACTIVES.mixture(name), ground.species, formulation)
    values = load("limits")
    (treatment,) = treatments_of(needs, ground.species, values)
    return TurfAnswer(date, tuple(limits_on(treatment, ground, date, values)))


def test_a_species_that_is_not_said_permits_nothing() -> None:
    said = {"species": BERMUDA, "overseeded": False, "mature": True}
    silent = {key: value for key, value in said.items() if key != "species"}
    needs, days = needs_of(ACTIVES.mixture("prodiamine"), BERMUDA), TurfDays.of(state())
    answers = [
        turf_answers(needs, ground_of(site_from({**PLACE, "turf": turf})), days)[0]
        for turf in (said, silent)
    ]
    assert [answer.answer for answer in answers] == ["yes", "cannot tell"]
    assert answers[1].deciding.remedy == say("limit.say_species")
    assert ground_of(site()).species_said


def test_a_seeding_of_a_later_season_does_not_say_what_stands_there_now() -> None:
    later = replace(WHOLE, sowing="planned", sown=dt.date(2027, 10, 5), sown_by="slit")
    assert rules("prodiamine", later, dt.date(2027, 3, 1)).answer == "cannot tell"
    assert rules("prodiamine", later, dt.date(2027, 6, 30)).answer == "no"  # 97 days before
    whole = replace(later, sown=dt.date(2027, 12, 5))
    assert rules("prodiamine", whole, dt.date(2027, 6, 30)).answer == "cannot tell"
    assert rules("prodiamine", whole, dt.date(2027, 7, 1)).answer == "yes"
    south = replace(whole, southern=True, sown=dt.date(2028, 6, 5))
    assert rules("prodiamine", south, dt.date(2027, 12, 31)).answer == "cannot tell"
    assert rules("prodiamine", south, dt.date(2028, 1, 1)).answer == "yes"


@pytest.mark.parametrize("formulation", ["spray", "granule"])
@pytest.mark.parametrize("name", sorted(ACTIVES))
def test_a_way_of_laying_that_is_not_said_permits_no_more_than_any_way(
    name: str, formulation: Formulation
) -> None:
    strict = {"no": 0, "cannot tell": 1, "yes": 2}
    laid = replace(WHOLE, mature=None, established=JAN - dt.timedelta(days=300))
    for age in (0, 8, 36, 50, 120, 239, 241, 364):
        date = laid.established + dt.timedelta(days=age) if laid.established else JAN
        for rooted in (None, laid.established):
            ground = replace(laid, rooted=rooted)
            least = min(
                strict[rules(name, replace(ground, established_by=way), date, formulation).answer]
                for way in ("sod", "sprigs", "plugs", "seed")
            )
            assert strict[rules(name, ground, date, formulation).answer] <= least


def test_a_look_at_one_place_or_after_the_day_permits_nothing() -> None:
    clear, live = CanopyLook(JAN, live_shoots=False), CanopyLook(JAN, live_shoots=True)
    assert holding([clear], JAN) == (clear,)
    assert holding([clear], JAN - dt.timedelta(days=1)) == ()
    assert holding([replace(clear, where="tee 4")], JAN) == ()
    elsewhere = replace(live, where="tee 4")
    assert holding([elsewhere], JAN) == (elsewhere,)


def test_of_two_looks_on_a_day_the_one_that_saw_live_shoots_counts() -> None:
    looks = (CanopyLook(JAN, live_shoots=False), CanopyLook(JAN, live_shoots=True))
    needs = needs_of(ACTIVES.mixture("glyphosate"), "zoysiagrass")
    ground = replace(WHOLE, species="zoysiagrass")
    for order in (looks, looks[::-1]):
        answer = turf_answers(needs, ground, TurfDays.of(state(JAN), order))[0]
        assert (answer.answer, answer.deciding.rule) == ("no", "canopy look")


def test_brown_turf_in_one_place_says_nothing_of_the_site(tmp_path: Path) -> None:
    day = JAN.replace(year=2026)  # the log takes no day ahead
    with SeasonLog(tmp_path / "log.sqlite") as log:
        log.add(CoverReading(day, 0.0, where="tee 4"), CoverReading(day, 3.0, where="tee 5"))
    assert observed_in(tmp_path / "log.sqlite").green_cover == (GreenCover(day, 0.03),)


def test_a_site_given_as_a_dict_may_not_tell_of_seed_sown_in_the_future() -> None:
    turf = {"overseed": {"state": "done", "date": dt.date(2099, 10, 5)}}
    with pytest.raises(InputError, match="lies after today"):
        load_site({**PLACE, "turf": turf})


def test_any_day_of_the_year_on_a_label_can_be_asked_of_in_every_year_and_half() -> None:
    year = [dt.date(2000, 1, 1) + dt.timedelta(days=n) for n in range(366)]
    for day in year:
        for date in (dt.date(2027, 2, 28), dt.date(2028, 1, 5), dt.date(2028, 2, 29)):
            for southern in (False, True):
                last = nth_of(f"{day:%m-%d}", date, southern=southern)
                assert 0 <= (date - last).days <= 366
    assert nth_of("08-31", dt.date(2027, 3, 1), southern=True) == dt.date(2027, 2, 28)


@pytest.mark.parametrize(
    "line", ["seeding_d = 1e9", "new_turf.sod = 1e9", "overseed.annual_ryegrass = 4000"]
)
def test_a_number_of_days_beyond_all_labels_is_a_slip(tmp_path: Path, line: str) -> None:
    (tmp_path / "labels.toml").write_text(f"[prodiamine]\n{line}\n")
    with pytest.raises(InputError, match="days are too many"):
        load_actives(tmp_path / "labels.toml")
