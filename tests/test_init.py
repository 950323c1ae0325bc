"""``windowcast init``: a site file from flags or questions that the program itself accepts."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from windowcast.cli import init as cli_init
from windowcast.cli import main
from windowcast.core.errors import InputError
from windowcast.core.site import Site, load_site, units_at
from windowcast.core.site_template import Answers, checked, site_toml
from windowcast.core.towns import named
from windowcast.core.turf import Species, Texture
from windowcast.materials.actives import load_actives
from windowcast.weather.sample import SAMPLE_FILES, sample_folder

HERE = ["--name", "Sea Loft", "--lat", "38.7", "--lon", "-9.1"]


def run(*args: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    try:
        main(["init", *args])
        code = 0
    except SystemExit as end:
        code = int(end.code or 0)
    out = capsys.readouterr()
    return code, out.out + out.err


def test_from_flags(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "my.toml"
    code, said = run(
        str(out), *HERE, "--elevation", "60", "--turf", "zoysiagrass", "--use", "golf",
        "--texture", "sand", "--units", "us", "--overseeded", "no", "--irrigated", "yes",
        "--weather", "old.csv", "--yes", capsys=capsys,
    )  # fmt: skip
    assert code == 0
    assert f"windowcast rank {out}" in said
    site = load_site(out)
    assert site.name == "Sea Loft"
    assert site.elevation_m == 60
    assert site.timezone == "Europe/Lisbon"
    assert site.turf.species == Species.ZOYSIAGRASS
    assert site.turf.use == "golf"
    assert site.soil.texture == Texture.SAND
    assert site.units == "us"
    assert site.turf.overseeded is False
    assert site.turf.irrigated is True
    assert site.weather.files == (str(tmp_path / "old.csv"),)
    assert [p.name for p in tmp_path.iterdir()] == ["my.toml"]


def test_a_town_gives_its_coordinates(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "site.toml"
    code, said = run(str(out), "--town", "evora", "--lon", "-7.95", "--yes", capsys=capsys)
    assert (code, "Évora, PT: 38.566, -7.904" in said) == (0, True)  # GeoNames
    site = load_site(out)
    assert (site.name, site.latitude, site.longitude) == ("Évora", 38.566, -7.95)
    other = str(tmp_path / "other.toml")
    code, said = run(other, "--town", "Springfield", "--yes", capsys=capsys)
    assert (code, "say which: Springfield, MO, US; " in said) == (2, True)
    code, said = run(other, "--town", "Nowhere at all", "--yes", capsys=capsys)
    assert (code, "no town of 5,000 people is called" in said) == (2, True)
    # a smaller town of the United States is no larger one of Gabon, whose code is Georgia's
    code, said = run(other, "--town", "Ila, GA", "--yes", capsys=capsys)
    assert (code, "or one of these: Mouila, GA" in said) == (2, True)
    assert len(named("bau")) > 1, "beyond those that a search shows"
    assert not Path(other).exists()


def test_who_is_asked_may_name_a_town(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli_init, "_can_ask", lambda: True)
    out = tmp_path / "site.toml"
    answers = "\n".join(["Springfield", "Springfield, mo", *[""] * 12])
    done = CliRunner().invoke(cli_init.command, [str(out)], input=answers)
    assert done.exit_code == 0, done.output
    assert "say which: Springfield, MO, US" in done.output
    site = load_site(out)
    assert (site.name, round(site.latitude, 1), site.timezone) == (
        "Springfield", 37.2, "America/Chicago",
    )  # fmt: skip


def test_what_nobody_said_stays_unsaid(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "site.toml"
    assert run(str(out), *HERE, "--yes", capsys=capsys)[0] == 0
    site = load_site(out)
    assert site.turf.overseeded is None
    assert site.turf.irrigated is None
    assert site.elevation_m is None
    assert site.soil.texture == Texture.UNKNOWN
    text = out.read_text("utf-8")
    assert "# overseeded = false" in text
    assert "# elevation_m" in text


def test_questions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything asked; empty answers take what is offered, the time zone found among it."""
    monkeypatch.setattr(cli_init, "_can_ask", lambda: True)
    out = tmp_path / "site.toml"
    answers = ["", "Sea Loft", "38.7", "-9.1", "", "", "us", "", "lawn", "", "no", "", "yes"]
    answers.append("henbit, Goosegrass")
    result = CliRunner().invoke(cli_init.command, [str(out)], input="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    assert "[Europe/Lisbon]" in result.output
    site = load_site(out)
    assert (site.units, site.turf.use, site.turf.overseeded) == ("us", "lawn", False)
    assert site.turf.mature is True
    assert site.weeds == ("LAMAM", "ELEIN")


def test_a_slip_is_asked_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cli_init, "_can_ask", lambda: True)
    out = tmp_path / "site.toml"
    answers = ["", "Sea Loft", "91", "38.7", "-190", "-9.1", "ninety", "9000", "60", *[""] * 9]
    result = CliRunner().invoke(cli_init.command, [str(out)], input="\n".join(answers) + "\n")
    assert result.exit_code == 0, result.output
    site = load_site(out)
    assert (site.latitude, site.longitude, site.elevation_m) == (38.7, -9.1, 60)


