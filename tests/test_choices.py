"""With what: the turf first, then history and what is left, then the expected effect."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from spoken import render
from test_jobs import applied, site

import windowcast
from windowcast.materials.actives import Actives, load_actives
from windowcast.programme.candidates import allowance
from windowcast.records.model import Application, Material
from windowcast.records.store import SeasonLog
from windowcast.report.wording import choice
from windowcast.season.observed import Applied
from windowcast.windows.choices import _order
from windowcast.windows.decision import answer_word
from windowcast.windows.model import Allowance, Choice, PurposeOutlook

TODAY = dt.date(2018, 1, 18)
ACTIVES = load_actives()
pytestmark = pytest.mark.usefixtures("states_once")


def dormant(
    tmp_path: Path, *entries: Application, actives: Actives | None = None, **about: Any
) -> PurposeOutlook:
    file = tmp_path / "log.sqlite"
    file.unlink(missing_ok=True)
    with SeasonLog(file) as log:
        for entry in entries:
            log.add(entry)
    where = {**site(**about.pop("turf", {})), **about}
    (found,) = windowcast.answers(where, windowcast.sample_weather(), log=file)
    return found.ranking.purposes[2]


def named(outlook: PurposeOutlook) -> list[str]:
    return [" + ".join(choice.actives) for choice in outlook.choices]


def test_three_are_named_from_all_and_one_chosen_needs_none(tmp_path: Path) -> None:
    it = dormant(tmp_path)
    assert len(it.choices) == 3
    best = it.choices[0]
    assert best.effect is not None
    assert best.effect > 0.87  # Toler et al. 2007: 87 % and more, by more than one trial
    (said,) = [phrase for phrase in best.speaks_for if phrase.id == "choice.trials"]
    assert "control of annual bluegrass" in render(said)
    assert "trial" in render(said)
    assert best.verdict == "fit"
    where, weather = site(), windowcast.sample_weather()
    chosen = windowcast.rank(where, weather, actives="glyphosate")
    assert all(not outlook.choices for outlook in chosen.purposes)


def test_only_what_is_in_stock_and_none_of_it_is_an_answer(tmp_path: Path) -> None:
    it = dormant(tmp_path, stock=["foramsulfuron", "glyphosate"])
    assert named(it) == ["glyphosate", "foramsulfuron"]
    effects = [choice.effect or 0.0 for choice in it.choices]
    assert effects == sorted(effects, reverse=True)
    none = dormant(tmp_path, stock=["prodiamine", "oxadiazon"])
    assert not none.choices
    assert none.none_in_stock
    assert none.windows  # the hours are good; what is in stock does not serve them


def test_a_group_used_last_season_comes_last_and_says_so(tmp_path: Path) -> None:
    first = dormant(tmp_path, stock=["foramsulfuron", "glyphosate"])
    before = applied("2017-01-20", Material("glyphosate", 0.4), purpose="dormant")
    it = dormant(tmp_path, before, stock=["foramsulfuron", "glyphosate"])
    assert named(first)[0] == "glyphosate"
    assert named(it) == ["foramsulfuron", "glyphosate"]
    assert it.choices[1].repeats
    assert "stock.used_last" in repr(it.choices[1].speaks_against)
    assert "choice.fresh" in repr(it.choices[0].speaks_for)


def test_without_a_log_nobody_says_that_a_group_was_not_used(tmp_path: Path) -> None:
    assert "choice.fresh" not in repr(dormant(tmp_path).choices)


@pytest.mark.parametrize(
    "turf",
    [
        {"overseeded": True},
        {"species": "zoysiagrass"},
        {"mature": None},
    ],
)
def test_what_the_turf_does_not_surely_take_is_no_choice(
    tmp_path: Path, turf: dict[str, Any]
) -> None:
    assert not dormant(tmp_path, turf=turf).choices


def test_nothing_is_offered_beyond_its_yearly_maximum() -> None:
    most = replace(ACTIVES["glyphosate"].group, value=1.0)
    active = ACTIVES["glyphosate"]
    own = replace(active, max_year_kg_ha=most)

    def left(*applied_: Applied) -> Allowance:
        return allowance(own, applied_, TODAY)

    def went(days_ago: int, rate: float | None) -> Applied:
        return Applied(TODAY - dt.timedelta(days_ago), "dormant", (("glyphosate", rate),))

    assert left().left_kg_ha == 1.0
    assert left().more is None
    assert not left().spent
    assert left(went(10, 0.4)).more == 1
    assert left(went(10, 0.4), went(5, 0.4)).spent  # 0.2 left is less than another 0.4
    assert left(went(365, 0.4)).used_kg_ha == 0.0
    assert left(went(364, 0.4)).used_kg_ha == 0.4
    assert left(went(10, None)).left_kg_ha is None
    assert left(went(10, None)).spent  # what is left cannot be told
    assert allowance(active, [went(10, 0.4)], TODAY).left_kg_ha is None  # no maximum entered


def test_choices_keep_their_order() -> None:
    def made(**change: Any) -> Choice:
        usual: dict[str, Any] = {
            "actives": ("a",), "groups": (1,), "verdict": "fit", "score": 80.0, "effect": 0.8,
            "repeats": False, "speaks_for": (), "speaks_against": (),
        }  # fmt: skip
        return Choice(**{**usual, **change})

    best = [
        made(effect=0.9),
        made(),
        made(score=70.0),
        made(effect=None, score=99.0),
        made(verdict="marginal", effect=0.95),
        made(repeats=True, effect=1.0),
    ]
    shuffled = [best[i] for i in (3, 0, 5, 2, 4, 1)]
    assert sorted(shuffled, key=_order) == best


def test_a_name_in_capitals_uses_up_the_maximum_too() -> None:
    went = Applied(TODAY, "", (("Glyphosate ", 0.4),))
    assert allowance(ACTIVES["glyphosate"], [went], TODAY).used_kg_ha == 0.4


def test_a_group_used_without_a_purpose_is_not_fresh(tmp_path: Path) -> None:
    it = dormant(tmp_path, applied("2017-10-20", Material("glyphosate", 0.4)), stock=["glyphosate"])
    assert it.windows
    (choice,) = it.choices
    assert choice.repeats
    assert "choice.fresh" not in repr(choice.speaks_for)


@pytest.mark.parametrize(("rate", "answer"), [(0.4, "do not spray"), (None, "cannot tell")])
def test_a_yearly_maximum_that_is_used_up_is_a_limit(
    tmp_path: Path, rate: float | None, answer: str
) -> None:
    own = tmp_path / "own.toml"
    own.write_text("[glyphosate]\nmax_year_kg_ha = 0.5\n")
    log = tmp_path / "log.sqlite"
    with SeasonLog(log) as entries:
        entries.add(applied("2017-10-15", Material("glyphosate", rate), purpose="post-early"))
    sample = windowcast.sample_weather()

    def asked(**more: Any) -> PurposeOutlook:
        return windowcast.rank(site(), sample, materials=own, **more).purposes[2]

    assert asked(actives="glyphosate").windows
    bound = asked(actives="glyphosate", log=log)
    assert answer_word(bound) == answer
    assert not bound.windows
    stocked = windowcast.rank({**site(), "stock": ["glyphosate"]}, sample, materials=own, log=log)
    (fit,) = stocked.purposes[2].stock
    assert fit.verdict == ("unfit" if answer == "do not spray" else "cannot tell")
    assert stocked.purposes[2].none_in_stock


def test_a_price_in_the_materials_file_tells_what_a_choice_costs(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        '[[products]]\nname = "mine"\nactive = "foramsulfuron"\nconcentration = "0.2 lb/gal"\n'
        'rate = "16 fl oz/acre"\nprice = "320 USD per gal"\n'
    )
    where = {**site(), "stock": ["foramsulfuron", "glyphosate"]}
    found = windowcast.rank(where, windowcast.sample_weather(), materials=own).purposes[2]
    other, priced = found.choices
    assert priced.money == "USD"
    assert priced.cost_per_ha == pytest.approx(320 / 8 / 0.40468564224)  # 16 fl oz: 1/8 gal an acre
    assert "costs USD 40 per acre" in windowcast.words(choice(priced), units="us")
    assert other.cost_per_ha is None
