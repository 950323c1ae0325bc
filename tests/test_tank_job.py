"""From a tank to its record: kept sprayers, areas, prices, and what is carried over to the log."""

from __future__ import annotations

import datetime as dt
import json
import math
import re
import shutil
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from click.testing import CliRunner
from spoken import METRIC, US, render

from windowcast.cli import cli
from windowcast.cli.options import areas_offered, products_offered, sprayers_offered
from windowcast.core.errors import InputError
from windowcast.core.quantity import parse, parse_rate, with_unit_of
from windowcast.core.site import Site, load_site, site_from
from windowcast.materials.actives import load_actives
from windowcast.materials.product import parse_price
from windowcast.materials.products import load_products, product_from_words
from windowcast.records.model import Application, Material
from windowcast.records.store import SeasonLog
from windowcast.records.tank_job import AsSprayed, TankJob, TankRequest, application_of, tank_job
from windowcast.report.spray_record import lacking, record_sheet
from windowcast.report.tank_sheet import cost_lines, sheet_text
from windowcast.weather.sample import sample_folder

DAY = dt.date(2018, 1, 18)
ACTIVES = load_actives()
SPRAYER = """
[[sprayer]]
name = "Big boom"
tank = "300 gal"
carrier = "40 gal/acre"
nozzle = "flat fan 08"
pressure = "40 psi"
speed = "4 mph"
spacing = "20 in"
flow = "0.5 gal/min"
measured = 2018-01-02
boom_height_m = 0.5
droplet_class = "coarse"
"""
AREAS = """
[[area]]
name = "greens"
size = "3 acre"
[[area]]
name = "tees"
size = "2 acre"
overseed = { state = "done", date = 2017-10-01, species = "perennial ryegrass" }
[[area]]
name = "rough"
"""
OPERATOR = '\n[operator]\nname = "R. Vega"\ncertification = "C-17"\n'
LABELS = """
[[products]]
name = "Shed jug"
active = "glyphosate"
concentration = "4 lb/gal"
formulation = "SL"
rate = "16 fl oz/acre"
registration = "0-123"
restricted = "no"
price = "60 USD per 2.5 gal"
[[products]]
name = "soap"
share = "0.25 %"
formulation = "NIS"
"""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    for name in ("daily.csv.gz", "hourly.csv.gz"):
        shutil.copy(sample_folder() / name, tmp_path)
    text = (sample_folder() / "site.toml").read_text()
    text += '\n[weather]\nfiles = ["daily.csv.gz", "hourly.csv.gz"]\n'
    (tmp_path / "labels.toml").write_text(LABELS)
    site = tmp_path / "site.toml"
    site.write_text('materials_file = "labels.toml"\n' + text + OPERATOR + AREAS + SPRAYER)
    return site


def job(file: Path, *products: str, where: str = "greens", **more: str) -> TankJob:
    known = load_products(file.with_name("labels.toml"), ACTIVES)
    chosen = tuple(product_from_words(words, known, ACTIVES) for words in products)
    return tank_job(TankRequest(chosen, where, **more), load_site(file), ACTIVES, None, DAY)


def replaced(file: Path, old: str, new: str) -> Path:
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))
    return file


# ---- sprayer and areas ------------------------------------------------------------------------


def test_sprayer_and_areas_say_what_is_left_out(file: Path) -> None:
    found = job(file, "Shed jug")
    assert found.sheet.area_m2 == pytest.approx(parse("3 acre", "area"))
    assert found.sheet.tank_l == pytest.approx(parse("300 gal", "volume"))
    assert found.sheet.carrier_l_ha == pytest.approx(parse_rate("40 gal/acre").per_ha)
    assert found.sheet.nozzle is not None
    assert found.sheet.nozzle.caught_l_min == pytest.approx(parse("0.5 gal/min", "flow"))
    own = job(file, "Shed jug", tank="60 gal", carrier="20 gal/acre", area="1 acre", speed="3 mph")
    assert own.sheet.total_l == pytest.approx(parse("20 gal", "volume"))
    assert own.speed_m_s == pytest.approx(parse("3 mph", "speed"))


def test_several_areas_are_one_tank(file: Path) -> None:
    found = job(file, "Shed jug", where="Tees and  GREENS")
    assert found.sheet.area_m2 == pytest.approx(parse("5 acre", "area"))
    assert found.asked.where == "tees, greens"
    with pytest.raises(InputError, match="area: is missing: rough has no size"):
        job(file, "Shed jug", where="greens, rough")
    with pytest.raises(InputError, match="where: 'hole 3' is not an area"):
        job(file, "Shed jug", where="greens, hole 3")
    with pytest.raises(InputError, match="where: is missing: the site has several areas"):
        job(file, "Shed jug", where="")


