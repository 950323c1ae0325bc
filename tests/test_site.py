"""The site file: every fault names file, line, key, value, what is allowed and the remedy."""

from __future__ import annotations

from pathlib import Path

import pytest

from windowcast.core.errors import InputError
from windowcast.core.site import Site, load_site, timezone_at
from windowcast.core.spray_calendar import ClockSpan
from windowcast.core.turf import Species
from windowcast.core.validation import line_of

HEAD = 'name = "Sea Loft"\nlatitude = 38.7\nlongitude = -9.1\n'


def written(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "site.toml"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def read(tmp_path: Path, text: str) -> Site:
    return load_site(written(tmp_path, text))


def test_the_least_a_site_needs(tmp_path: Path) -> None:
    site = read(tmp_path, HEAD)
    assert site.timezone == "Europe/Lisbon"  # looked up offline
    assert site.turf.species is Species.HYBRID_BERMUDAGRASS
    assert site.turf.overseeded is None
    assert site.place.latitude_deg == 38.7
    assert not site.place.southern


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone"),
    [
        (40.7, -74.0, "America/New_York"),
        (-33.9, 151.2, "Australia/Sydney"),
        (-13.8, -171.8, "Pacific/Apia"),
        (91.0, 0.0, ""),
    ],
)
def test_time_zone_of_a_point(latitude: float, longitude: float, zone: str) -> None:
    assert timezone_at(latitude, longitude) == zone


def test_own_time_zone_goes_before_the_map(tmp_path: Path) -> None:
    assert read(tmp_path, HEAD + 'timezone = "UTC"\n').timezone == "UTC"


