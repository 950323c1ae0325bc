"""Tank sheet: loads, mixing order, nozzle flow against the extension formula, yearly totals."""

from __future__ import annotations

import dataclasses
import json
import math
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from spoken import METRIC, US, render

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING
from windowcast.core.quantity import parse, parse_rate
from windowcast.core.values import PACKAGED
from windowcast.materials.actives import load_actives
from windowcast.materials.nozzle import nozzle_check
from windowcast.materials.product import Product
from windowcast.materials.products import load_products
from windowcast.materials.rates import parse_concentration
from windowcast.materials.tank import (
    MOST_LOADS,
    TankSheet,
    droplet_class,
    load_volumes,
    mixing_order,
    tank_sheet,
)
from windowcast.report.science_values import science_text
from windowcast.report.tank_sheet import sheet_text
from windowcast.weather.sample import sample_folder

ACTIVES = load_actives()
TANK = PACKAGED["tank"]
GLYPHOSATE = Product(
    "glyphosate",
    parse_rate("16 fl oz/acre"),
    formulation="SL",
    active="glyphosate",
    concentration=parse_concentration("4 lb/gal"),
    max_year_kg_ha=3.0,
)
SIMAZINE = Product(
    "simazine",
    parse_rate("1 qt/acre"),
    formulation="SC",
    active="simazine",
    concentration=parse_concentration("4 lb/gal"),
)
PRODIAMINE = Product(
    "prodiamine", parse_rate("1.15 lb/acre"), formulation="WG", active="prodiamine"
)
SURFACTANT = Product("surfactant", share_of_volume=0.0025, formulation="NIS")


def sheet(*products: Product, area: str = "12 acre", **more: object) -> TankSheet:
    return tank_sheet(
        parse(area, "area"),
        parse_rate("40 gal/acre").per_ha,
        parse("300 gal", "volume"),
        products,
        actives=ACTIVES,
        **more,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("gpa", "mph", "inches"), [(40, 4, 20), (20, 3, 20), (15, 5.5, 30), (88, 2.2, 10)]
)
def test_nozzle_flow_is_the_extension_formula(gpa: float, mph: float, inches: float) -> None:
    # Univ. Florida IFAS WG013: GPA = 5940 x GPM / (MPH x W); 5940 follows from the exact factors
    check = nozzle_check(
        parse_rate(f"{gpa} gal/acre").per_ha,
        parse(f"{mph} mph", "speed"),
        parse(f"{inches} in", "length"),
    )
    assert check.needed_l_min / parse("1 gal/min", "flow") == pytest.approx(
        gpa * mph * inches / 5940, rel=1e-12
    )


def test_nozzle_off_by_more_than_a_tenth_is_said() -> None:
    asked = (parse_rate("40 gal/acre").per_ha, parse("4 mph", "speed"), parse("20 in", "length"))
    needed = nozzle_check(*asked).needed_l_min
    good, bad = nozzle_check(*asked, needed * 0.93), nozzle_check(*asked, needed * 1.2)
    assert good.within_tolerance is True
    assert bad.within_tolerance is False
    assert bad.error == pytest.approx(0.2)
    assert "20 % too much, more than 10 %" in render(bad.text)
    # at the speed given, the caught flow gives the carrier volume again
    assert bad.speed_m_s_to_match is not None
    assert nozzle_check(asked[0], bad.speed_m_s_to_match, asked[2]).needed_l_min == pytest.approx(
        needed * 1.2
    )
    with pytest.raises(InputError, match="speed"):
        nozzle_check(374, 0, 0.5)


def test_a_worked_sheet() -> None:
    # By hand: 12 acre x 40 gal = 480 gal = one load of 300 (7.5 acre) and one of 180 (4.5 acre);
    # 16 fl oz x 7.5 = 120 fl oz, 1 qt x 7.5 = 7.5 qt, 0.25 % of 300 gal = 96 fl oz
    result = sheet(SURFACTANT, GLYPHOSATE, SIMAZINE)
    assert [x.volume_l for x in result.loads] == pytest.approx(
        [300 * 3.785411784, 180 * 3.785411784]
    )
    first = {d.product.name: d.amount for d in result.loads[0].doses}
    assert first["glyphosate"] == pytest.approx(parse("120 fl oz", "volume"))
    assert first["simazine"] == pytest.approx(parse("7.5 qt", "volume"))
    assert first["surfactant"] == pytest.approx(parse("96 fl oz", "volume"))
    # 16 fl oz of 4 lb/gal is 0.5 lb active
    assert result.totals[1].now_kg_ha == pytest.approx(0.5 * 1.12085, rel=1e-5)
    text = sheet_text(result, US)
    assert "1 full load of 300 gal (1,136 L) for 7.5 acre (3.04 ha)" in text
    assert "1 part load of 180 gal (681 L) for 4.5 acre (1.82 ha)" in text
    assert text.index("simazine (SC)") < text.index("glyphosate (SL)") < text.index("(NIS)")
    assert "Your label decides" in text
    assert max(map(len, text.splitlines())) <= 78  # a page of plain text