def test_the_strictest_of_several_areas_says_no_first(file: Path) -> None:
    assert job(file, "Shed jug").sheet.refusals == ()
    sheet = job(file, "Shed jug", where="greens, tees").sheet
    (said,) = map(render, sheet.refusals)
    assert said.startswith("tees: Turf: glyphosate kills")
    assert set(sheet.refusals) <= set(sheet.cautions)
    text = " ".join(sheet_text(sheet, US).split())
    assert text.index("glyphosate kills") < text.index("Area")
    assert text.count("glyphosate kills") == 1
    assert "Spray in all" not in text
    assert "does not check" not in text
    assert text.index("Do not spray.") < text.index("glyphosate kills")
    allowed = sheet_text(job(file, "Shed jug").sheet, US)
    for step in (" load of ", "fill to", "fill up to"):
        assert step in allowed
        assert step not in text, "nobody mixes what must not be sprayed"


def test_a_tank_above_the_yearly_maximum_gives_no_loads() -> None:
    product = "glyphosate rate=16 fl oz/acre concentration=4 lb/gal max_per_year=0.2 lb/acre"
    asked = ["tank", "sheet", "--area", "2 acre", "--carrier", "25 gal/acre", "--tank", "300 gal"]
    done = CliRunner().invoke(cli, [*asked, "--product", product])
    assert done.exit_code == 0, done.output
    assert "would exceed the yearly maximum" in " ".join(done.output.split())
    assert "Spray in all" not in done.output
    plain = json.loads(
        CliRunner().invoke(cli, [*asked, "--product", product, "--format", "json"]).output
    )
    assert plain["refusals"]
    assert (plain["loads"], plain["total_l"]) == (None, None)


def test_the_year_counts_the_area_that_had_most(file: Path) -> None:
    start = dt.datetime(2017, 12, 1, 10, tzinfo=dt.UTC)
    done = [
        Application(start, (Material("glyphosate", 0.4),), where="greens"),
        Application(start, (Material("glyphosate", 0.3),), where="tees"),
    ]
    site = load_site(file)
    known = load_products(file.with_name("labels.toml"), ACTIVES)

    def before(applications: list[Application]) -> float:
        asked = TankRequest((known["Shed jug"],), "greens, tees")
        (total,) = tank_job(asked, site, ACTIVES, applications, DAY).sheet.totals
        return total.before_kg_ha

    assert before(done) == pytest.approx(0.4)
    unsaid = Application(start, (Material("glyphosate"),), where="tees")
    assert math.isnan(before([*done, unsaid]))


def test_an_old_flow_is_said(file: Path) -> None:
    def said(found: TankJob) -> str:
        return " ".join(map(render, found.sheet.cautions))

    assert "Measure it again" not in said(job(file, "Shed jug"))
    replaced(file, "2018-01-02", "2017-07-18")  # 184 days before
    assert "its flow was measured 184 days ago, on 18 Jul 2017" in said(job(file, "Shed jug"))
    assert "Measure it again" not in said(job(file, "Shed jug", flow="0.5 gal/min"))
    replaced(file, "2017-07-18", "2017-07-19")
    assert "Measure it again" not in said(job(file, "Shed jug"))
    replaced(file, "measured = 2017-07-19\n", "")
    assert "nobody noted when its flow was measured" in said(job(file, "Shed jug"))


def test_finer_droplets_than_the_sheet_asks_for_are_said(file: Path) -> None:
    assert not any(c.id == "tank.finer" for c in job(file, "Shed jug").sheet.cautions)
    replaced(file, 'droplet_class = "coarse"', 'droplet_class = "Medium"')
    assert any(c.id == "tank.finer" for c in job(file, "Shed jug").sheet.cautions)


def test_several_sprayers_must_be_named(file: Path) -> None:
    file.write_text(file.read_text() + '\n[[sprayer]]\nname = "Backpack"\ntank = "4 gal"\n')
    with pytest.raises(InputError, match="carrier: is missing"):
        job(file, "Shed jug")
    assert job(file, "Shed jug", sprayer="big BOOM").sheet.tank_l > 1000
    small = job(file, "Shed jug", sprayer="Backpack", carrier="40 gal/acre")
    assert small.sheet.tank_l == pytest.approx(parse("4 gal", "volume"))
    with pytest.raises(InputError, match="use one of Big boom, Backpack"):
        job(file, "Shed jug", sprayer="Bike")


