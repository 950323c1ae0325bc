"""Actives: traceable values, label overrides, close names, strictest member of a mixture."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest
from spoken import render

from windowcast.core import values
from windowcast.core.errors import InputError
from windowcast.core.turf import Species
from windowcast.materials.actives import load_actives
from windowcast.materials.label_values import MOVEMENTS, TIMINGS, TURF_STATES, UPTAKES, species_key
from windowcast.materials.needs import needs_of
from windowcast.materials.rates import material_from

# The classification of 2020 (HRAC, WSSA), typed here apart from the table: by group, and 0 for what
# it calls unknown or, for growth regulators, does not list. Read: group 3 for benfluralin and
# trifluralin (Pacific Northwest Weed Management Handbook), 2 for the sulfonylureas (trade article)
# and what inhibits acetolactate synthase as they do (Keese et al.), 30 for methiozolin's target
# (WSSA fact sheet, 2020), older letters of a public table. The rest from memory.
CLASSIFICATION = {
    0: "bensulide, napropamide, siduron, MSMA, pelargonic acid, paclobutrazol, flurprimidol",
    1: "clethodim, sethoxydim, fenoxaprop-P, fluazifop-P, diclofop, pinoxaden",
    2: "foramsulfuron, trifloxysulfuron, rimsulfuron, flazasulfuron, sulfosulfuron, metsulfuron, "
    "halosulfuron, imazosulfuron, chlorsulfuron, iodosulfuron, thiencarbazone, florasulam, "
    "penoxsulam, bispyribac, imazaquin, imazapic",
    3: "prodiamine, pendimethalin, oryzalin, benfluralin, trifluralin, dithiopyr, "
    "chlorthal-dimethyl, propyzamide",
    4: "2,4-D; dicamba; mecoprop-P; MCPA; triclopyr; fluroxypyr; clopyralid; halauxifen; "
    "quinclorac",
    5: "simazine, atrazine, amicarbazone, metribuzin",
    6: "bentazon",
    9: "glyphosate",
    10: "glufosinate",
    14: "oxadiazon, flumioxazin, sulfentrazone, carfentrazone",
    15: "S-metolachlor, dimethenamid-P, ethofumesate",
    18: "asulam",
    22: "diquat",
    27: "mesotrione, topramezone",
    29: "indaziflam, isoxaben",
    30: "methiozolin",
    31: "endothal",
}
GROUPS = {
    name: group
    for group, text in CLASSIFICATION.items()
    for name in re.split("; " if ";" in text else ", ", text)
}


def test_every_active_is_there_with_its_group() -> None:
    actives = load_actives()
    assert {name: int(float(a.group)) for name, a in actives.items()} == GROUPS


def test_values_are_traceable_and_within_their_vocabulary() -> None:
    species = {species_key(s) for s in Species}
    table = values.load("actives")
    for name, active in load_actives().items():
        assert active.movement.value in MOVEMENTS, name
        assert active.uptake.value in UPTAKES, name
        assert active.timing.value in TIMINGS, name
        assert set(active.turf) <= species, name
        assert all(v.value in TURF_STATES for v in active.turf.values()), name
        for value in active.known().values():
            assert value.source, value.path
            assert value.status in values.STATUSES, value.path
            if value.low is not None and value.high is not None:
                assert value.low <= float(value) <= value.high, value.path
        # nothing in the TOML is dropped on the way to the dataclass
        assert len(active.known()) == len(list(table.table(name).values_below())), name


@pytest.mark.parametrize(
    ("name", "package"),
    [
        ("tank", "windowcast.materials"),
        ("rotation", "windowcast.materials"),
        ("record_rules", "windowcast.report"),
    ],
)
def test_every_rule_of_thumb_says_where_it_comes_from(name: str, package: str) -> None:
    found = list(values.load(name, package).values_below())
    assert found
    assert all(v.source and v.status in values.STATUSES for v in found)


def test_published_figures() -> None:
    actives = load_actives()
    # Schleicher et al. 1995, Weed Science 43:140-148: half-lives in turf
    assert float(actives["pendimethalin"].soil_dt50_d) == 23  # type: ignore[arg-type]
    assert float(actives["dithiopyr"].soil_dt50_d) == 35  # type: ignore[arg-type]
    # Toler et al. 2007, HortScience 42:670: glyphosate 72 % in December, 93 % in February
    control = actives["glyphosate"].dormant_control_pct
    assert control is not None
    assert (control.low, control.high) == (72, 93)
    # Univ. Arkansas 2009: half an inch within 7 days
    assert float(actives["prodiamine"].activation_mm) == pytest.approx(25.4 / 2)  # type: ignore[arg-type]


def test_other_common_names_find_the_iso_name() -> None:
    assert load_actives()["Pronamide"].name == "propyzamide"


def test_unknown_active_suggests_close_names() -> None:
    with pytest.raises(InputError, match=r"'glifosate'.*glyphosate"):
        load_actives()["glifosate"]
    with pytest.raises(InputError, match="names no active"):
        load_actives().mixture(" + ")


def test_strictest_member_governs() -> None:
    actives = load_actives()
    mixed = needs_of(actives.mixture("simazine + glyphosate+diquat"), "hybrid bermudagrass")
    assert mixed.names == ("simazine", "glyphosate", "diquat")
    assert mixed.groups == (5, 9, 22)
    assert mixed.rain_free_h == 6  # glyphosate; simazine is root-taken, diquat needs half an hour
    assert mixed.governs["rain_free_h"] == "glyphosate"
    assert mixed.activation_mm == 12.7
    assert mixed.governs["activation_mm"] == "simazine"
    assert mixed.turf_state == "dormant"  # simazine alone would allow semi-dormant turf
    assert mixed.light_needed is True
    assert mixed.selective is False


def test_a_soil_acting_material_has_no_rain_free_hours() -> None:
    needs = needs_of(load_actives().mixture("prodiamine"), "zoysiagrass")
    assert needs.rain_free_h is None
    assert needs.temp_low_c is None
    assert needs.post is False
    assert needs.unknown == ()


def test_unknown_stays_unknown() -> None:
    actives = load_actives()
    needs = needs_of(actives.mixture("atrazine+glyphosate"), "bahiagrass")
    assert math.isnan(needs.rain_free_h or 0.0)
    assert needs.turf_state == ""
    text = " ".join(map(render, needs.unknown))
    assert "rain-free hours of atrazine: cannot tell: take it from your label" in text
    assert "safety of atrazine and glyphosate on bahiagrass" in text


def test_label_overrides_are_applied_and_shown(tmp_path: Path) -> None:
    label = tmp_path / "labels.toml"
    label.write_text(
        """
        [glyphosate]
        rain_free_h = 4
        temp_good_f = 60
        max_year_kg_ha = 3.4
        [pronamide]
        activation_in = 0.5
        turf = { "St. Augustinegrass" = "dormant" }
        [metsulfuron]
        group = 2
        movement = "translocated"
        uptake = "leaf"
        timing = "post"
        rain_free_h = { value = 4, low = 4, high = 6, source = "label, page 3" }
        """
    )
    actives = load_actives(label)
    glyphosate = actives["glyphosate"]
    assert glyphosate.overridden == ("rain_free_h", "temp_good_c", "max_year_kg_ha")
    assert glyphosate.rain_free_h is not None
    assert glyphosate.rain_free_h.value == 4
    assert "replaces 6 h" in glyphosate.rain_free_h.note
    assert "labels.toml" in glyphosate.rain_free_h.source
    assert float(glyphosate.temp_good_c) == pytest.approx(15.5556, abs=1e-4)  # type: ignore[arg-type]
    assert actives["propyzamide"].safe_on("st. augustinegrass") == "dormant"
    assert actives["metsulfuron"].rain_free_h.source == "label, page 3"  # type: ignore[union-attr]
    assert needs_of(actives.mixture("glyphosate+metsulfuron")).rain_free_h == 4
    assert load_actives()["glyphosate"].rain_free_h.value == 6  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("[glyphosate]\nrain_free_hours = 4", r"glyphosate.rain_free_hours.*close: rain_free_h"),
        ("[glyphosate]\nrain_free_h = -1", "negative"),
        ("[glyphosate]\nrain_free_h = 'six'", "not a number"),
        ("[glyphosate]\nlight_needed = 3", "not true or false"),
        ("[glyphosate]\ntemp_low_c = 95", "outside"),
        ("[glyphosate]\nmovement = 'sideways'", "not one of contact"),
        ("[glyphosate]\nturf = { zoysiagrass = 'asleep' }", "not one of never"),
        ("[glyphosat]\nrain_free_h = 4", r"is new.*'glyphosate'"),
        ("glyphosate = 4", "is not a table"),
        ("[glyphosate\n", "not valid TOML"),
    ],
)
def test_bad_label_files_are_refused_in_one_line(tmp_path: Path, text: str, match: str) -> None:
    label = tmp_path / "labels.toml"
    label.write_text(text)
    with pytest.raises(InputError, match=match) as error:
        load_actives(label)
    assert "labels.toml" in str(error.value)
    assert "\n" not in str(error.value)


def test_missing_label_file() -> None:
    with pytest.raises(InputError, match="cannot be read"):
        load_actives("no-such-file.toml")


def test_names_that_begin_with_numbers_are_names_and_are_found_however_written() -> None:
    assert material_from("2,4-D 1 kg/ha") == {"active": "2,4-d", "rate_kg_ha": 1.0}
    assert material_from("2,4-D") == {"active": "2,4-d"}
    with pytest.raises(InputError, match="names no active"):
        material_from("1 kg/ha")
    known = load_actives()
    for name in ("2,4-d", "msma", "fenoxaprop-p"):
        assert name in known
        assert known[name].name.lower() == name
    assert "water" not in known