@given(st.floats(10, 1e6), st.floats(50, 2000), st.floats(20, 8000))
def test_loads_add_up(area: float, carrier: float, tank: float) -> None:
    if area * carrier / 1e4 / tank > MOST_LOADS:
        return
    result = tank_sheet(area, carrier, tank, [PRODIAMINE, SURFACTANT])
    assert math.fsum(x.volume_l for x in result.loads) == pytest.approx(result.total_l)
    assert all(x.volume_l <= tank * (1 + 1e-9) for x in result.loads)
    assert all(x.volume_l == tank for x in result.loads[:-1])
    assert PRODIAMINE.rate is not None
    for number, whole in ((0, PRODIAMINE.rate.on(area)), (1, 0.0025 * result.total_l)):
        assert math.fsum(x.doses[number].amount for x in result.loads) == pytest.approx(
            whole, rel=2e-6
        )


def test_what_cannot_be_counted_is_said() -> None:
    named = Product("jug", parse_rate("1 pt/acre"), formulation="SL")
    assert any("nothing of it is counted" in render(c) for c in sheet(named).cautions)
    assert not any("nothing of it is counted" in render(c) for c in sheet(SURFACTANT).cautions)
    rate_missing = sheet(GLYPHOSATE, used_kg_ha={"glyphosate": math.nan})
    assert rate_missing.totals[0].over is None
    text = sheet_text(rate_missing, US)
    assert "cannot tell" in text
    assert "nan" not in text
    too_much = sheet(dataclasses.replace(GLYPHOSATE, max_year_kg_ha=0.5))  # this tank alone
    assert any("would exceed the yearly maximum" in render(c) for c in too_much.cautions)


def test_a_label_may_say_acid_equivalent() -> None:
    assert parse_concentration("4 lb a.e./gal") == parse_concentration("4 lb/gal")
    assert parse_concentration("4 lb ai/gal") == parse_concentration("4 lb/gal")
    assert parse_concentration("65 % a.i.") == parse_concentration("65 %")


def test_a_flow_that_is_right_is_called_right() -> None:
    # 300 L/ha x 6 km/h x 0.5 m / 600 = 1.5 L/min
    assert render(nozzle_check(300, 6 / 3.6, 0.5, 1.5).text) == "as it should be"


def test_exactly_full_loads_leave_no_crumb() -> None:
    assert load_volumes(900, 300) == [300, 300, 300]
    assert load_volumes(0.1 * 3, 0.1) == pytest.approx([0.1] * 3)
    assert load_volumes(250, 300) == [250]


def test_mixing_order_follows_the_published_one() -> None:
    # Oklahoma State University Extension: ammonium sulfate, dry products, suspensions, soluble
    # liquids, emulsifiable concentrates, surfactants
    codes = ["NIS", "EC", "SL", "SC", "WG", "WATER CONDITIONER"]
    products = [Product(code, parse_rate("1 L/ha"), formulation=code) for code in codes]
    assert [p.name for p in mixing_order(products, TANK)] == codes[::-1]
    unknown = Product("mystery", parse_rate("1 L/ha"))
    assert mixing_order([unknown, *products], TANK)[-1] is unknown
    assert any("mystery: formulation unknown" in render(c) for c in sheet(unknown).cautions)


def test_droplets_suit_the_finest_need() -> None:
    assert droplet_class([ACTIVES["glyphosate"]], TANK)[0] == "coarse"
    assert droplet_class([ACTIVES["glyphosate"], ACTIVES["diquat"]], TANK)[0] == "medium"
    assert droplet_class([ACTIVES["prodiamine"]], TANK)[0] == "very coarse"
    assert droplet_class([], TANK) == ("", NOTHING)
    assert "see label" in sheet_text(sheet(SURFACTANT), US)


