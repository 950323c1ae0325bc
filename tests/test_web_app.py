"""The screens and their forms, driven without a browser on made-up answers."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest
from log_fixtures import spoiled
from report_fixtures import HOSTILE
from web_fixtures import client, make_site, proof, send

from windowcast.core.errors import InputError, SourceUnreachableError
from windowcast.core.site import load_site
from windowcast.core.towns import search
from windowcast.core.turf import Sensitive
from windowcast.records.entry_checks import to_plain
from windowcast.records.model import SoilReading
from windowcast.records.store import SeasonLog
from windowcast.web.sites import SAMPLE_SLUG, KnownSite, SiteBook, slug_of

SCREENS = ("today", "season", "plan", "log", "review", "compare", "settings")


@pytest.mark.parametrize("screen", SCREENS)
def test_every_screen_is_there_for_the_sample_and_for_an_own_site(
    tmp_path: Path, screen: str
) -> None:
    browser = client(tmp_path)
    assert browser.get(f"/s/sample/{screen}").status_code == 200
    slug = make_site(tmp_path)
    page = browser.get(f"/s/{slug}/{screen}")
    assert page.status_code == 200
    assert "Before you spray" in page.text
    # files of our own read out the season's picture day by day, and today's hours check by check
    scripts = re.findall(r"<script[^>]*>", page.text)
    # and one keeps the last answer for when the server is away
    of = {"season": "season", "today": "hours"}.get(screen)
    wanted = [f'<script src="/static/{name}.js" defer>' for name in ("installed", of) if name]
    assert scripts == wanted
    assert " style=" not in page.text


def test_first_run_shows_the_sample_under_a_clear_label(tmp_path: Path) -> None:
    text = client(tmp_path).get("/").text
    assert "This is the sample." in text
    assert "Make this my site" in text
    make_site(tmp_path)
    assert "This is the sample." not in client(tmp_path).get("/").text


def test_a_site_is_made_from_the_form(tmp_path: Path) -> None:
    browser = client(tmp_path)
    done = send(
        browser, "/new", name="North Ground", latitude="36.0", longitude="-79.1", units="us",
        shown="us", turf__species="zoysiagrass", turf__use="sports", turf__overseeded="no",
        soil__texture="clay loam", weed__POAAN="yes", day__mon="yes", elevation_m="561",
        calendar__spray_hours="07:00-17:00", advice__odds_threshold="70",
        equipment__wind_max_m_s="8",
    )  # fmt: skip
    assert done.status_code == 303, done.text
    assert done.headers["location"] == "/s/north-ground/today?done=made"
    site = load_site(tmp_path / "north-ground.toml")
    assert site.turf.species == "zoysiagrass"
    assert site.turf.overseeded is False
    assert site.timezone == "America/New_York"
    assert site.weeds == ("POAAN",)
    assert site.calendar.spray_weekdays == ("mon",)
    assert site.advice.odds_threshold == pytest.approx(0.7)
    assert site.elevation_m == pytest.approx(561 * 0.3048)  # foot: NIST SP 811
    assert site.equipment.wind_max_m_s == pytest.approx(8 * 0.44704)  # mile per hour: same


def test_what_is_wrong_stands_beside_its_field_and_nothing_is_lost(tmp_path: Path) -> None:
    browser = client(tmp_path)
    done = send(
        browser, "/new", name="N", latitude="91", longitude="0", units="us", turf__use="golf",
        turf__species="zoysiagrass", soil__texture="loam", calendar__spray_hours="06:00-19:00",
    )  # fmt: skip
    assert done.status_code == 422
    assert 'aria-invalid="true"' in done.text
    assert 'id="f-latitude-wrong"' in done.text
    assert 'value="91"' in done.text
    assert not list(tmp_path.glob("*.toml"))


def test_every_field_left_empty_is_marked_at_once(tmp_path: Path) -> None:
    done = send(client(tmp_path), "/new", name="N", latitude="north")
    for name in ("latitude", "longitude", "units", "turf-species", "soil-texture"):
        assert f'id="f-{name}-wrong"' in done.text


def test_settings_keep_comments_and_keys_the_form_does_not_know(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    file = tmp_path / f"{slug}.toml"
    file.write_text(file.read_text() + "# my own remark\n", "utf-8")
    text = file.read_text().replace('forecast = "auto"', 'forecast = "none"')
    file.write_text(text, "utf-8")
    browser = client(tmp_path)
    done = send(
        browser, f"/s/{slug}/settings", name="Quinta do Teste", latitude="38.6", longitude="-9.1",
        units="us", turf__species="hybrid bermudagrass", turf__use="golf", soil__texture="sand",
        calendar__spray_hours="06:00-19:00", weed__DIGIS="yes", day__tue="yes",
        blackout__0__first="2023-11-08", blackout__0__reason="cup",
        sensitive__1__name="school", sensitive__1__bearing_from_deg="330",
        sensitive__1__bearing_to_deg="22.5",
    )  # fmt: skip
    assert done.status_code == 303, done.text
    site = load_site(file)
    assert site.turf.use == "golf"
    assert site.weather.forecast == "none"
    assert site.calendar.blackout[0].first == dt.date(2023, 11, 8)
    school = Sensitive(name="school", bearing_from_deg=330.0, bearing_to_deg=22.5)
    assert site.sensitive == (school,)
    assert "# my own remark" in file.read_text()
    again = browser.get(f"/s/{slug}/settings").text
    assert 'value="2023-11-08"' in again
    assert 'value="cup"' in again
    assert 'name="sensitive.0.bearing_to_deg" value="22.5"' in again


@pytest.mark.parametrize(
    ("bearing", "said"),
    [("", "Is missing"), ("north", "is not a number"), ("400", "give a number from 0 to 360")],
)
def test_a_wrong_bearing_is_told_at_its_field(tmp_path: Path, bearing: str, said: str) -> None:
    done = send(
        client(tmp_path), "/new", name="N", latitude="38.6", longitude="-9.1", units="metric",
        turf__species="hybrid bermudagrass", turf__use="golf", soil__texture="sand",
        calendar__spray_hours="06:00-19:00", weed__DIGIS="yes", day__tue="yes",
        sensitive__0__name="pond", sensitive__0__bearing_from_deg="20",
        sensitive__0__bearing_to_deg=bearing,
    )  # fmt: skip
    assert done.status_code == 422
    field = done.text.split('name="sensitive.0.bearing_to_deg"')[1].split("</td>")[0]
    assert 'aria-invalid="true"' in field
    assert said in field


def test_a_broken_site_file_is_shown_not_hidden(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_text("latitude = 200\n")
    make_site(tmp_path)
    browser = client(tmp_path)
    page = browser.get("/s/bad/today")
    assert page.status_code == 409
    assert "bad.toml" in page.text
    assert str(tmp_path) not in page.text
    assert "bad" in browser.get("/s/quinta-do-teste/today").text


def test_probe_reading_is_logged_edited_and_taken_back(tmp_path: Path) -> None:
    slug = make_site(tmp_path, units="us")
    browser = client(tmp_path)
    added = send(browser, f"/s/{slug}/log/new/probe", date="2023-11-05", depth_m="2", temp_c="61.7")
    assert added.status_code == 303, added.text
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        (stored,) = log.all(SoilReading)
    assert stored.entry.temp_c == pytest.approx(16.5)  # 61.7 °F
    assert stored.entry.depth_m == pytest.approx(0.0508)
    page = browser.get(f"/s/{slug}/log/{stored.id}").text
    assert 'value="61.7"' in page
    edited = send(
        browser, f"/s/{slug}/log/{stored.id}", date="2023-11-05", depth_m="2", temp_c="60.8",
        version="1",
    )  # fmt: skip
    assert edited.status_code == 303
    stale = send(
        browser, f"/s/{slug}/log/{stored.id}", date="2023-11-05", depth_m="2", temp_c="50",
        version="1",
    )  # fmt: skip
    assert stale.status_code == 422
    assert "changed by someone else" in stale.text
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        sound = stored.entry
        bad = spoiled(log, sound, "probe", {**to_plain(sound), "date": "0001-01-01"})
    page = browser.get(f"/s/{slug}/log").text
    assert f"{bad[:8]} is left out of every answer: date: 0001-01-01 is before 1950" in page
    assert browser.get(f"/s/{slug}/log/{bad}").status_code == 200
    send(browser, f"/s/{slug}/log/{bad}/remove", f"/s/{slug}/log")
    assert "is left out" not in browser.get(f"/s/{slug}/log").text
    history = browser.get(f"/s/{slug}/log/{stored.id}").text
    assert history.count("soil ") >= 2
    send(browser, f"/s/{slug}/log/{stored.id}/remove", f"/s/{slug}/log/{stored.id}", version="2")
    assert "The log is empty" in browser.get(f"/s/{slug}/log").text
    send(browser, f"/s/{slug}/log/undo", f"/s/{slug}/log")
    assert "60.8 °F" in browser.get(f"/s/{slug}/log").text


def test_an_application_gives_a_spray_record(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    added = send(
        browser, f"/s/{slug}/log/new/application", start="2023-11-03T10:15", area_m2="1.5",
        materials__0__active="Glyphosate", materials__0__rate_kg_ha="0.5", where="pitch 2",
        operator="A. N.", temp_c="12.5", purpose="post-early",
    )  # fmt: skip
    assert added.status_code == 303, added.text
    with SeasonLog(tmp_path / f"{slug}.log.sqlite") as log:
        (stored,) = log.entries("application")
    assert stored.entry.actives == ("glyphosate",)
    assert stored.entry.start.isoformat() == "2023-11-03T10:15:00+00:00"
    assert stored.entry.area_m2 == pytest.approx(15000)
    sheet = browser.get(f"/s/{slug}/log/{stored.id}/record").text
    assert "pitch 2" in sheet
    assert "Still to enter" in sheet


@pytest.mark.parametrize(
    ("kind", "fields", "beside"),
    [
        ("probe", {"date": "2023-11-05", "depth_m": "2"}, "f-temp_c-wrong"),
        ("probe", {"date": "soon", "depth_m": "2", "temp_c": "1"}, "f-date-wrong"),
        ("probe", {"date": "2033-11-05", "depth_m": "2", "temp_c": "1"}, "f-date-wrong"),
        ("probe", {"date": "2023-11-05", "depth_m": "-2", "temp_c": "1"}, "f-depth_m-wrong"),
        ("probe", {"date": "2023-11-05", "depth_m": "2", "temp_c": "warm"}, "f-temp_c-wrong"),
        ("count", {"date": "2023-11-05", "weed": "POAAN"}, "f-per_m2-wrong"),
        (
            "application",
            {"start": "2023-11-03T10:15", "materials.0.active": "glyfosat"},
            "f-materials-0-active-wrong",
        ),
        (
            "application",
            {"start": "2023-11-03T10:15", "materials.1.product": "x"},
            "f-materials-0-active-wrong",
        ),
    ],
)
def test_bad_entries_are_refused_beside_the_field(
    tmp_path: Path, kind: str, fields: dict[str, str], beside: str
) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    path = f"/s/{slug}/log/new/{kind}"
    answer = browser.post(path, data={"proof": proof(browser, path), **fields})
    assert answer.status_code == 422
    assert f'id="{beside}"' in answer.text
    assert "The log is empty" in browser.get(f"/s/{slug}/log").text


def test_hostile_notes_and_names_stay_text(tmp_path: Path) -> None:
    slug = make_site(tmp_path, name=HOSTILE)
    browser = client(tmp_path)
    send(browser, f"/s/{slug}/log/new/note", date="2023-11-05", text=HOSTILE)
    for screen in SCREENS:
        text = browser.get(f"/s/{slug}/{screen}").text
        assert "<script>alert" not in text
        assert "&lt;script&gt;" in text


def test_the_sample_keeps_no_log(tmp_path: Path) -> None:
    browser = client(tmp_path)
    assert browser.get("/s/sample/log/new/probe").status_code == 409
    assert browser.get("/api/sites/sample/log").status_code == 409


def test_no_weather_is_said_in_words_not_in_a_trace(tmp_path: Path) -> None:
    def unreachable(site: KnownSite) -> None:
        raise SourceUnreachableError("the archive did not answer; nothing is cached")

    make_site(tmp_path)
    browser = client(tmp_path, make=unreachable)  # type: ignore[arg-type]
    page = browser.get("/")
    assert page.status_code == 503
    assert "nothing is cached" in page.text
    assert browser.get("/calendar.ics").status_code == 503
    assert browser.get("/api/sites/quinta-do-teste/rank").json()["error"].startswith("the archive")


def test_a_fault_of_ours_gives_no_trace_away(tmp_path: Path) -> None:
    def faulty(site: KnownSite) -> None:
        raise RuntimeError("secret detail")

    make_site(tmp_path)
    for path in ("/", "/api/sites/quinta-do-teste/rank", "/message.txt"):
        page = client(tmp_path, make=faulty).get(path)  # type: ignore[arg-type]
        assert page.status_code == 500
        assert "secret" not in page.text
        assert "Traceback" not in page.text


@pytest.mark.parametrize(
    ("lang", "said"),
    [
        ("en", "There is no page at this address."),
        ("es", "No hay ninguna página en esta dirección."),
    ],
)
def test_an_address_that_is_none_is_said_in_words(tmp_path: Path, lang: str, said: str) -> None:
    answer = client(tmp_path).get(f"/no/such/page?lang={lang}")
    assert answer.status_code == 404
    assert said in answer.text
    program = client(tmp_path).get(f"/api/no?lang={lang}")
    assert program.json() == {"error": "There is no page at this address."}


def test_problem_messages_name_no_folders(tmp_path: Path) -> None:
    def bad_file(site: KnownSite) -> None:
        raise InputError("has no rows", path=tmp_path / "w" / "x.csv")

    make_site(tmp_path)
    page = client(tmp_path, make=bad_file).get("/")  # type: ignore[arg-type]
    assert page.status_code == 422
    assert "x.csv" in page.text
    assert str(tmp_path) not in page.text


def test_answers_are_made_once_until_something_changes(tmp_path: Path) -> None:
    from web_fixtures import made_up

    made: list[str] = []

    def counting(site: KnownSite) -> object:
        made.append(site.slug)
        return made_up(site)

    slug = make_site(tmp_path)
    browser = client(tmp_path, make=counting)  # type: ignore[arg-type]
    for _ in range(3):
        browser.get("/")
    assert made == [slug]
    send(browser, f"/s/{slug}/log/new/probe", date="2023-11-05", depth_m="5", temp_c="12")
    browser.get("/")
    assert made == [slug, slug]


def test_tank_sheet_matches_the_hand_calculation(tmp_path: Path) -> None:
    # by hand: 12 acre × 40 gal/acre = 480 gal: one load of 300 and one of 180 gal;
    # 16 fl oz/acre × 300/40 acre = 120 fl oz = 0.9375 gal in the full load
    page = client(tmp_path).get(
        "/s/sample/plan",
        params={
            "area": "12 acre", "carrier": "40 gal/acre", "tank": "300 gal",
            "p0.name": "glyphosate", "p0.rate": "16 fl oz/acre",
            "p0.concentration": "4 lb/gal", "p0.formulation": "SL",
        },
    )  # fmt: skip
    assert page.status_code == 200, page.text
    assert "480 gal" in page.text
    assert "120 fl oz" in page.text or "0.938 gal" in page.text


@pytest.mark.parametrize(
    ("query", "beside"),
    [
        ({"area": "12"}, "f-area-wrong"),
        ({"area": "-1 acre", "carrier": "40 gal/acre", "tank": "300 gal"}, ""),
        ({"area": "1 acre", "carrier": "40 lb/acre", "tank": "1 gal"}, "f-carrier-wrong"),
    ],
)
def test_bad_tank_input_is_told(tmp_path: Path, query: dict[str, str], beside: str) -> None:
    page = client(tmp_path).get("/s/sample/plan", params={"p0.name": "x", **query})
    assert page.status_code == 422
    assert beside in page.text


def test_uploaded_weather_is_read_kept_and_named(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    good = b"date,tmax_c,tmin_c,precip_mm\n2023-11-01,15,6,0\n2023-11-02,16,7,1.2\n"
    sent = browser.post(
        f"/s/{slug}/settings/upload",
        data={"proof": proof(browser, f"/s/{slug}/settings")},
        files={"file": ("../../My weather.csv", good)},
    )
    assert sent.status_code == 303, sent.text
    assert f'"{slug}-weather/My-weather.csv"' in (tmp_path / f"{slug}.toml").read_text()
    page = browser.get(f"/s/{slug}/settings").text
    assert "My-weather.csv" in page
    assert str(tmp_path) not in page
    assert (tmp_path / f"{slug}-weather" / "My-weather.csv").read_bytes() == good


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("x.exe", b"MZ"),
        ("x.csv", b""),
        ("x.csv", b"\x00\x01\x02" * 999),
        ("x.csv", b"a;b\n1;2\n"),
        (".csv", b"date,tmax_c\n"),
        ("x.csv.gz", b"\x1f\x8b broken"),
    ],
)
def test_uploads_that_are_no_weather_are_refused_and_not_kept(
    tmp_path: Path, name: str, content: bytes
) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    sent = browser.post(
        f"/s/{slug}/settings/upload",
        data={"proof": proof(browser, f"/s/{slug}/settings")},
        files={"file": (name, content)},
    )
    assert sent.status_code == 422
    assert str(tmp_path) not in sent.text
    assert not (tmp_path / f"{slug}-weather").exists()


def test_towns_are_found_offline_the_largest_first() -> None:
    # GeoNames (CC BY 4.0): Évora, Portugal, 38.57 N 7.91 W
    found = search("evora")
    assert (found[0].country, round(found[0].latitude, 1)) == ("PT", 38.6)
    assert search("springfield, mo")[0].region == "MO"
    assert search("x") == []


def test_a_town_fills_in_the_place(tmp_path: Path) -> None:
    page = client(tmp_path).get("/new", params={"place": "Évora", "town": "38.5667,-7.9"})
    assert 'value="38.5667"' in page.text
    assert 'value="Évora"' in page.text
    assert client(tmp_path).get("/new", params={"town": "nan,inf"}).status_code == 200


@pytest.mark.parametrize(
    ("name", "slug"),
    [
        ("Évora Golf & Sports", "evora-golf-sports"),
        ("../../etc/passwd", "etc-passwd"),
        ("", "site"),
        ("sample", "site"),
        ("日本", "site"),
    ],
)
def test_slugs_are_plain(name: str, slug: str) -> None:
    assert slug_of(name) == slug


def test_sites_of_one_name_get_addresses_of_their_own(tmp_path: Path) -> None:
    assert [make_site(tmp_path) for _ in range(2)] == ["quinta-do-teste", "quinta-do-teste-2"]
    assert [s.slug for s in SiteBook(tmp_path / "none").all()] == [SAMPLE_SLUG]


def test_one_file_alone_is_served_alone(tmp_path: Path) -> None:
    make_site(tmp_path)
    make_site(tmp_path, name="Other")
    book = SiteBook(tmp_path / "other.toml")
    assert [site.slug for site in book.all()] == ["other"]
    with pytest.raises(InputError, match="one site file only"):
        book.save("", name="x")


def test_a_row_number_cannot_blow_up_the_page(tmp_path: Path) -> None:
    # found by the fuzz: the form once offered as many rows as the highest number sent
    sent = send(client(tmp_path), "/new", name="N", blackout__99999999__first="2023-11-08")
    assert sent.status_code == 422
    assert len(sent.text) < 100_000


def test_a_page_is_sent_compressed_where_the_browser_takes_it(tmp_path: Path) -> None:
    browser = client(tmp_path)
    small = browser.get("/s/sample/today", headers={"accept-encoding": "gzip"})
    assert small.headers["content-encoding"] == "gzip"
    assert "accept-encoding" in small.headers["vary"].lower()
    assert int(small.headers["content-length"]) < len(small.content) / 3
    whole = browser.get("/s/sample/today", headers={"accept-encoding": "identity"})
    assert "content-encoding" not in whole.headers