def test_questions_know_the_limits_of_the_site_file() -> None:
    limits = Site.model_json_schema()["properties"]
    for name, asked in (("latitude", cli_init._LATITUDE), ("longitude", cli_init._LONGITUDE)):
        assert (limits[name]["minimum"], limits[name]["maximum"]) == (asked.min, asked.max)
    height, asked = limits["elevation_m"]["anyOf"][0], cli_init._ELEVATION
    assert (height["minimum"], height["maximum"]) == (asked.min, asked.max)


def test_never_overwrites_unasked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "site.toml"
    out.write_text("precious")
    code, said = run(str(out), *HERE, "--yes", capsys=capsys)
    assert code == 2
    assert "exists already" in said
    assert "--force" in said
    assert out.read_text() == "precious"
    assert run(str(out), *HERE, "--yes", "--force", capsys=capsys)[0] == 0
    assert load_site(out).name == "Sea Loft"


@pytest.mark.parametrize(
    ("args", "says"),
    [
        (["--lat", "1", "--lon", "2"], "--name: is missing"),
        (["--name", "a", "--lat", "91", "--lon", "2"], "latitude: 91.0 is not allowed"),
        (["--name", "a", "--lat", "1", "--lon", "2", "--elevation", "9000"], "elevation_m: 9000"),
        (["--name", "a", "--lat", "1", "--lon", "2", "--timezone", "Mars/Base"], "'Mars/Base'"),
        (["--name", "a", "--lat", "x", "--lon", "2"], "'x' is not a valid float"),
        (["--name", "a", "--lat", "1", "--lon", "2", "--turf", "rye"], "'rye' is not one of"),
        (["--name", "a", "--lat", "1", "--lon", "2", "--weeds", "henbt"], "did you mean henbit"),
    ],
)
def test_faults_leave_nothing_behind(
    tmp_path: Path, args: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, said = run(str(tmp_path / "site.toml"), *args, "--yes", capsys=capsys)
    assert code == 2
    assert says in said
    assert "Traceback" not in said
    assert list(tmp_path.iterdir()) == []


def test_no_such_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, said = run(str(tmp_path / "none" / "site.toml"), *HERE, "--yes", capsys=capsys)
    assert code == 2
    assert "cannot be written" in said


@given(
    name=st.text(min_size=1, max_size=120).filter(lambda t: t.strip() and t.isprintable()),
    lat=st.floats(-66, 66),
    lon=st.floats(-180, 180),
    elevation=st.one_of(st.none(), st.floats(-430, 5000)),
    species=st.sampled_from(list(Species)),
    said=st.sampled_from([None, True, False]),
)
def test_any_answers_come_back_from_the_file(
    *,
    name: str,
    lat: float,
    lon: float,
    elevation: float | None,
    species: Species,
    said: bool | None,
) -> None:
    answers = Answers(
        name, lat, lon, elevation, "Europe/Lisbon", species=str(species), overseeded=said
    )
    site = checked(site_toml(answers))
    assert site.name == name.strip()
    assert (site.latitude, site.longitude, site.elevation_m) == (lat, lon, elevation)
    assert site.turf.species is species
    assert site.turf.overseeded is said


def test_commented_examples_are_valid(tmp_path: Path) -> None:
    """Taking away the # of every example leaves a file the program accepts."""
    lines = []
    for line in site_toml(Answers("Sea Loft", 38.7, -9.1, timezone="Europe/Lisbon")).splitlines():
        bare = line.removeprefix("# ")
        is_example = " = " in bare or bare.startswith(("[[", "  {", "]"))
        lines.append(bare if line.startswith("# ") and is_example else line)
    path = tmp_path / "site.toml"
    path.write_text("\n".join(lines))
    site = load_site(path)
    assert site.calendar.blackout[0].reason == "tournament"
    assert site.weather.own[0].columns[1].quantity == "soil_5cm_c"
    assert site.sensitive[0].name == "school"
    assert site.sensitive[0].width_deg == 50
    assert site.equipment.wind_max_m_s == 4.5
    assert site.advice.watering_in_days == 2
    assert site.alerts.to_file == "alerts.secret"
    assert site.sprayer[0].carrier == "40 gal/acre"
    assert site.operator.certification == "C-17"


def test_bad_answers_are_named() -> None:
    with pytest.raises(InputError, match=r"name: .*1 to 120 characters"):
        site_toml(Answers("", 1.0, 2.0))
    with pytest.raises(InputError, match=r"name: .*character that cannot be shown"):
        site_toml(Answers("bell\x07", 1.0, 2.0))


def test_units_are_us_in_the_zones_the_tz_database_places_in_the_usa() -> None:
    table = (files("tzdata") / "zoneinfo" / "zone.tab").read_text("utf-8")
    rows = [line.split("\t") for line in table.splitlines() if not line.startswith("#")]
    for country, _, zone, *_ in rows:
        assert units_at(zone.strip()) == ("us" if country == "US" else "metric"), zone
    assert units_at("Asia/Tokyo") == "metric"


def test_units_by_default_and_limits_in_both_units(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for lat, lon, units in (("36.2", "-115.2", "us"), ("51.0", "-114.1", "metric")):
        out = tmp_path / f"{units}.toml"
        run(str(out), "--name", "Dry Fork", "--lat", lat, "--lon", lon, "--yes", capsys=capsys)
        assert load_site(out).units == units
        assert ("4.5 m/s is 10 mph" in out.read_text("utf-8")) == (units == "us")


def test_an_unknown_weed_or_active_at_hand_is_told_with_its_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "site.toml"
    run(str(out), *HERE, "--yes", capsys=capsys)
    text = out.read_text("utf-8")
    wrong = text.replace('"DIGIS"]', '"DIGUS"]')
    row = wrong[: wrong.index("DIGUS")].count("\n") + 1
    out.write_text(wrong, "utf-8")
    with pytest.raises(InputError, match=rf"site.toml: row {row}: weeds\[2\]: 'DIGUS' is not"):
        load_site(out)
    materials = load_actives()
    with pytest.raises(InputError, match=r"site.toml: stock: 'prodiamin' is not"):
        materials.at_hand(["prodiamine", "prodiamin"], out)


def test_the_samples_weather_is_put_beside_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "learn.toml"
    code, _ = run(str(out), *HERE, "--sample", "--yes", capsys=capsys)
    assert code == 0
    names = [f"sample-{name}" for name in SAMPLE_FILES]
    assert load_site(out).weather.files == tuple(str(tmp_path / name) for name in names)
    for name in SAMPLE_FILES:
        copied = tmp_path / f"sample-{name}"
        assert copied.read_bytes() == (sample_folder() / name).read_bytes()
    out.unlink()
    code, said = run(str(out), *HERE, "--sample", "--yes", capsys=capsys)
    assert (code, "sample-daily.csv.gz: exists already" in said) == (2, True)
    assert not out.exists()
    assert run(str(out), *HERE, "--sample", "--yes", "--force", capsys=capsys)[0] == 0