FAULTS = [
    (HEAD.replace("38.7", "91"), 2, "latitude", "91 ", "a number from -66 to 66"),
    (HEAD.replace("38.7", '"36N"'), 2, "latitude", "'36N'", "a number from -66 to 66"),
    (HEAD.replace("38.7", "nan"), 2, "latitude", "nan", "a number from -66 to 66"),
    (HEAD.replace("-9.1", "181"), 3, "longitude", "181", "a number from -180 to 180"),
    (HEAD.replace('"Sea Loft"', '""'), 1, "name", "''", "text of 1 to 120 characters"),
    (HEAD + "elevation_m = 9000\n", 4, "elevation_m", "9000", "a number from -430 to 5000"),
    (HEAD + "elevaton_m = 60\n", 4, "elevaton_m", "not a known key", "write elevation_m"),
    (HEAD + '"eleva-tion" = 6\n', 4, "eleva-tion", "not a known key", "write elevation_m"),
    (HEAD + '[turf]\n"us-e" = 1\n', 5, "turf.us-e", "not a known key", "write use"),
    (HEAD.replace("38.7", '"38.7"'), 2, "latitude", "'38.7'", "a number from -66 to 66"),
    (HEAD.replace("38.7", "true"), 2, "latitude", "True", "a number from -66 to 66"),
    (HEAD + 'units = "imperial"\n', 4, "units", "'imperial'", "one of us, metric"),
    (HEAD + 'timezone = "Mars/Base"\n', 4, "timezone", "'Mars/Base'", "IANA time zone"),
    (HEAD + '\n[turf]\nspecies = "rye"\n', 6, "turf.species", "'rye'", "hybrid bermudagrass"),
    (HEAD + '[turf]\nuse = "park"\n', 5, "turf.use", "'park'", "golf, sports, lawn, sod, other"),
    (HEAD + '[turf]\nirrigated = "at times"\n', 5, "turf.irrigated", "'at times'", "true or false"),
    (HEAD + '[turf]\nestablished = "soon"\n', 5, "turf.established", "'soon'", "a date such as"),
    (HEAD + "turf = 3\n", 4, "turf", "3 ", "a table"),
    (HEAD + '[soil]\ntexture = "mud"\n', 5, "soil.texture", "'mud'", "sandy loam"),
    (
        HEAD + "[equipment]\nwind_max_m_s = 12\n",
        5, "equipment.wind_max_m_s", "12", "a number from 1 to 8",
    ),
    (
        HEAD + '[calendar]\nspray_hours = "8-12"\n',
        5, "calendar.spray_hours", "'8-12'", "06:00-19:00",
    ),
    (
        HEAD + '[calendar]\nspray_hours = "19:00-06:00"\n',
        5, "calendar.spray_hours", "ends before it starts", "correct",
    ),
    (
        HEAD + '[calendar]\nspray_weekdays = ["monday"]\n',
        5, "calendar.spray_weekdays[1]", "'monday'", "mon, tue, wed",
    ),
    (
        HEAD + "[[calendar.blackout]]\nfirst = 2025-01-02\n\n"
        "[[calendar.blackout]]\nfirst = 2025-01-02\nlast = 2025-01-01\n",
        7, "calendar.blackout[2]", "last lies before first", "correct",
    ),
    (
        HEAD + "[[calendar.blackout]]\nfirst = 2025-01-02\n"
        '[[calendar.blackout]]\nfirst = 2025-01-03\nhours = "noon"\n',
        8, "calendar.blackout[2].hours", "'noon'", "06:00-19:00",
    ),
    (
        HEAD + '[[sensitive]]\nname = "pond"\nbearing_from_deg = 20\nbearing_to_deg = 400\n',
        7, "sensitive[1].bearing_to_deg", "400", "a number from 0 to 360",
    ),
    (
        HEAD + '[[sensitive]]\nname = "pond"\nbearing_from_deg = "N"\nbearing_to_deg = 40\n',
        6, "sensitive[1].bearing_from_deg", "'N'", "a number from 0 to 360",
    ),
    (
        HEAD + '[[sensitive]]\nbearing_from_deg = 20\nbearing_to_deg = 40\n',
        4, "sensitive[1].name", "is missing", "text of 1 to 120",
    ),
    (
        HEAD + '[[sensitive]]\nname = "po\\u0007nd"\nbearing_from_deg = 20\nbearing_to_deg = 40\n',
        5, "sensitive[1].name", "cannot be shown", "correct",
    ),
    (HEAD + '[weather]\nfiles = "w.csv"\n', 5, "weather.files", "'w.csv'", "a list, each text"),
    (HEAD + "[advice]\nodds_threshold = 60\n", 5, "advice.odds_threshold", "60", "0.05 to 0.99"),
    (HEAD + "advice.odds_threshold = 60\n", 4, "advice.odds_threshold", "60", "0.05 to 0.99"),
    ("latitude = 1\nlongitude = 2\n", None, "name", "is missing", "text of 1 to 120"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "row", "key", "value", "allowed"), FAULTS)
def test_faults(
    tmp_path: Path, *, text: str, row: int | None, key: str, value: str, allowed: str
) -> None:
    with pytest.raises(InputError) as caught:
        read(tmp_path, text)
    error, words = caught.value, str(caught.value)
    assert error.exit_code == 2
    assert "\n" not in words
    assert "site.toml" in words
    assert error.row == row
    assert error.field == key
    assert value in words
    assert allowed in words
    assert error.remedy