def test_yearly_maximum_is_watched_and_never_assumed() -> None:
    fine = sheet(GLYPHOSATE, used_kg_ha={"glyphosate": 1.0})
    assert fine.totals[0].over is False
    over = sheet(GLYPHOSATE, used_kg_ha={"glyphosate": 2.9})
    assert over.totals[0].over is True
    assert any("would exceed the yearly maximum" in render(c) for c in over.cautions)
    unknown = sheet(SIMAZINE)
    assert unknown.totals[0].over is None
    assert any("cannot tell whether" in render(c) for c in unknown.cautions)
    exactly = sheet(GLYPHOSATE, used_kg_ha={"glyphosate": 3.0 - 0.5 * 1.1208511561})
    assert exactly.totals[0].over is False


def test_two_products_of_one_active_add_up_under_the_lower_of_their_maxima() -> None:
    other = replace(GLYPHOSATE, name="another", max_year_kg_ha=1.5)
    for pair in ((GLYPHOSATE, other), (other, GLYPHOSATE)):
        (total,) = sheet(*pair).totals
        assert total.now_kg_ha == pytest.approx(2 * (GLYPHOSATE.active_kg_ha or 0.0))
        assert total.max_kg_ha == 1.5
    unsaid = replace(GLYPHOSATE, name="a third", max_year_kg_ha=None)
    (total,) = sheet(unsaid, other, replace(unsaid, name="a fourth")).totals
    assert total.max_kg_ha == 1.5
    each = sheet(GLYPHOSATE, SIMAZINE, used_kg_ha={"simazine": 0.5}).totals
    assert {t.active: t.before_kg_ha for t in each} == {"glyphosate": 0.0, "simazine": 0.5}


def test_the_year_is_over_from_just_above_the_maximum() -> None:
    now = GLYPHOSATE.active_kg_ha or 0.0
    for before, over in ((3.0 - now - 1e-3, False), (3.0 - now + 1e-3, True)):
        (total,) = sheet(GLYPHOSATE, used_kg_ha={"glyphosate": before}).totals
        assert total.over is over
        assert total.after_kg_ha == pytest.approx(before + now)
    alone = replace(GLYPHOSATE, max_year_kg_ha=now - 1e-3)
    assert any(
        "would exceed the yearly maximum" in render(c) for c in sheet(alone).cautions
    )  # whatever went out before
    assert not any(
        "would exceed the yearly maximum" in render(c) for c in sheet(GLYPHOSATE).cautions
    )


def test_carrier_outside_the_published_range_is_said() -> None:
    # Yelverton 2017: 20 to 30 gal/acre for glyphosate
    assert any(
        "20 gal/acre (187 L/ha) to 30 gal/acre (281 L/ha)" in render(c)
        for c in sheet(GLYPHOSATE).cautions
    )


def test_a_small_last_load_is_said() -> None:
    small = sheet(PRODIAMINE, area="15.5 acre")
    assert any("equal loads of 207 gal" in render(c) for c in small.cautions)
    assert not any("equal loads" in render(c) for c in sheet(PRODIAMINE).cautions)


def test_bad_input() -> None:
    with pytest.raises(InputError, match="area: -2 is not above zero"):
        tank_sheet(-2, 400, 300, [PRODIAMINE])
    with pytest.raises(InputError, match="nothing to put"):
        tank_sheet(10, 400, 300, [])
    with pytest.raises(InputError, match="two products of one name"):
        tank_sheet(10, 400, 300, [PRODIAMINE, PRODIAMINE])
    with pytest.raises(InputError, match="mystery: has no rate"):
        tank_sheet(10, 400, 300, [Product("mystery")])
    with pytest.raises(InputError, match="carrier volume"):
        tank_sheet(10, float("nan"), 300, [PRODIAMINE])


# ---- command line -----------------------------------------------------------------------------


