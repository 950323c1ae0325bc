"""Every refusal of what people write of actives, products, prices and rates: the whole line.

A line says file, field and remedy. The last test sees to it that no refusal of the package is
missing here.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from error_texts import raised

from windowcast.core.errors import InputError
from windowcast.core.quantity import Rate, parse_rate
from windowcast.materials.actives import load_actives
from windowcast.materials.nozzle import nozzle_check
from windowcast.materials.product import Product, parse_area_price, parse_price
from windowcast.materials.products import load_products, product_from_words
from windowcast.materials.rates import (
    Concentration,
    active_kg_ha,
    equivalent_concentration,
    material_from,
    parse_concentration,
    product_rate,
    write_concentration,
)
from windowcast.materials.tank import tank_sheet

ACTIVES = load_actives()
LABEL = "take it from the label in hand"
CONCENTRATION = "take it from the label, e.g. 1.0 lb/gal, 480 g/L or 65 %"
STATES = "never, dormant, semi-dormant, green"
KEYS = (
    "name, active, concentration, formulation, rate, share, max_per_year, density, registration,"
    " restricted, price"
)
TOTAL = Concentration("volume", 0.48)
SOAP = Product("soap", share_of_volume=0.01, formulation="NIS")

# text of a materials file → the line about it, behind the file's name
FILES = {
    "x = 1": "x: is not a table; write [x] and its values below",
    "[glyphosate]\nrain_free_h = [1]": f"glyphosate.rain_free_h: [1] is not a number; {LABEL}",
    '[glyphosate]\nrain_free_h = "4"': f"glyphosate.rain_free_h: '4' is not a number; {LABEL}",
    "[glyphosate]\nrain_free_h = -1": f"glyphosate.rain_free_h: -1 is negative; {LABEL}",
    "[glyphosate]\nrain_free_h = inf":
        f"glyphosate.rain_free_h: inf is not a number that can be used; {LABEL}",
    "[glyphosate]\nrain_free_h = 1e13":
        f"glyphosate.rain_free_h: 10000000000000.0 is not a number that can be used; {LABEL}",
    "[glyphosate]\nrain_free_h = {value = 4, low = -1e13}":
        f"glyphosate.rain_free_h: -10000000000000.0 is not a number that can be used; {LABEL}",
    "[glyphosate]\nrain_free_h = {value = 4, page = 2}":
        "glyphosate.rain_free_h: may hold value, low, high, source and note only",
    "[glyphosate]\nrain_free_h = {low = 4}":
        "glyphosate.rain_free_h: may hold value, low, high, source and note only",
    "[glyphosate]\ntemp_low_c = -31":
        f"glyphosate.temp_low_c: -31 °C lies outside -30 to 60 °C; {LABEL}",
    "[glyphosate]\ntemp_low_f = 141":  # 141 °F are 60.56 °C
        f"glyphosate.temp_low_f: 60.5556 °C lies outside -30 to 60 °C; {LABEL}",
    "[glyphosate]\nhumidity_low_pct = 101":
        f"glyphosate.humidity_low_pct: 101 is more than 100 %; {LABEL}",
    "[glyphosate]\nlargest_bbch = 100":
        f"glyphosate.largest_bbch: 100 is not a BBCH stage; {LABEL}",
    "[glyphosate]\nseeding_d = 3661": f"glyphosate.seeding_d: 3661 days are too many; {LABEL}",
    "[glyphosate]\nactivation_days = 3661":
        f"glyphosate.activation_days: 3661 days are too many; {LABEL}",
    "[glyphosate.new_turf]\nsod = 3661":
        f"glyphosate.new_turf.sod: 3661 days are too many; {LABEL}",
    "[glyphosate]\ngroup = 35": f"glyphosate.group: 35 is not a WSSA/HRAC group number; {LABEL}",
    "[glyphosate]\ngroup = 2.5": f"glyphosate.group: 2.5 is not a WSSA/HRAC group number; {LABEL}",
    "[glyphosate]\nselective = 1": f"glyphosate.selective: 1 is not true or false; {LABEL}",
    '[glyphosate]\nadjuvant = " "': f"glyphosate.adjuvant: is not a text; {LABEL}",
    '[glyphosate]\nlast_day = "13-01"':
        f"glyphosate.last_day: '13-01' is not a day such as 12-31; {LABEL}",
    '[glyphosate]\ntiming = "late"':
        f"glyphosate.timing: 'late' is not one of pre, post, both, growth; {LABEL}",
    '[glyphosate]\nmovement = "slow"':
        f"glyphosate.movement: 'slow' is not one of contact, translocated, soil; {LABEL}",
    '[glyphosate.turf]\nzoysiagrass = "brown"':
        f"glyphosate.turf.zoysiagrass: 'brown' is not one of {STATES}; {LABEL}",
    '[glyphosate.turf_granule]\nzoysiagrass = "brown"':
        f"glyphosate.turf_granule.zoysiagrass: 'brown' is not one of {STATES}; {LABEL}",
    '[glyphosate.spectrum]\nPOAAN = "kills"':
        f"glyphosate.spectrum.POAAN: 'kills' is not one of controls, suppresses, some, no; {LABEL}",
    "[glyphosate.overseed]\nbermudagrass = 5":
        "glyphosate.overseed: 'bermudagrass' is not known here; use one of perennial_ryegrass,"
        " annual_ryegrass, roughstalk_bluegrass",
    '[water]\ngroup = 9\ntiming = "pre"':
        "water: is new, so movement, uptake must be given; add them",
    "[glyphosat]\ngroup = 9":
        "glyphosat: is new, so movement, uptake, timing must be given; add them, or write"
        " 'glyphosate' if you meant that",
    "products = 1": "products: is not a list of tables; write [[products]]",
    "products = [1]": "products: is not a list of tables; write [[products]]",
    "[[products]]\nrate = '1 L/ha'": "products.1.name: is missing; give the product a name",
    "[[products]]\nname = 'jug'\nprize = 1": f"products.jug.prize: is not known; use {KEYS}",
    "[[products]]\nname = 'jug'\nactive = 'glyphosate'":
        "products.jug: has an active but no concentration; take it from the label",
    "[[products]]\nname = 'jug'\nconcentration = '4 lb/gal'":
        "products.jug: has a concentration or a yearly maximum but no active ingredient; add"
        " active= with its ISO common name",
    "[[products]]\nname = 'glyphosat'\nmax_per_year = '4 lb/acre'":
        "products.glyphosat: has a concentration or a yearly maximum but no active ingredient"
        " (close to its name: glyphosate, glufosinate); add active= with its ISO common name",
    "[[products]]\nname = 'jug'\n[[products]]\nname = 'jug'":
        "products.jug: is there twice; give each product a name of its own",
    "[[products]]\nname = 'jug'\nrestricted = 'maybe'":
        "products.jug.restricted: 'maybe' is neither yes nor no",
    "[[products]]\nname = 'jug'\nshare = '120 %'":
        "products.jug.share: '120 %' is not a share of the spray volume; write it like 0.25 %",
    "[[products]]\nname = 'jug'\nshare = 'some'":
        "products.jug.share: 'some' is not a share of the spray volume; write it like 0.25 %",
    "[[products]]\nname = 'jug'\nactive = 'glyphosate'\nconcentration = '4 lb/gal'\n"
    "max_per_year = '2 gal/acre'":
        "products.jug.max_per_year: '2 gal/acre' is a volume; give the weight of active"
        " ingredient, e.g. 2 lb/acre",
    "[[products]]\nname = 'jug'\nrate = '1 L/ha'\nprice = '5 USD per kg'":
        "products.jug.price: is for a mass, but the rate is a volume; write both by weight, or"
        " both by volume",
    "[[products]]\nname = 'jug'\nshare = '1 %'\nprice = '5 USD per kg'":
        "products.jug.price: is for a mass, but the rate is a volume; write both by weight, or"
        " both by volume",
}  # fmt: skip


@pytest.mark.parametrize(("text", "line"), FILES.items())
def test_a_materials_file_is_refused_with_its_name_the_key_and_a_remedy(
    text: str, line: str, tmp_path: Path
) -> None:
    file = tmp_path / "materials.toml"
    file.write_text(text, "utf-8")
    with pytest.raises(InputError) as refused:
        load_products(file, load_actives(file))
    assert str(refused.value) == f"{file}: {line}"


# the line, and what is refused by it
WORDS: dict[str, Callable[[], Any]] = {
    "active: 'glyphosat' is not a known active ingredient (close: glyphosate,"
    " glufosinate); use the ISO common name, or describe it in your"
    " materials file":
        lambda: ACTIVES["glyphosat"],
    "active: 'qqqqqq' is not a known active ingredient; use the ISO common name, or describe it"
    " in your materials file":
        lambda: ACTIVES["qqqqqq"],
    "active: names no active ingredient; give a name": lambda: ACTIVES.mixture(" + "),
    "site.toml: stock: 'qqqqqq' is not a known active ingredient; use the ISO common name, or"
    " describe it in your materials file":
        lambda: ACTIVES.at_hand(["qqqqqq"], "site.toml"),
    "carrier: 0 is not above zero": lambda: nozzle_check(0.0, 1.0, 1.0),
    "speed: -1 is not above zero": lambda: nozzle_check(1.0, -1.0, 1.0),
    "spacing: inf is not above zero": lambda: nozzle_check(1.0, 1.0, float("inf")),
    "flow: 0 is not above zero": lambda: nozzle_check(1.0, 1.0, 1.0, 0.0),
    "price: '310 per 2.5 gal' is not a price; write it like 310 USD per 2.5 gal":
        lambda: parse_price("310 per 2.5 gal"),
    "price: '0 USD per gal' is not above zero; leave it out where it is unknown":
        lambda: parse_price("0 USD per gal"),
    "--cost: '45 per acre' is no money for an area; write it like 45 USD per acre":
        lambda: parse_area_price("45 per acre", "--cost"),
    "--cost: '0 USD per acre' is no money for an area; write it like 45 USD per acre":
        lambda: parse_area_price("0 USD per acre", "--cost"),
    "product: 'rate=1' names no product; name it first":
        lambda: product_from_words("rate=1", {}, ACTIVES),
    "product: 'jog' has no rate and is not in your materials file (close: jug); write it like"
    " 'glyphosate rate=16 fl oz/acre concentration=4 lb/gal'":
        lambda: product_from_words("jog", {"jug": Product("jug")}, ACTIVES),
    "product: 'jog' has no rate and is not in your materials file; write it like"
    " 'glyphosate rate=16 fl oz/acre concentration=4 lb/gal'":
        lambda: product_from_words("jog", {}, ACTIVES),
    "rate of jug: and share are both given; keep one of them":
        lambda: product_from_words("jug rate=1 L/ha share=1 %", {"jug": Product("jug")}, ACTIVES),
    "jug: has an active but no concentration; take it from the label":
        lambda: product_from_words("jug active=glyphosate", {}, ACTIVES),
    f"concentration: '480' has no unit such as lb/gal, g/L or %; {CONCENTRATION}":
        lambda: parse_concentration("480"),
    f"concentration: '0.0 g/L' holds no active ingredient: that is water; {CONCENTRATION}":
        lambda: parse_concentration("0.0 g/L"),
    f"concentration: '0 %' holds no active ingredient: that is water; {CONCENTRATION}":
        lambda: parse_concentration("0 %"),
    f"concentration: '1.2.3 %' is not a number of percent; {CONCENTRATION}":
        lambda: parse_concentration("1.2.3 %"),
    f"concentration: '-5 %' is not above zero; {CONCENTRATION}":
        lambda: parse_concentration("-5 %"),
    "concentration: '1 kg/L' is the density of water, not a concentration; " + CONCENTRATION:
        lambda: parse_concentration("1 kg/L"),
    f"concentration: '101 %' is more active ingredient than product; {CONCENTRATION}":
        lambda: parse_concentration("101 %"),
    f"concentration: '9 kg/L' is more than a litre can carry; {CONCENTRATION}":
        lambda: parse_concentration("9 kg/L"),
    "concentration: 'kg/kg' is a unit per mass, the product is measured by volume; "
    + CONCENTRATION:
        lambda: write_concentration(TOTAL, "kg/kg"),
    "active rate: 0 kg/ha is not above zero": lambda: product_rate(0.0, TOTAL),
    "rate: the other formulation would hold 4320 g/L, more than a product can; check both rates"
    " and the concentration":
        lambda: equivalent_concentration(parse_rate("9 L/ha"), TOTAL, parse_rate("1 L/ha")),
    "rate: the rate is a weight but the product is a liquid; write fl oz for a volume, or give"
    " the concentration by weight":
        lambda: active_kg_ha(Rate("mass", 1.0), TOTAL),
    "concentration: the rate is a volume but the concentration is by weight; give it per volume"
    " (lb/gal, g/L), or add the product's density":
        lambda: active_kg_ha(Rate("volume", 1.0), Concentration("mass", 0.5)),
    "area: 0 is not above zero": lambda: tank_sheet(0.0, 1.0, 1.0, [SOAP]),
    "carrier volume: 0 is not above zero": lambda: tank_sheet(1.0, 0.0, 1.0, [SOAP]),
    "tank: 0 is not above zero": lambda: tank_sheet(1.0, 1.0, 0.0, [SOAP]),
    "product: nothing to put into the tank; name one": lambda: tank_sheet(1.0, 1.0, 1.0, []),
    "product: two products of one name; name each once":
        lambda: tank_sheet(1.0, 1.0, 1.0, [SOAP, SOAP]),
    "jug: has no rate; take it from the label": lambda: tank_sheet(1.0, 1.0, 1.0, [Product("jug")]),
    "tank: 26.4 gal (100 L) would have to be filled 40,000 times; check tank, area and carrier"
    " volume":
        lambda: tank_sheet(1e8, 400.0, 100.0, [SOAP]),
    "active: '0.5 lb/acre' names no active ingredient; write it like glyphosate 0.5 lb/acre":
        lambda: material_from("0.5 lb/acre"),
    "rate of glyphosate: '16 fl oz/acre' is a volume of product, not a weight of active"
    " ingredient; work it out with windowcast tank rate, or write product_rate=":
        lambda: material_from("glyphosate 16 fl oz/acre"),
}  # fmt: skip


@pytest.mark.parametrize("line", WORDS)
def test_words_are_refused_with_the_field_and_a_remedy(line: str) -> None:
    with pytest.raises(InputError) as refused:
        WORDS[line]()
    assert str(refused.value) == line


def test_a_misspelt_value_or_turf_is_refused_with_all_that_may_be_written(tmp_path: Path) -> None:
    file = tmp_path / "materials.toml"
    for text, line, some in (
        ("[glyphosate]\nrain_free = 4",
         "glyphosate.rain_free: is not a known value (close: rain_free_h); use one of ",
         ("activation_mm", "usual_kg_ha", "turf", "spectrum")),
        ("[glyphosate]\nqqqqqq = 4", "glyphosate.qqqqqq: is not a known value; use one of ",
         ("activation_mm", "usual_kg_ha", "turf", "spectrum")),
        ('[glyphosate.turf]\nbermuda = "green"',
         "glyphosate.turf: 'bermuda' is no turf known here; use one of ",
         ("common_bermudagrass", "st_augustinegrass", "zoysiagrass")),
        ('[glyphosate.spectrum]\nQQQQQ = "controls"',
         "glyphosate.spectrum: 'QQQQQ' is not known here; use one of ",
         ("grass", "broadleaf", "sedge", "POAAN")),
    ):  # fmt: skip
        file.write_text(text, "utf-8")
        with pytest.raises(InputError) as refused:
            load_actives(file)
        said = str(refused.value)
        assert said.startswith(f"{file}: {line}")
        listed = said.removeprefix(f"{file}: {line}").split(", ")
        assert set(some) <= set(listed)
        assert len(set(listed)) == len(listed), "one is named twice"


def test_no_refusal_of_the_package_is_missing_here() -> None:
    lines = " \n".join([*FILES.values(), *WORDS])
    elsewhere = {"is not a known value (close: {})", "is not a known value",
                 "{} is no turf known here", "{} is not known here"}  # fmt: skip
    missing = {
        text
        for where, text in raised()
        if where.startswith("materials/") and text not in elsewhere
        if not re.search(".+".join(map(re.escape, text.split("{}"))), lines)
    }
    assert not missing