@pytest.mark.parametrize(
    ("old", "new", "match"),
    [
        ('"300 gal"', '"300"', r"sprayer.*tank.*has no unit"),
        ('"300 gal"', '"300 acre"', "is a unit of area"),
        ('"40 gal/acre"', '"40 lb/acre"', "not a volume of spray"),
        ("2018-01-02", "2999-01-02", "2999-01-02 lies after today"),
        ('flow = "0.5 gal/min"\n', "", "measured needs flow"),
        ('"Big boom"', '"Big, boom"', r"sprayer\[1\].name"),
        ("boom_height_m = 0.5\ndroplet", "boom_height_m = 5.0\ndroplet", "boom_height_m"),
        ("spacing", "spaceing", "write spacing"),
    ],
)
def test_a_sprayer_is_checked(file: Path, old: str, new: str, match: str) -> None:
    with pytest.raises(InputError, match=match) as error:
        load_site(replaced(file, old, new))
    assert "\n" not in str(error.value)


def test_two_sprayers_of_one_name_are_refused() -> None:
    raw = {"name": "x", "latitude": 36.0, "longitude": -79.0}
    with pytest.raises(InputError, match="two sprayers are called 'a'"):
        site_from({**raw, "sprayer": [{"name": "A"}, {"name": "a"}]})


# ---- rates and prices -------------------------------------------------------------------------


def test_a_bare_rate_is_in_the_unit_of_its_label(file: Path) -> None:
    known = load_products(file.with_name("labels.toml"), ACTIVES)
    plain = product_from_words("shed JUG rate=20", known, ACTIVES)
    assert plain.rate == parse_rate("20 fl oz/acre")
    assert plain.rate_text == "20 fl oz/acre"
    assert plain.concentration == known["Shed jug"].concentration
    assert product_from_words("Shed jug rate=1 L/ha", known, ACTIVES).rate == parse_rate("1 L/ha")
    shared = product_from_words("Shed jug share=1 %", known, ACTIVES)
    assert shared.rate is None
    assert shared.share_of_volume == pytest.approx(0.01)
    with pytest.raises(InputError, match="has no unit"):  # no label says it
        product_from_words("glyphosate rate=16 concentration=4 lb/gal", known, ACTIVES)
    with pytest.raises(InputError, match="has no unit"):
        product_from_words("soap rate=16", known, ACTIVES)
    with pytest.raises(InputError, match="keep one of them"):
        product_from_words("soap rate=1 L/ha share=1 %", known, ACTIVES)


def test_a_bare_carrier_is_in_the_unit_of_its_sprayer(file: Path) -> None:
    found = job(file, "Shed jug", carrier="20")
    assert found.sheet.carrier_l_ha == pytest.approx(parse_rate("20 gal/acre").per_ha)
    replaced(file, SPRAYER, "")
    with pytest.raises(InputError, match="'20': has no unit"):
        job(file, "Shed jug", carrier="20", tank="60 gal")


def test_only_a_bare_number_takes_a_unit() -> None:
    assert with_unit_of(" 1.5 ", "16 fl oz/acre") == "1.5 fl oz/acre"
    assert with_unit_of("1,5", "16 fl oz/acre") == "1,5"
    assert with_unit_of("2 L/ha", "16 fl oz/acre") == "2 L/ha"
    assert with_unit_of("2", "") == "2"


@pytest.mark.parametrize(
    ("text", "each", "money"),
    [
        ("310 USD per 2.5 gal", 310 / (2.5 * 3.785411784), "USD"),
        ("$310 / 2.5 gal", 310 / (2.5 * 3.785411784), "$"),
        ("12.5 eur per L", 12.5, "EUR"),
        ("90 USD for 5 lb", 90 / (5 * 0.45359237), "USD"),
    ],
)
def test_prices(text: str, each: float, money: str) -> None:
    price = parse_price(text)
    assert price.per_unit == pytest.approx(each)
    assert price.money == money


@pytest.mark.parametrize(
    "text", ["310", "310 USD", "310 per gal", "0 USD per gal", "5 USD per acre", "-5 USD per gal"]
)
def test_what_is_no_price_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="price"):
        parse_price(text)