def tank(*words: str) -> str:
    result = CliRunner().invoke(cli, ["tank", *words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


GLYPHOSATE_WORDS = "glyphosate rate=16 fl oz/acre concentration=4 lb/gal formulation=SL"


def test_rate_and_equivalent_on_the_command_line() -> None:
    # the trade's check (common practice), see test_rates.py
    said = tank("rate", "192 fl oz/acre", "--concentration", "1.0 lb/gal")
    assert "1.5 gal/acre" in said
    assert "active ingredient: 1.5 lb/acre (1.68 kg/ha)" in said
    said = tank("equivalent", "192 fl oz/acre", "--from", "1.0 lb/gal", "--to", "2.3415 lb/gal")
    assert said.startswith("82 fl oz/acre")
    back = ("equivalent", "192 fl oz/acre", "--from", "1.0 lb/gal", "--to-rate", "82 fl oz/acre")
    assert tank(*back).startswith("2.34 lb/gal = 281 g/L")  # 2.3415 x 119.826 g/L to the lb/gal
    assert "1.5 lb/acre" in tank(*back)
    said = tank("rate", "2 pt/acre", "--concentration", "41 %", "--density", "9.76 lb/gal")
    assert "active ingredient: 1 lb/acre" in said  # 0.25 gal x 9.76 lb/gal x 0.41
    said = tank("nozzle", "--carrier", "40 gal/acre", "--speed", "4 mph", "--spacing", "20 in")
    assert "0.539 gal/min" in said  # 40 x 4 x 20 / 5940


@pytest.fixture
def site_file(tmp_path: Path) -> Path:
    target = tmp_path / "site.toml"
    labels = tmp_path / "labels.toml"
    text = (sample_folder() / "site.toml").read_text()
    target.write_text('materials_file = "labels.toml"\n' + text)
    labels.write_text(
        """
        [glyphosate]
        max_year_kg_ha = 1.2
        [[products]]
        name = "shed jug"
        active = "glyphosate"
        concentration = "4 lb/gal"
        formulation = "SL"
        rate = "16 fl oz/acre"
        """
    )
    return target


def test_an_override_is_shown(site_file: Path) -> None:
    assert "propyzamide" in tank("active")
    packaged = tank("active", "pronamide")
    assert "0.5 in (12.7 mm)" in packaged
    assert "yours" not in packaged
    assert "1.07 lb/acre (1.2 kg/ha)" in tank("active", "glyphosate", "--site", str(site_file))
    labels = site_file.with_name("labels.toml")
    labels.write_text("[glyphosate]\nrain_free_h = 4\n")
    shown = " ".join(tank("active", "glyphosate", "--site", str(site_file)).split())
    assert "4 h (replaces 6 h" in shown
    assert "yours: label guidance: label in hand, labels.toml" in shown


def test_sheet_counts_what_the_log_says(site_file: Path) -> None:
    words = ["sheet", str(site_file), "--area", "2 acre", "--carrier", "25 gal/acre"]
    words += ["--tank", "60 gal", "--product", "shed jug", "--date", "2018-01-18"]
    # without a log nothing says what the ground has had: a total would be made up
    unlogged = " ".join(tank(*words).split())
    assert "glyphosate: cannot tell; this tank alone 0.5 lb/acre (0.56 kg/ha)" in unlogged
    assert "label's maximum 1.07 lb/acre" in unlogged
    assert "no season log shows" in unlogged
    log = ["log", "add", "application", "--no-weather", "--site", str(site_file)]
    for start, rate in (("2017-02-01 10:00", " 0.6 lb/acre"), ("2016-12-01 10:00", " 3 lb/acre")):
        done = CliRunner().invoke(
            cli, [*log, f"start={start}", f"active=glyphosate{rate}", "where=A"]
        )
        assert done.exit_code == 0, done.output
    said = tank(*words)  # only the one within 365 days counts
    assert "glyphosate: 1.1 lb/acre" in said
    assert "would exceed the yearly maximum" in " ".join(said.split())
    assert "glyphosate: 0.5 lb/acre" in tank(*words, "--where", "B")
    CliRunner().invoke(cli, [*log, "start=2018-01-02 10:00", "active=glyphosate"])
    assert "has no rate" in " ".join(tank(*words).split())
    assert json.loads(tank(*words, "--format", "json"))["totals"][0]["before_kg_ha"] is None


def test_sheet_for_the_best_window_warns_of_a_repeated_group(site_file: Path) -> None:
    for name in ("daily.csv.gz", "hourly.csv.gz"):
        shutil.copy(sample_folder() / name, site_file.parent)
    text = site_file.read_text() + '\n[weather]\nfiles = ["daily.csv.gz", "hourly.csv.gz"]\n'
    site_file.write_text('stock = ["glyphosate", "flumioxazin"]\n' + text)
    log = ["log", "add", "application", "--no-weather", "--site", str(site_file)]
    CliRunner().invoke(
        cli, [*log, "start=2017-01-10 10:00", "active=glyphosate 0.1 lb/acre", "purpose=dormant"]
    )
    said = tank(
        "sheet", str(site_file), "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
        "--product", "shed jug", "--purpose", "dormant", "--date", "2018-01-18", "--offline",
    )  # fmt: skip
    assert "Jan 2018" in said.splitlines()[0]
    assert "Afterwards" in said
    flat = " ".join(said.split())
    assert "Rotation: group 9 used for dormant application last season as well" in flat
    assert "in stock instead: flumioxazin (group 14)" in flat
    refused = CliRunner().invoke(
        cli,
        ["tank", "sheet", str(site_file), "--area", "2 acre", "--carrier", "25 gal/acre",
         "--tank", "60 gal", "--product", "shed jug", "--purpose", "pre-spring", "--offline",
         "--date", "2018-01-18"],
    )  # fmt: skip
    assert "there is no window for pre-spring: " in str(refused.exception)
    assert ".;" not in str(refused.exception)


@pytest.mark.parametrize(
    ("words", "match"),
    [
        (["rate", "192", "--concentration", "1 lb/gal"], "has no unit"),
        (["rate", "1 lb/acre", "--concentration", "0 lb/gal"], "that is water"),
        (["sheet", "--area", "-2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", GLYPHOSATE_WORDS], "area: '-2 acre': is not above zero"),
        (["sheet", "--area", "2 acre", "--carrier", "25 lb/acre", "--tank", "60 gal",
          "--product", GLYPHOSATE_WORDS], "not a volume"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "glyphosate"], "has no rate"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "jug active=glifosate rate=1 pt/acre concentration=4 lb/gal"], "close:"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "jug active=glyphosate rate=1 pt/acre"], "no concentration"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "jug dose=1 pt/acre"], "dose of jug: is not known"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "soap share=300 %"], "share of the spray volume"),
        (["nozzle", "--carrier", "25 gal/acre", "--speed", "4 kg", "--spacing", "20 in"],
         "unit of mass"),
        (["nozzle", "--carrier", "300", "--speed", "4 mph", "--spacing", "20 in"],
         "has no unit; write it like 40 gal/acre"),
        (["equivalent", "1 pt/acre", "--from", "1 lb/gal", "--to", "2 lb/gal", "--unit", "parsec"],
         "says no area"),
        (["equivalent", "1 pt/acre", "--from", "1 lb/gal", "--to", "2 lb/gal",
          "--unit", "lb/acre"], "the rate is a volume"),
        (["equivalent", "1 pt/acre", "--from", "1 lb/gal"], "give one of --to"),
        (["equivalent", "9 pt/acre", "--from", "1 lb/gal", "--to-rate", "1 mL/acre"],
         "more than a product can; check both rates"),
        (["equivalent", "1 pt/acre", "--from", "1 lb/gal", "--to-rate", "1 pt/acre",
          "--unit", "lb/lb"], "is a unit per mass"),
        (["rate", "-2 L/ha", "--concentration", "480 g/L"],
         "-2 L/ha: is not above zero; write the amount without the minus"),
        (["rate", "1/2 oz/acre", "--concentration", "65 %"], "is written as a fraction"),
        (["rate", "1,5 L/ha", "--concentration", "480 g/L"], "has a comma in its number"),
        (["rate", "1e400 L/ha", "--concentration", "480 g/L"], "is too large a number"),
        (["rate", "2 jugs/acre", "--concentration", "480 g/L"], "no unit of weight or volume"),
        (["sheet", "--area", "100 ha", "--carrier", "300 L/ha", "--tank", "1 mL",
          "--product", "glyphosate rate=1 pt/acre concentration=4 lb/gal"],
         "would have to be filled 30,000,000 times"),
        (["sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "60 gal",
          "--product", "glyphosat rate=1 pt/acre concentration=4 lb/gal"],
         "no active ingredient (close to its name: glyphosate"),
    ],
)  # fmt: skip
def test_errors_are_one_line_with_exit_code_2(
    words: list[str], match: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["tank", *words])
    assert stop.value.code == 2
    said = capsys.readouterr().err.strip()
    assert match in said
    assert "\n" not in said


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("rain_free_h = inf", "is not a number"),
        ("largest_bbch = 500", "500 is not a BBCH stage"),
        ("group = 99", "99 is not a WSSA/HRAC group number"),
        ("group = 9.5", "9.5 is not a WSSA/HRAC group number"),
        ("dormant_control_pct = 130", "more than 100 %"),
        ('turf.hybrid_bermudagras = "never"', "'hybrid_bermudagras' is no turf known here"),
        ("rain_fre_h = 4", "close: rain_free_h"),
    ],
)
def test_a_label_file_may_not_say_the_impossible(tmp_path: Path, text: str, match: str) -> None:
    file = tmp_path / "labels.toml"
    file.write_text(f"[glyphosate]\n{text}\n")
    with pytest.raises(InputError, match=match) as error:
        load_actives(file)
    assert "labels.toml" in str(error.value)


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ('rate = "1 pt"', "products.jug.rate: '1 pt': says no area"),
        ("rate = 3", "products.jug.rate: '3': has no unit"),
        ('share = "300 %"', "products.jug.share: '300 %' is not a share"),
        ('dose = "1 pt/acre"', "products.jug.dose: is not known"),
        ('active = "glyphosate"', "products.jug: has an active but no concentration"),
        ('active = "glifosate"\nconcentration = "4 lb/gal"', "products.jug.active: 'glifosate'"),
        ('active = "glyphosate"\nconcentration = "4"', "products.jug.concentration: '4' has no"),
        (
            'active = "glyphosate"\nconcentration = "41 %"\ndensity = "10"',
            "products.jug.density: '10': says no volume",
        ),
        (
            'active = "glyphosate"\nconcentration = "4 lb/gal"\nmax_per_year = "2 pt/acre"',
            "products.jug.max_per_year: '2 pt/acre' is a volume",
        ),
    ],
)
def test_a_wrong_product_is_named_with_file_and_key(tmp_path: Path, lines: str, match: str) -> None:
    file = tmp_path / "labels.toml"
    file.write_text(f'[[products]]\nname = "jug"\n{lines}\n')
    with pytest.raises(InputError) as error:
        load_products(file, ACTIVES)
    assert str(error.value).startswith(f"{file}: {match}")
    assert "; " in str(error.value)  # says what to do


