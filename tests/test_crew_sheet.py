"""The crew sheet: what the operator is told, and that nothing unknown clears a tank."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable
from dataclasses import replace
from html import unescape
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from click.testing import CliRunner
from report_fixtures import window
from web_fixtures import client, made_up, make_site

from windowcast.cli import cli
from windowcast.core.site import Site
from windowcast.limits.tank import is_of_state
from windowcast.materials.actives import load_actives
from windowcast.materials.products import product_from_words
from windowcast.programme.answer import Answer
from windowcast.records.store import SeasonLog
from windowcast.records.tank_job import TankJob, TankRequest, tank_job
from windowcast.records.tank_window import as_judged, window_for
from windowcast.report.catalogue import Voice
from windowcast.report.crew_sheet import CrewSheet, crew_sheet, crew_text, render_crew
from windowcast.web.sites import KnownSite
from windowcast.windows.model import Window

ACTIVES = load_actives(None)
DAY = dt.date(2023, 11, 8)
AT = dt.datetime(2023, 11, 8, 10, tzinfo=dt.UTC)
US = Voice("us", "en")
TURF = {"species": "hybrid bermudagrass", "use": "sports", "overseeded": False, "mature": True}
TANK = ["--area", "12 acre", "--carrier", "40 gal/acre", "--tank", "300 gal", "--product",
        "rimsulfuron rate=2 oz/acre concentration=25 % formulation=WG"]  # fmt: skip


def job(*more: str, words: str = f"{TANK[-1]} max_per_year=4 oz/acre", **turf: object) -> TankJob:
    site = Site.model_validate(
        {"name": "Field", "latitude": 36.0, "longitude": -79.1, "units": "us", "turf": TURF | turf}
    )
    products = tuple(product_from_words(said, {}, ACTIVES) for said in (words, *more))
    asked = TankRequest(products, area="12 acre", carrier="40 gal/acre", tank="300 gal")
    return tank_job(asked, site, ACTIVES, [], DAY)


def sheet(of: TankJob, voice: Voice = US, **known: object) -> CrewSheet:
    asked = {"window": None, "asked": None, "today": DAY} | known
    return crew_sheet(of, ACTIVES, voice=voice, **asked)  # type: ignore[arg-type]


FIT = replace(window(), verdict="fit", actives=("rimsulfuron",))


def test_a_fit_window_for_these_actives_and_turf_clears_the_tank() -> None:
    text = crew_text(sheet(job(), window=FIT))
    assert "Spray only as this sheet says." in text
    assert "Wednesday 8 November 2023, 10:00–15:00" in text
    assert "12 acre (4.86 ha)" in text
    said = " ".join(text.split())
    assert "rimsulfuron (mode of action group 2): 2 oz/acre; 1.5 lb" in said
    assert "Stop above 10 mph" in text
    assert "1 full load of 300 gal" in text
    assert "1. fill to 150 gal" in text
    assert max(map(len, text.splitlines())) <= 78


@pytest.mark.parametrize(
    "known",
    [{}, {"window": replace(FIT, verdict="marginal")},
     {"window": replace(FIT, verdict="cannot tell")},
     {"window": replace(FIT, actives=())}, {"window": replace(FIT, actives=("glyphosate",))},
     {"asked": (AT, AT + dt.timedelta(hours=2))}],
)  # fmt: skip
def test_what_is_not_known_waits_for_the_supervisor(known: dict[str, object]) -> None:
    found = sheet(job(), **known)
    assert found.first == "Do not start before your supervisor has signed below."
    hours = dict(found.rows)["Hours"]
    if "asked" in known:
        assert "nobody has judged the weather" in hours[0]
    if not known:
        assert hours == ("Not set",)


@pytest.mark.parametrize("actives", [("rimsulfuron",), ()])
def test_a_product_whose_active_nobody_named_waits_too(actives: tuple[str, ...]) -> None:
    unnamed, of = "something rate=1 qt/acre formulation=SL", replace(FIT, actives=actives)
    for tank in (job(unnamed), job(words=unnamed)):
        found = sheet(tank, window=of)
        assert found.first == "Do not start before your supervisor has signed below."


def _answer(area: str, *windows: Window) -> Any:
    outlook = SimpleNamespace(purpose="dormant", windows=windows)
    return SimpleNamespace(ranking=SimpleNamespace(areas=(area,), purposes=(outlook,)))


@pytest.mark.parametrize(
    ("tees", "verdict", "hours"),
    [
        (window("dormant", 1, (12, 15), 90.0), "fit", (12, 14)),
        (window("dormant", 1, (12, 15), 90.0, "marginal"), "marginal", (12, 14)),
        (window("dormant", 3, (10, 14), 90.0), "cannot tell", (10, 14)),
    ],
)
def test_one_tank_for_two_grounds_goes_by_hours_that_both_have(
    tees: Window, verdict: str, hours: tuple[int, int]
) -> None:
    greens = window("dormant", 1, (10, 14), 70.0)
    for order in ((0, 1), (1, 0)):
        answers = [(_answer("greens", greens), _answer("tees", tees))[n] for n in order]
        found = window_for(answers, "dormant", ("greens", "tees"))
        assert found is not None
        assert found.verdict == verdict
        assert (found.start.hour, found.end.hour) == hours


GREENS = window("dormant", 1, (10, 14), 70.0)


def between(day: int, first: int, last: int) -> Any:
    """Hours that somebody chose, on a clock without its zone."""
    start = window("dormant", day, (10, 14), 70.0).start.replace(tzinfo=None)
    return start.replace(hour=first), start.replace(hour=last)


def test_one_ground_has_its_best_window_or_that_of_the_hours_that_were_chosen() -> None:
    late = window("dormant", 3, (9, 12), 60.0)
    answers = [_answer("greens", GREENS, late)]
    assert window_for(answers, "dormant") == GREENS
    assert window_for(answers, "dormant", ("greens",)) == GREENS
    assert window_for(answers, "pre-fall") is None
    assert window_for(answers, "dormant", ("tees",)) is None
    assert window_for([], "dormant") is None
    for hours, found in (
        (between(3, 11, 13), late), (between(3, 12, 13), None), (between(3, 8, 9), None),
        (between(3, 8, 10), late), (between(2, 10, 14), None), (between(1, 13, 18), GREENS),
    ):  # fmt: skip
        assert window_for(answers, "dormant", asked=hours) == found


def test_one_ground_without_a_window_leaves_the_tank_without() -> None:
    answers = [_answer("greens", GREENS), _answer("tees")]
    assert window_for(answers, "dormant", ("greens", "tees")) is None
    assert window_for(answers, "dormant", ("greens",)) == GREENS


def test_the_first_hours_that_all_grounds_have_count_though_others_were_better() -> None:
    short = window("dormant", 1, (10, 11), 90.0)
    greens = _answer("greens", short, window("dormant", 2, (10, 14), 70.0))
    tees = _answer(
        "tees", window("dormant", 1, (11, 12), 90.0), window("dormant", 2, (12, 16), 80.0)
    )
    found = window_for([greens, tees], "dormant", ("greens", "tees"))
    assert found is not None
    assert (found.start.day, found.start.hour, found.end.hour, found.score) == (
        window("dormant", 2, (12, 14), 0.0).start.day, 12, 14, 70.0,
    )  # fmt: skip


def test_of_hours_that_grounds_do_not_share_the_ones_that_allow_least_are_named() -> None:
    poor = window("dormant", 3, (10, 14), 90.0, "marginal")
    unscored = replace(window("dormant", 4, (10, 14), 0.0, "marginal"), score=None)
    both = [_answer("greens", GREENS), _answer("tees", poor)]
    assert window_for(both, "dormant") == replace(poor, verdict="cannot tell")
    three = [*both, _answer("rough", unscored)]
    assert window_for(three, "dormant") == replace(unscored, verdict="cannot tell")


def test_a_tank_that_was_ranked_is_not_told_that_nobody_asked_for_its_turf() -> None:
    of = job()
    asked = [said for said in of.sheet.cautions if is_of_state(said)]
    assert asked
    for unknown in (None, replace(FIT, verdict="cannot tell")):
        assert as_judged(of, unknown) == of
    judged = as_judged(of, FIT)
    assert judged.sheet.cautions == tuple(c for c in of.sheet.cautions if c not in asked)
    assert replace(judged, sheet=of.sheet) == of


def test_an_adjuvant_needs_no_active() -> None:
    found = sheet(job("surfactant share=0.25 % formulation=NIS"), window=FIT)
    assert found.first.startswith("Spray only as this sheet says.")


def test_a_year_of_which_not_all_is_known_waits_too() -> None:
    known = job()
    unlogged = tank_job(known.asked, known.site, ACTIVES, None, DAY)
    for of in (job(words=TANK[-1]), unlogged):
        found = sheet(of, window=FIT)
        assert found.first == "Do not start before your supervisor has signed below."
        assert any("this year" in said or "the year" in said for said in found.cautions)


def test_turf_of_unknown_age_waits_too() -> None:
    found = sheet(job(mature=None), window=FIT)
    assert found.first == "Do not start before your supervisor has signed below."


def test_turf_that_says_no_leaves_no_loads_no_hours_and_no_amounts() -> None:
    refused = job(
        overseeded=True,
        overseed={"state": "done", "date": dt.date(2023, 10, 1), "species": "perennial ryegrass"},
    )
    for lang, said in (("en", "Do not spray."), ("es", "No aplique.")):
        found = sheet(refused, Voice("us", lang), window=FIT)
        assert (found.first, found.loads) == (said, ())
        assert found.refusals
        assert len(found.rows) == 1, "the area alone"
        text = crew_text(found)
        assert "2 oz/acre" not in text
        assert "300 gal" not in text
        assert '<div class="loads">' not in render_crew(found, Voice("us", lang))


def test_more_than_the_labels_yearly_maximum_is_a_no() -> None:
    of = job()
    asked = replace(of.asked, products=(replace(of.asked.products[0], max_year_kg_ha=0.01),))
    found = sheet(tank_job(asked, of.site, ACTIVES, [], DAY), window=FIT)
    assert found.first == "Do not spray."
    assert not found.loads


def test_an_own_limit_of_wind_only_tightens() -> None:
    of = job()
    assert of.site is not None
    for own, said in ((3.0, "7 mph"), (8.0, "10 mph")):
        equipment = of.site.equipment.model_copy(update={"wind_max_m_s": own})
        site = of.site.model_copy(update={"equipment": equipment})
        assert said in dict(sheet(replace(of, site=site)).rows)["Wind"][0]


def test_the_command_prints_it_and_writes_the_page(tmp_path: Path) -> None:
    out = tmp_path / "crew.html"
    done = CliRunner().invoke(
        cli, ["tank", "sheet", *TANK, "--crew", "--page", str(out), "--lang", "es"]
    )
    assert done.exit_code == 0, done.output
    assert done.output.startswith("Hoja de cuadrilla")
    assert "Firma del supervisor ___" in done.output
    page = out.read_text("utf-8")
    assert '<html lang="es">' in page
    assert "1 carga completa de 300 gal" in page
    assert "<script" not in page
    for wrong in (["--page", str(out)], ["--crew", "--format", "json"]):
        assert CliRunner().invoke(cli, ["tank", "sheet", *TANK, *wrong]).exit_code != 0


def test_the_page_is_there_in_both_languages(tmp_path: Path) -> None:
    slug = make_site(tmp_path, units="us")
    tank = "area=12+acre&carrier=40+gal%2Facre&tank=300+gal&p0.name=rimsulfuron&p0.rate=2+oz%2Facre"
    tank += "&p0.concentration=25+%25&p0.formulation=WG"
    page = client(tmp_path).get(f"/s/{slug}/plan/crew?{tank}&lang=es")
    assert page.status_code == 200
    assert "No empiece antes de que su supervisor firme abajo." in page.text
    assert "1 carga completa de 300" in page.text.replace("\N{NO-BREAK SPACE}", " ")
    assert f'href="/s/{slug}/plan/tank?area=12+acre' in page.text, "the way back"


def ranked_for(*actives: str) -> Callable[[KnownSite, str, str], Answer]:
    """An answer whose windows of 8 November 2023 are fit, and were ranked for these actives."""

    def rank(known: KnownSite, purpose: str, mixture: str) -> Answer:
        assert mixture == "rimsulfuron"
        one = made_up(known)
        fit = (replace(FIT, actives=actives),)
        outlooks = (
            replace(o, windows=fit if o.purpose == purpose else ()) for o in one.ranking.purposes
        )
        return replace(one, ranking=replace(one.ranking, purposes=tuple(outlooks)))

    return rank


@pytest.mark.parametrize(
    ("hours", "first"),
    [("&start=2023-11-08T10:00&end=2023-11-08T15:00", "Spray only as this sheet says."),
     ("", "Spray only as this sheet says."),
     ("&start=2023-11-09T10:00&end=2023-11-09T12:00", "Do not start before your supervisor")],
)  # fmt: skip
def test_the_page_asks_for_a_signature_for_the_reasons_of_the_command(
    tmp_path: Path, hours: str, first: str
) -> None:
    slug = make_site(tmp_path, units="us")
    file = tmp_path / f"{slug}.toml"
    turf = "overseeded = false\nmature = true\n"
    file.write_text(file.read_text().replace("[turf]\n", f"[turf]\n{turf}"))
    with SeasonLog(tmp_path / f"{slug}.log.sqlite"):
        pass
    tank = "purpose=dormant&area=12+acre&carrier=40+gal%2Facre&tank=300+gal&p0.name=rimsulfuron"
    tank += "&p0.rate=2+oz%2Facre&p0.concentration=25+%25&p0.formulation=WG"
    tank += "&p0.max_per_year=4+oz%2Facre"
    browser = client(tmp_path, rank=ranked_for("rimsulfuron"))
    sheet_page = browser.get(f"/s/{slug}/plan/tank?{tank}{hours}").text
    (link,) = re.findall(r'href="(/s/[^"]+/plan/crew[^"]+)"', sheet_page)
    assert first in browser.get(unescape(link)).text
    unknown = unescape(link).replace("p0.max_per_year", "nothing")
    assert "Do not start before your supervisor" in browser.get(unknown).text