def test_the_sheet_says_what_it_costs(file: Path) -> None:
    # 3 acre x 16 fl oz = 48 fl oz = 0.375 gal of a jug at 24 USD a gallon: 9 USD, 3 USD an acre
    sheet = job(file, "Shed jug", "soap").sheet
    assert cost_lines(sheet, US) == [
        "Shed jug: 9.00 USD",
        "in all: 9.00 USD, 3.00 USD per acre",
        "without soap: no price in the materials file",
    ]
    assert "per ha" in cost_lines(sheet, METRIC)[1]
    assert cost_lines(job(file, "soap").sheet, US) == []
    with pytest.raises(InputError, match=r"price.*write both by weight, or both by volume"):
        product_from_words("x rate=1 lb/acre price=3 USD per gal", {}, ACTIVES)


# ---- the record -------------------------------------------------------------------------------


def test_the_record_holds_what_the_sheet_and_the_site_say(file: Path) -> None:
    start = dt.datetime(2018, 1, 17, 15, tzinfo=dt.UTC)
    made = job(file, "Shed jug", "soap", purpose="dormant")
    entry = application_of(made, AsSprayed(start, target="POAAN"))
    (material,) = entry.materials
    assert material == Material(
        "glyphosate",
        pytest.approx(0.5 * 1.1208511561),  # type: ignore[arg-type]
        product="Shed jug",
        registration="0-123",
        product_rate="16 fl oz/acre",
        product_total="48 fl oz (1.42 L)",
        restricted=False,
    )
    assert entry.where == "greens"
    assert entry.purpose == "dormant"
    assert entry.adjuvant == "soap 0.25 %, 38.4 fl oz (1.14 L)"
    assert entry.site_kind == "sports turf, hybrid bermudagrass"
    assert (entry.operator, entry.certification) == ("R. Vega", "C-17")
    assert (entry.nozzle, entry.droplet_class) == ("flat fan 08", "coarse")
    assert entry.pressure_kpa == pytest.approx(parse("40 psi", "pressure"))
    assert entry.speed_m_s == pytest.approx(parse("4 mph", "speed"))
    assert record_sheet(entry, US).missing == ()
    other = application_of(made, AsSprayed(start, operator="B. Lee"))
    assert (other.operator, other.certification) == ("B. Lee", "")  # not another's licence
    assert record_sheet(other, US).missing == ("Certification number, if applicable",)
    assert "Certification number" in " ".join(map(render, lacking(record_sheet(other, US))))


def test_a_sprayer_without_its_boom_has_that_of_the_site(file: Path) -> None:
    replaced(file, "wind_max_m_s = 4.5\nboom_height_m = 0.5", "boom_height_m = 0.6")
    done = AsSprayed(dt.datetime(2018, 1, 17, 15, tzinfo=dt.UTC))
    assert application_of(job(file, "Shed jug"), done).boom_height_m == 0.5
    replaced(file, "boom_height_m = 0.5\ndroplet", "droplet")
    assert application_of(job(file, "Shed jug"), done).boom_height_m == 0.6


def test_what_has_no_active_is_noted_and_is_no_record_alone(file: Path) -> None:
    start = dt.datetime(2018, 1, 17, 15, tzinfo=dt.UTC)
    entry = application_of(job(file, "Shed jug", "dye rate=8 fl oz/acre"), AsSprayed(start))
    assert entry.notes == "Also in the tank: dye 8 fl oz/acre, 24 fl oz (710 mL)."
    with pytest.raises(InputError, match="nothing in the tank has an active"):
        application_of(job(file, "soap"), AsSprayed(start))


def run(*words: str) -> str:
    result = CliRunner().invoke(cli, list(words))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.output


def applications(file: Path) -> list[Application]:
    with SeasonLog(file.with_name("site.log.sqlite"), create=False) as log:
        return [stored.entry for stored in log.all(Application)]


def test_one_command_makes_sheet_and_record(file: Path) -> None:
    said = run(
        "tank", "sheet", str(file), "--where", "greens", "--product", "Shed jug",
        "--purpose", "dormant", "--log", "--at", "2018-01-17 13:15", "--offline",
    )  # fmt: skip
    assert said.startswith("Tank sheet for greens\n")
    flat = " ".join(said.split())
    assert "Logged as" in flat
    assert "Filled in: air temperature" in flat
    assert "Still to enter, as many states ask: Target weed" in flat
    (entry,) = applications(file)
    assert entry.start.isoformat() == "2018-01-17T13:15:00-05:00"
    assert entry.temp_c is not None
    assert entry.weather_source
    run("log", "undo", "--site", str(file))
    assert applications(file) == []