def test_a_product_without_a_name_is_told_by_its_place(tmp_path: Path) -> None:
    file = tmp_path / "labels.toml"
    file.write_text('[[products]]\nname = "jug"\n[[products]]\nrate = "1 pt/acre"\n')
    with pytest.raises(InputError, match=r"labels.toml: products.2.name: is missing"):
        load_products(file, ACTIVES)


def test_a_label_file_names_each_product_once(tmp_path: Path) -> None:
    file = tmp_path / "labels.toml"
    file.write_text('[[products]]\nname = "jug"\nrate = "1 pt/acre"\n' * 2)
    with pytest.raises(InputError, match="is there twice"):
        load_products(file, ACTIVES)


def test_values_are_shown_in_both_systems(tmp_path: Path) -> None:
    file = tmp_path / "labels.toml"
    file.write_text("[glyphosate]\ntemp_low_f = 45\nmax_year_kg_ha = 2.0\n")
    known = load_actives(file)["glyphosate"].known()
    assert science_text(known["temp_low_c"], METRIC) == "45 °F (7.2 °C)"
    assert science_text(known["max_year_kg_ha"], METRIC) == "1.78 lb/acre (2 kg/ha)"  # 2 / 1.12085
    assert science_text(known["selective"], METRIC) == "no"
    assert science_text(known["rain_free_h"], METRIC) == "6 h (1 to 6)"


def test_the_label_file_of_the_manual_can_be_used(tmp_path: Path) -> None:
    page = (Path(__file__).parents[1] / "docs" / "labels.md").read_text()
    file = tmp_path / "labels.toml"
    file.write_text(page.split("```toml\n")[1].split("```")[0])
    known = load_actives(file)
    assert known["glyphosate"].overridden == (
        "rain_free_h", "temp_low_c", "largest_bbch", "turf.zoysiagrass",
    )  # fmt: skip
    assert set(load_products(file, known)) == {"shed jug"}