def test_further_faults_are_counted(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="2 more after this"):
        read(tmp_path, HEAD.replace("38.7", "91") + 'units = "x"\nweeds = 3\n')


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"name = \n", "is not valid TOML"),
        (b"\xff\xfe\x00", "is not text in UTF-8"),
        (b"name = 1\n" * 200_000, "is too large"),
    ],
)
def test_files_that_are_no_site(tmp_path: Path, content: bytes, says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        load_site(written(tmp_path, content))
    assert caught.value.remedy


def test_a_path_as_windows_writes_it_names_the_remedy(tmp_path: Path) -> None:
    line = '[weather]\nfiles = ["C:\\sites\\station.csv"]\n'
    with pytest.raises(InputError, match="write a path with /, or between single quotes"):
        read(tmp_path, HEAD + line)
    site = read(tmp_path, HEAD + line.replace('"', "'"))
    assert site.weather.files[0].endswith("C:\\sites\\station.csv")


def test_absent_file_and_folder(tmp_path: Path) -> None:
    for path in (tmp_path / "none.toml", tmp_path):
        with pytest.raises(InputError, match=r"cannot be read.*windowcast init"):
            load_site(path)


def test_weather_files_are_taken_beside_the_site_file(tmp_path: Path) -> None:
    text = HEAD + '[weather]\nfiles = ["a.csv", "/data/b.csv:units=us"]\n'
    text += '[[weather.own]]\nfile = "logger.csv"\ntime_column = "t"\n'
    site = read(tmp_path, text)
    assert site.weather.files == (str(tmp_path / "a.csv"), "/data/b.csv:units=us")
    assert site.weather.own[0].file == str(tmp_path / "logger.csv")


def test_spans_of_hours() -> None:
    assert ClockSpan.parse("06:00-19:30") == ClockSpan(6 * 60, 19 * 60 + 30)
    for bad in ("6 to 7", "06:00Z-19:00", "06:00Z-19:00Z", "06:00-12:00-19:00"):
        with pytest.raises(ValueError, match="not a span"):
            ClockSpan.parse(bad)


def test_line_of_a_key() -> None:
    text = 'a = 1\n[t]\nb = 2\n"c d" = 3\n[[x.y]]\nz = 1\n[[x.y]]\nz = 2\n'
    assert line_of(text, ("a",)) == 1
    assert line_of(text, ("t", "b")) == 3
    assert line_of(text, ("t",)) == 2
    assert line_of(text, ("x", "y", 0, "z")) == 6
    assert line_of(text, ("x", "y", 1, "z")) == 8
    assert line_of(text, ("absent",)) is None


AREAS = """
name = "Two fields"
latitude = 33.5
longitude = -86.8
[turf]
species = "hybrid bermudagrass"
mature = true
overseeded = false
[[area]]
name = "greens"
size = "3 acre"
mowing_height_mm = 3
overseed = { state = "planned", date = 2026-10-10, species = "perennial ryegrass" }
[[area]]
name = "field 2"
established = 2026-08-15
established_by = "sod"
[[area.sensitive]]
name = "pond"
bearing_from_deg = 10.0
bearing_to_deg = 80.0
"""


def test_an_area_has_of_the_site_what_it_does_not_say_itself(tmp_path: Path) -> None:
    file = tmp_path / "site.toml"
    file.write_text(AREAS, "utf-8")
    site = load_site(file)
    greens, field = (site.of_area(area) for area in site.area)
    assert site.area[0].size_m2 == pytest.approx(3 * 4046.8564224)  # acre: NIST SP 811, 2008
    assert greens.turf.overseed is not None
    assert greens.turf.overseeded is None  # the site's short word is not kept beside it
    assert greens.turf.mature is True
    assert field.turf.mature is None  # how old it is, the area says as a whole
    assert field.turf.overseeded is False
    assert [one.name for one in field.sensitive] == ["pond"]
    assert not greens.sensitive
    assert "species" in greens.turf.model_fields_set  # said, if by the site


@pytest.mark.parametrize(
    ("old", "new", "field", "problem"),
    [
        ("3 acre", "3", "area[1].size", "has no unit"),
        ("3 acre", "3 lb", "area[1].size", "lb"),
        ('"field 2"', '"Greens"', "area", "two areas are called"),
        ('"greens"', '"greens, tees"', "area[1].name", "not allowed"),
        ("mowing_height_mm = 3", "mowing_height = 3", "area[1].mowing_height", "not a known key"),
        ("2026-08-15", "2126-08-15", "area[2].established", "lies after today"),
        ('established_by = "sod"', "mature = true", "area[2]", "contradict"),
    ],
)
def test_areas_that_cannot_be(tmp_path: Path, old: str, new: str, field: str, problem: str) -> None:
    file = tmp_path / "site.toml"
    file.write_text(AREAS.replace(old, new), "utf-8")
    with pytest.raises(InputError) as caught:
        load_site(file)
    assert str(caught.value.field).startswith(field)
    assert problem in str(caught.value)
