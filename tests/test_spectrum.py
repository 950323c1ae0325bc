"""What an active is for: by the weed, else by its kind; what nobody says recommends nothing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from spoken import render
from test_jobs import applied, site

import windowcast
from windowcast.core.errors import InputError
from windowcast.core.values import STATUSES
from windowcast.core.weed_codes import known
from windowcast.materials.actives import Active, load_actives
from windowcast.materials.label_values import ACTIONS, KINDS
from windowcast.materials.needs import needs_of
from windowcast.materials.spectrum import action, does_nothing, reach
from windowcast.records.model import Material
from windowcast.records.store import SeasonLog
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

ACTIVES = load_actives()


def test_every_entry_names_a_known_weed_or_kind() -> None:
    for active in ACTIVES.values():
        for key, value in active.spectrum.items():
            assert key in KINDS or key in known(), value.path
            assert value.value in ACTIONS, value.path
            assert value.status in STATUSES, value.path


def test_the_weed_goes_before_its_kind_and_memory_rules_out_only() -> None:
    assert action(ACTIVES["2,4-D"], "LAMAM") == "no"  # Askew MC et al. 2021: not controlled
    assert action(ACTIVES["2,4-D"], "SOVSE") == "controls"  # Univ. Florida IFAS 2016
    assert action(ACTIVES["2,4-D"], "POAAN") == "no"  # from memory, which may rule out
    assert action(ACTIVES["prodiamine"], "STEME") == ""  # "some" broadleaf weeds, from memory
    assert action(ACTIVES["halauxifen"], "LAMPU") == "controls"
    assert action(ACTIVES["glyphosate"], "XXXXX") == ""
    told = replace(ACTIVES["2,4-D"].spectrum["SOVSE"], status="from memory")
    assert action(replace(ACTIVES["2,4-D"], spectrum={"SOVSE": told}), "SOVSE") == ""


@pytest.mark.parametrize("active", list(ACTIVES.values()), ids=list(ACTIVES))
def test_nothing_against_broadleaf_weeds_alone_is_for_a_grass_nor_the_other_way(
    active: Active,
) -> None:
    for kind, other in (("grass", "broadleaf"), ("broadleaf", "grass")):
        said = active.spectrum.get(kind)
        if said is not None and said.value == "no":
            own = {code for code, weed in known().items() if weed.kind == kind}
            assert not own & {c for c in active.spectrum if action(active, c) == "controls"}
            assert active.spectrum.get(other) is None or active.spectrum[other].value != "no"


def test_a_mixture_reaches_what_any_member_reaches_at_its_stage() -> None:
    mixed = ACTIVES.mixture("2,4-D + foramsulfuron")
    found = reach(mixed, ["POAAN", "SOVSE", "LAMAM", "CARHI"], pre=False)
    assert found.controls == ("POAAN", "SOVSE")
    assert found.misses == ()
    assert found.unknown == ("LAMAM", "CARHI")  # what foramsulfuron does to henbit, nobody says
    early = reach(ACTIVES.mixture("2,4-D+prodiamine"), ["POAAN", "SOVSE"], pre=True)
    assert early.controls == ("POAAN",)
    assert does_nothing(ACTIVES["2,4-D"], ["POAAN"], pre=False)
    assert not does_nothing(ACTIVES["2,4-D"], [], pre=False)


def test_growth_regulators_serve_no_purpose_and_no_group() -> None:
    needs = needs_of(ACTIVES.mixture("paclobutrazol"), "hybrid bermudagrass")
    assert not needs.pre
    assert not needs.post
    assert needs.groups == ()
    for name in PURPOSES:
        assert not purpose_of(name).serves(needs)


def test_a_broadleaf_active_is_never_with_what_for_annual_bluegrass(tmp_path: Path) -> None:
    where = {**site(), "stock": ["2,4-D", "quinclorac", "sulfosulfuron", "foramsulfuron"]}
    found = windowcast.rank(where, windowcast.sample_weather()).purposes[2]
    assert [choice.actives for choice in found.choices] == [("foramsulfuron",)]
    assert found.choices[0].controls == ("POAAN",)
    fits = {fit.active: (fit.verdict, render(fit.reason)) for fit in found.stock}
    assert fits["2,4-D"] == ("unfit", "does not control annual bluegrass")
    assert fits["sulfosulfuron"][0] == "cannot tell"
    assert fits["sulfosulfuron"][1].startswith("no source says that it controls annual bluegrass")
    chosen = windowcast.rank(site(), windowcast.sample_weather(), actives="2,4-D").purposes[2]
    assert not chosen.windows
    assert "2,4-D does not control annual bluegrass" in render(chosen.advice)


def test_a_label_says_what_it_controls(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text('[sulfosulfuron]\nspectrum.poaan = "controls"\n')
    assert action(load_actives(own)["sulfosulfuron"], "POAAN") == "controls"
    own.write_text('[sulfosulfuron.spectrum]\nweeds = "controls"\n')
    with pytest.raises(InputError, match=r"'weeds' is not known here.*grass, broadleaf, sedge"):
        load_actives(own)
    own.write_text('[sulfosulfuron.spectrum]\ngrass = "kills"\n')
    with pytest.raises(InputError, match="'kills' is not one of controls"):
        load_actives(own)


def test_what_does_nothing_to_the_weeds_is_no_job_done(tmp_path: Path) -> None:
    log = tmp_path / "log.sqlite"
    with SeasonLog(log) as entries:
        entries.add(applied("2018-01-10", Material("2,4-D", 0.5), purpose="dormant"))
    (found,) = windowcast.answers(site(), windowcast.sample_weather(), log=log)
    job = found.ranking.purposes[2].job
    assert job is None or job.state == "not due" or job.open
