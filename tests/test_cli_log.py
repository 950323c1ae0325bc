"""The log on the command line: units, hour's weather, history, files, errors in one line."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from windowcast.cli import cli, main
from windowcast.weather.sample import sample_folder

Run = Callable[..., str]


@pytest.fixture
def site(tmp_path: Path) -> Path:
    target = tmp_path / "site.toml"
    text = (sample_folder() / "site.toml").read_text()
    target.write_text(text.replace("mature = true", "established = 2015-06-01"))
    shutil.copy(sample_folder() / "daily.csv.gz", tmp_path)
    shutil.copy(sample_folder() / "hourly.csv.gz", tmp_path)
    return target


@pytest.fixture
def run(site: Path) -> Run:
    def go(*words: str) -> str:
        result = CliRunner().invoke(cli, ["log", *words, "--site", str(site)])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        assert result.exit_code == 0, result.output
        return result.output

    return go


def entries(run: Run, kind: str) -> list[dict[str, object]]:
    found: list[dict[str, object]] = json.loads(run("list", "--kind", kind, "--format", "json"))
    return found


NOON = "start=2018-01-16 12:00"
SPRAY = (
    "start=2018-01-16 13:15",
    "active=Glyphosate 0.5 lb/acre",
    "product=as on label",
    "registration=000-000",
    "area=2 acre",
    "carrier=25 gal/acre",
    "where=field 2",
    "operator=A. B.",
    "purpose=dormant",
)


def test_units_become_si_and_come_back_in_the_sites(run: Run, site: Path) -> None:
    run("add", "probe", "date=2018-01-10", "depth=2 in", "temp=41 F")
    (probe,) = entries(run, "probe")
    assert probe["depth_m"] == pytest.approx(0.0508)
    assert probe["temp_c"] == pytest.approx(5.0)
    assert "soil 41 °F at 2 in" in run("list")
    assert (site.parent / "site.log.sqlite").is_file()
    run(
        "add",
        "count",
        "date=2018-01-12",
        "weed=poaan",
        "per_m2=12 per ft2",
        "frame=1 ft2",
        "stage=13",
    )
    (count,) = entries(run, "count")
    assert count["per_m2"] == pytest.approx(12 / 0.3048**2)
    assert count["frame_m2"] == pytest.approx(0.3048**2)
    run("add", "cover", "date=2018-01-12", "green=4%")
    run("add", "note", "date=2018-01-12", "text=survivors", "survivors_mixed=yes", "weed=POAAN")
    run(
        "add",
        "rating",
        "date=2018-01-12",
        "trial=t",
        "plot=1",
        "treatment=untreated",
        "value=40",
        "before=no",
    )
    assert len(run("list").splitlines()) == 5


def test_the_hours_weather_is_filled_in_and_marked(run: Run, site: Path) -> None:
    files = [str(site.parent / name) for name in ("daily.csv.gz", "hourly.csv.gz")]
    weather = [part for file in files for part in ("--weather", file)]
    run("add", "application", *SPRAY, "wind=5 mph", *weather)
    (spray,) = entries(run, "application")
    assert spray["wind_m_s"] == pytest.approx(5 * 0.44704)  # as entered
    assert spray["start"] == "2018-01-16T13:15:00-05:00"
    # the daily record of the sample: that day's extremes bound the estimated hour
    assert -20 < float(str(spray["temp_c"])) < 25
    assert "air temperature" in str(spray["weather_source"])
    assert "estimated" in str(spray["weather_source"])
    assert "wind" not in str(spray["weather_source"])
    assert spray["materials"] == [
        {
            "active": "glyphosate",
            "rate_kg_ha": pytest.approx(0.5604, abs=1e-4),
            "product": "as on label",
            "registration": "000-000",
        }
    ]


def test_rows_written_by_hand_pass_the_same_checks(run: Run, site: Path, tmp_path: Path) -> None:
    file = tmp_path / "old.csv"
    for row, match in (
        ("application,2011-01-10T10:00-05:00,glyphosate", "row 2: start: 2011-01-10 is before the"),
        (
            "application,2017-01-10T10:00-05:00,glyphosat",
            "row 2: active: 'glyphosat' is",
        ),
    ):
        kind, start, active = row.split(",")
        file.write_text(f'kind,start,materials\n{kind},{start},"[{{""active"":""{active}""}}]"\n')
        done = CliRunner().invoke(cli, ["log", "import", str(file), "--site", str(site)])
        assert match in str(done.exception)
    assert not list(tmp_path.glob("*.sqlite*"))  # what is refused begins no log


def test_the_csv_of_the_manual_can_be_imported(run: Run, tmp_path: Path) -> None:
    page = (Path(__file__).parents[1] / "docs" / "season_log.md").read_text()
    file = tmp_path / "by_hand.csv"
    file.write_text(page.split("```csv\n")[1].split("```")[0])
    assert "1 change added; the log has 4 entries" in run("import", str(file))
    first, second = entries(run, "application")
    assert first["materials"] == [{"active": "prodiamine", "rate_kg_ha": 0.84}]
    assert (first["purpose"], second["purpose"]) == ("pre-fall", "dormant")
    assert second["materials"] == [
        # 1 lb/acre is 1.1209 kg/ha (NIST SP 811, appendix B.8: 1 lb = 0.45359237 kg)
        {"active": "glyphosate", "rate_kg_ha": pytest.approx(0.5604, abs=1e-4)},
        {"active": "simazine", "rate_kg_ha": pytest.approx(1.1209, abs=1e-4)},
    ]
    assert first["start"] == "2017-09-06T08:30:00-04:00"  # the sample's zone, in summer
    assert "0 changes added" in run("import", str(file))


@pytest.mark.parametrize(
    ("start", "materials", "match"),
    [
        ("2017-12-05 13:00", "glyphosate 0.5 kg", "row 3: materials: '0.5 kg': says no area"),
        ("2017-12-05 13:00", "glyphosate 2 pt/acre", "row 3: materials: '2 pt/acre' is a volume"),
        ("2017-12-05 13:00", "simazine; 0.5 lb/acre", "row 3: materials: '0.5 lb/acre' names no"),
        ("2017-12-05 13:00", "glyphosat 0.5 lb/acre", "row 3: active: 'glyphosat' is not a known"),
        ("2017-12-05 13:00", " ; ", "row 3: materials: "),
        ("2017-12-05", "simazine", "row 3: start: '2017-12-05' says no hour"),
    ],
)
def test_a_wrong_row_is_named_and_begins_no_log(
    site: Path, start: str, materials: str, match: str, capsys: pytest.CaptureFixture[str]
) -> None:
    file = site.parent / "by_hand.csv"
    good = "application,2017-12-04 13:00,glyphosate\n"
    file.write_text(f"kind,start,materials\n{good}application,{start},{materials}\n")
    with pytest.raises(SystemExit) as stop:
        main(["log", "import", str(file), "--site", str(site)])
    assert stop.value.code == 2
    said = capsys.readouterr().err.strip()
    assert f"by_hand.csv: {match}" in said
    assert "\n" not in said
    assert not list(site.parent.glob("*.sqlite*"))


def test_what_was_filled_in_and_what_to_add_is_said(run: Run, site: Path) -> None:
    said = run("add", "application", *SPRAY, "--weather", str(site.parent / "daily.csv.gz"))
    assert "filled in: air temperature" in said
    assert "the hour from 13:00" in said  # the site's clock, not UTC
    note = run("add", "note", "date=2018-01-17", "text=some Survivors mixed among dying plants")
    assert "survivors_mixed=yes" in note
    assert "survivors_mixed" not in run("add", "note", "date=2018-01-17", "text=dry")


def flat(text: str) -> str:
    return " ".join(text.split())


def test_when_to_look_for_the_effect_is_said(run: Run) -> None:
    # glyphosate in the cold: 2 to 6 weeks (from memory); on dormant turf 72 % in December, 93 % in
    # February (Toler, Willis, Estes & McCarty 2007, HortScience 42(3):670)
    added = run("add", "application", *SPRAY, "--no-weather")
    said = "look for the effect of glyphosate: Tue 30 Jan to Tue 27 Feb (2 to 6 weeks after) [from"
    assert said in flat(added)
    assert "glyphosate in trials on dormant turf: 72 to 93 % control" in flat(added)
    assert "HortScience 42(3):670" in flat(added)
    assert said in flat(run("show", added[:8]))
    spring = run("add", "application", *[w for w in SPRAY if "purpose" not in w], "--no-weather")
    assert said in flat(spring)
    assert "in trials on dormant turf" not in spring
    barrier = run("add", "application", NOON, "active=prodiamine", "--no-weather")
    assert "look for" not in barrier  # nothing to see of a barrier


def test_a_look_into_the_canopy_is_an_entry_of_its_own(run: Run) -> None:
    assert "no live shoot" in run("add", "cover", "date=2018-01-12", "live_shoots=no")
    run("add", "cover", "date=2018-01-13", "green=0%", "live_shoots=yes", "where=field 2")
    assert [(c.get("green_pct"), c["live_shoots"]) for c in entries(run, "cover")] == [
        (None, False),
        (0.0, True),
    ]
    assert "0 % green, live shoots in the canopy, field 2" in run("list")


def test_history_reads_as_words(run: Run) -> None:
    run("add", "application", *SPRAY, "--no-weather")
    said = run("history")
    assert "glyphosate 0.5 lb/acre (Product as on the label: as on label" in " ".join(said.split())
    assert "Area treated: 2 acre" in " ".join(said.split())
    assert "{" not in said
    assert "area_m2" not in said


def test_names_are_offered_as_people_write_them(
    site: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        main(["log", "add", "application", NOON, "active=simazine", "dose=1", "--site", str(site)])
    said = capsys.readouterr().err
    assert "an application has no 'dose'" in said
    assert "area, " in said
    assert "area_m2" not in said
    with pytest.raises(SystemExit):
        main(["log", "add", "application", NOON, "--site", str(site)])
    assert "active: is missing" in capsys.readouterr().err


def test_without_a_record_nothing_is_invented(run: Run) -> None:
    run("add", "application", *SPRAY)  # the site names no weather file
    (spray,) = entries(run, "application")
    assert "temp_c" not in spray
    assert "weather_source" not in spray


def test_the_record_sheet_has_every_item_of_the_federal_list(run: Run) -> None:
    run("add", "application", *SPRAY, "--no-weather")
    (spray,) = entries(run, "application")
    text = run("show", str(spray["id"])[:8])
    # 7 CFR 110.3(a), as revised 1 January 2006: product and EPA number; total amount; location,
    # size of area, crop or site; month, day and year; applicator's name and certification number
    for label, value in {
        "Brand or product name": "as on label",
        "EPA registration number": "000-000",
        "Total amount of product applied": "not entered",
        "Location of the application": "field 2",
        "Size of area treated": "2 acre (0.809 ha)",
        "Crop, commodity, stored product or site": "not entered",
        "Month, day and year": "2018-01-16",
        "Name of the certified applicator": "A. B.",
        "Certification number": "not entered",
    }.items():
        (line,) = [x for x in text.splitlines() if x.startswith("* " + label)]
        assert value in line
    assert "Still to enter: Crop" in text
    sheet = text.partition("\n\n")[2].split("\n\n20")[0]
    assert max(map(len, sheet.splitlines())) <= 78  # fits on paper
    assert "Restricted use:" in text
    assert "for restricted-use products" in " ".join(text.split())


def test_edit_undo_remove_history(run: Run) -> None:
    run("add", "probe", "date=2018-01-10", "depth=2 in", "temp=41 F", "notes=shade")
    entry = str(entries(run, "probe")[0]["id"])[:8]
    assert "(version 2)" in run("edit", entry, "temp=43 F", "notes=")
    (probe,) = entries(run, "probe")
    assert probe["temp_c"] == pytest.approx(6.1111, abs=1e-4)
    assert "notes" not in probe
    assert "Taken back" in run("undo")
    assert entries(run, "probe")[0]["notes"] == "shade"
    assert "Removed (undo brings it back)" in run("remove", entry)
    assert "The log is empty." in run("list")
    run("undo")
    steps = [line.split("  ") for line in run("history", entry).splitlines()]
    actions = [step[1] for step in steps if entry in step]
    assert actions == ["added", "changed", "taken back", "taken out", "taken back"]


def test_export_import_backup(run: Run, tmp_path: Path) -> None:
    run("add", "application", *SPRAY, "--no-weather")
    run("add", "probe", "date=2018-01-10", "depth=2 in", "temp=41 F")
    for form in ("json", "csv"):
        out = tmp_path / f"all.{form}"
        run("export", "--format", form, "--out", str(out))
        assert out.read_text(encoding="utf-8").strip() == run("export", "--format", form).strip()
        other = ["--log", str(tmp_path / f"other-{form}.sqlite")]
        result = CliRunner().invoke(cli, ["log", "import", str(out), *other])
        assert result.output == "2 changes added; the log has 2 entries (+2).\n"
        again = CliRunner().invoke(cli, ["log", "import", str(out), *other])
        assert again.output == "0 changes added; the log has 2 entries (+0).\n"
        listed = CliRunner().invoke(cli, ["log", "list", "--format", "json", *other])
        assert json.loads(listed.output) == json.loads(run("list", "--format", "json"))
    run("backup", str(tmp_path / "copy.sqlite"))
    assert (tmp_path / "copy.sqlite").is_file()


def test_a_field_is_emptied_by_any_of_its_names(run: Run) -> None:
    run("add", "application", *SPRAY, "--no-weather")
    entry = str(entries(run, "application")[0]["id"])[:8]
    run("edit", entry, "area=", "carrier_l_ha=", "where=")
    assert not {"area_m2", "carrier_l_ha", "where"} & entries(run, "application")[0].keys()


def test_a_tank_may_be_written_as_in_a_csv(run: Run) -> None:
    run("add", "application", NOON, "materials=prodiamine 0.84 kg/ha; simazine", "--no-weather")
    assert entries(run, "application")[0]["materials"] == [
        {"active": "prodiamine", "rate_kg_ha": 0.84},
        {"active": "simazine"},
    ]


@pytest.mark.parametrize(
    ("words", "match"),
    [
        (["add", "probe", "date=2018-01-10", "depth=2", "temp=41 F"], "has no unit"),
        (["add", "probe", "date=2018-01-10", "depth=2 in", "temp=41"], "does not say F or C"),
        (["add", "probe", "date=2018-01-10", "depth=2 in"], "temp_c"),
        (["add", "probe", "date=2014-01-10", "depth=2 in", "temp=41 F"], "before the turf existed"),
        (["add", "probe", "date=2091-01-10", "depth=2 in", "temp=41 F"], "lies ahead"),
        (["add", "probe", "date"], "is not field=value"),
        (["add", "probe", "depths=2 in"], "close: depth"),
        (["add", "application", "start=2018-01-16", "active=glyphosate"], "says no hour"),
        (["add", "application", "start=soon", "active=glyphosate"], "is not a time"),
        (["add", "application", NOON, "active=glifosate"], "close: "),
        (["add", "application", NOON, "active=glyphosate 2 pt/acre"], "volume of product"),
        (["add", "application", NOON, "active=glyphosate", "area=-2 acre"], "not above zero"),
        (["add", "application", NOON, "product=x"], "before any active"),
        (["add", "count", "date=2018-01-16", "weed=POAAN", "per_m2=12 per"], "says no area"),
        (["list", "--log", "/nowhere/at/all.sqlite"], "no such season log"),
        (["show", "abcdef0"], "no such season log"),
        (["import", "no-such-file.csv"], "cannot be read"),
    ],
)  # fmt: skip
def test_errors_are_one_line_with_exit_code_2(
    site: Path, words: list[str], match: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["log", *words, "--site", str(site)])
    assert stop.value.code == 2
    said = capsys.readouterr().err.strip()
    assert match in said
    assert "\n" not in said


def test_which_log_must_be_said(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["log", "list"])
    assert stop.value.code == 2
    assert "no log is given" in capsys.readouterr().err