def test_what_the_turf_forbids_is_recorded_with_a_warning(file: Path) -> None:
    document = run(
        "tank", "sheet", str(file), "--where", "tees", "--product", "Shed jug", "--log",
        "--at", "2018-01-17 13:15", "--format", "json", "--operator", "B. Lee",
    )  # fmt: skip
    logged = json.loads(document)["logged"]
    assert logged["missing"] == ["Certification number, if applicable"]
    said = run(
        "tank", "sheet", str(file), "--where", "tees", "--product", "Shed jug", "--log",
        "--at", "2018-01-17 14:15",
    )  # fmt: skip
    assert "Logged as it was done, though the sheet says no: Turf: glyphosate kills" in " ".join(
        said.split()
    )
    assert len(applications(file)) == 2


@pytest.mark.parametrize(
    ("words", "match"),
    [
        (["--log", "--at", "2999-01-17 13:15"], "start: 2999-01-17 lies ahead"),
        (["--log", "--at", "2018-01-17"], "--at: '2018-01-17' says no hour"),
        (["--log", "--date", "2018-01-17"], "--date: is not the day of the record"),
        (["--at", "2018-01-17 13:15"], "--at: says what was done, but nothing is logged"),
        (["--operator", "B. Lee"], "--operator: says what was done, but nothing is logged"),
        (["--log", "--at", "2018-01-17 13:15", "--until", "2018-01-17 12:15"], "before the start"),
        (["--log", "--at", "2018-01-17 13:15", "--target", "moss"], "target"),
    ],
)
def test_a_record_that_cannot_be_is_refused_and_nothing_is_stored(
    file: Path, words: list[str], match: str
) -> None:
    with pytest.raises(InputError, match=re.escape(match)):
        run("tank", "sheet", str(file), "--where", "greens", "--product", "Shed jug", *words)
    assert not file.with_name("site.log.sqlite").exists() or applications(file) == []


def test_a_log_needs_a_site_file() -> None:
    words = ["--area", "1 acre", "--carrier", "40 gal/acre", "--tank", "60 gal"]
    product = "glyphosate rate=16 fl oz/acre concentration=4 lb/gal"
    with pytest.raises(InputError, match="needs a site file"):
        run("tank", "sheet", *words, "--product", product, "--log")


def test_names_are_offered_to_the_shell(file: Path) -> None:
    command = click.Command("sheet")
    context = click.Context(command)
    context.params["site_file"] = file
    option = click.Option(["--where"])
    assert areas_offered(context, option, "GR") == ["greens"]
    assert areas_offered(context, option, "greens, t") == ["greens, tees"]
    assert sprayers_offered(context, option, "") == ["Big boom"]
    assert products_offered(context, option, "s") == ["Shed jug", "soap"]
    file.write_text("not a site")
    assert areas_offered(context, option, "") == []
    assert areas_offered(click.Context(command), option, "") == []


def test_a_site_without_sprayers_is_as_before() -> None:
    site = Site(name="x", latitude=36.0, longitude=-79.0)
    assert site.sprayer == ()
    assert site.operator.name == ""


def test_the_sprayer_of_the_page_is_one_that_the_program_takes(tmp_path: Path) -> None:
    page = (Path(__file__).parents[1] / "docs" / "tank.md").read_text()
    kept = page.partition("```toml\n")[2].partition("```")[0]
    head = 'name = "x"\nlatitude = 36.0\nlongitude = -79.0\n'
    (tmp_path / "site.toml").write_text(head + kept)
    site = load_site(tmp_path / "site.toml")
    assert site.sprayer[0].flow == "0.5 gal/min"
    assert site.operator.certification == "C-17"


@pytest.mark.parametrize(
    ("words", "offered"),
    [
        (["rank", "SITE", "--area", "t"], ["tees"]),
        (["tank", "sheet", "SITE", "--where", "greens, ro"], ["greens, rough"]),
        (["tank", "sheet", "SITE", "--product", "sh"], ["Shed jug"]),
        (["tank", "sheet", "--sprayer", "b"], []),
    ],
)
def test_a_shell_completes_names(file: Path, words: list[str], offered: list[str]) -> None:
    *before, last = [str(file) if word == "SITE" else word for word in words]
    complete = ShellComplete(cli, {}, "windowcast", "_WINDOWCAST_COMPLETE")
    assert [one.value for one in complete.get_completions(before, last)] == offered
