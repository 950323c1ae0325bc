"""Which language a reader gets: what is asked for, the site file, the browser, English."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from web_fixtures import client, make_site, send

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.core.site import load_site
from windowcast.web.context import LANGUAGE_COOKIE

SPANISH = 'language = "es"\n'


def spanish_site(folder: Path) -> str:
    """A site whose file asks for Spanish; its slug."""
    slug = make_site(folder)
    file = folder / f"{slug}.toml"
    file.write_text(SPANISH + file.read_text("utf-8"), "utf-8")
    return slug


def said(page: str) -> str:
    """The language a page says it is written in."""
    return page.partition('<html lang="')[2][:2]


# ---- commands ---------------------------------------------------------------------------------


def test_the_option_rules_over_the_site_file_and_that_over_english(tmp_path: Path) -> None:
    site = tmp_path / f"{spanish_site(tmp_path)}.toml"
    plain = tmp_path / "plain" / "plain.toml"
    plain.parent.mkdir()
    plain.write_text(site.read_text("utf-8").removeprefix(SPANISH), "utf-8")

    def first(file: Path, *more: str) -> str:
        done = CliRunner().invoke(cli, ["actives", "--site", str(file), "prodiamine", *more])
        assert done.exit_code == 0, done.output
        return done.output

    assert "preemergente" in first(site) or "malezas" in first(site)
    assert first(site, "--lang", "en") == first(plain)
    assert first(plain, "--lang", "es") == first(site) != first(plain)


def test_no_environment_is_asked_for_a_language(monkeypatch: pytest.MonkeyPatch) -> None:
    english = CliRunner().invoke(cli, ["weeds"]).output
    for name in ("LANG", "LC_ALL", "LANGUAGE"):
        monkeypatch.setenv(name, "es_MX.UTF-8")
    assert CliRunner().invoke(cli, ["weeds"]).output == english
    assert CliRunner().invoke(cli, ["weeds", "--lang", "es"]).output != english


COMMANDS = [["rank"], ["season"], ["plan"], ["watch"], ["weeds"], ["actives"], ["review"],
            ["tank", "sheet"], ["tank", "active"], ["log", "show"], ["log", "list"],
            ["log", "add"]]  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS, ids=" ".join)
def test_a_language_that_is_not_spoken_here_is_refused_in_a_line(
    command: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as stopped:
        main([*command, "--lang", "fr"])
    assert stopped.value.code == 2
    out, err = capsys.readouterr()
    assert not out
    assert err.count("\n") == 1
    assert "'fr' is not one of 'en', 'es'" in err


def test_a_site_file_may_only_name_a_language_spoken_here(tmp_path: Path) -> None:
    site = tmp_path / f"{spanish_site(tmp_path)}.toml"
    assert load_site(site).language == "es"
    site.write_text(site.read_text("utf-8").replace('"es"', '"fr"', 1), "utf-8")
    with pytest.raises(InputError, match="language"):
        load_site(site)


# ---- pages ------------------------------------------------------------------------------------


def test_a_page_is_in_the_language_asked_for_then_kept_then_the_sites_then_the_browsers(
    tmp_path: Path,
) -> None:
    slug, own = make_site(tmp_path), spanish_site(tmp_path / "own")
    place, german = f"/s/{slug}/log", {"accept-language": "de-AT,de;q=0.9"}
    spanish = {"accept-language": "de, es-MX;q=0.8, en;q=0.3"}
    browser = client(tmp_path)
    assert said(browser.get(place).text) == "en"
    assert said(browser.get(place, headers=german).text) == "en"
    assert said(browser.get(place, headers=spanish).text) == "es"
    assert said(browser.get(f"{place}?lang=fr", headers=spanish).text) == "es"
    asked = browser.get(f"{place}?lang=es")
    assert said(asked.text) == "es"
    cookie = asked.headers["set-cookie"]
    assert f"{LANGUAGE_COOKIE}=es" in cookie
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()
    assert said(browser.get(place).text) == "es", "kept"
    assert said(browser.get(f"{place}?lang=en").text) == "en"
    assert said(browser.get(place, headers=spanish).text) == "en", "kept"
    other = client(tmp_path / "own")
    assert said(other.get(f"/s/{own}/log", headers={"accept-language": "en"}).text) == "es"
    assert said(other.get(f"/s/{own}/log?lang=en").text) == "en"


def test_what_is_no_language_list_is_english(tmp_path: Path) -> None:
    for header in ("", "es;q=0", "es;q=nan", "es;q=x", ";;,,q=", "*", "e" * 5000):
        page = client(tmp_path).get("/weeds", headers={"accept-language": header})
        assert said(page.text) == "en", header


def test_each_page_offers_itself_in_the_other_language(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    page = client(tmp_path).get(f"/s/{slug}/plan?area=2+acre&done=saved").text
    assert f'href="/s/{slug}/plan?area=2+acre&amp;lang=es" lang="es" hreflang="es">Español' in page
    assert 'lang=en" lang="en" hreflang="en" aria-current="true">English' in page
    refused = send(client(tmp_path), f"/s/{slug}/plan/log", f"/s/{slug}/log/new/note")
    assert f'href="/s/{slug}/plan?lang=es"' in refused.text


def test_calendar_message_and_page_file_follow(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    for file in ("calendar.ics", "message.txt", "page.html"):
        place = f"/s/{slug}/{file}"
        english, spanish = browser.get(place).text, browser.get(f"{place}?lang=es").text
        assert english != spanish
        assert "osemergente" in spanish
        assert "osemergente" not in english
    shown = browser.get(f"/s/{slug}/today?lang=es").text
    assert f"/s/{slug}/calendar.ics?lang=es" in shown, "a calendar program keeps no cookie"


def test_programs_get_the_sites_language_whatever_the_browser(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    browser.cookies.set(LANGUAGE_COOKIE, "es")
    place = f"/api/sites/{slug}/rank?format=text"
    plain = browser.get(place, headers={"accept-language": "es"}).text
    assert "osemergente" not in plain
    assert "osemergente" in browser.get(f"{place}&lang=es").text
    assert browser.get(f"{place}&lang=fr").status_code == 422
    own = spanish_site(tmp_path / "own")
    answered = client(tmp_path / "own").get(f"/api/sites/{own}/rank?format=text").text
    assert "osemergente" in answered


def test_the_settings_form_keeps_the_language_in_the_site_file(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser, file = client(tmp_path), tmp_path / f"{slug}.toml"
    fields = {"name": "Quinta do Teste", "latitude": "38.6", "longitude": "-9.1",
              "units": "metric", "turf.use": "sports", "turf.species": "hybrid bermudagrass",
              "soil.texture": "loam", "calendar.spray_hours": "06:00-19:00"}  # fmt: skip
    for chosen, kept in (("es", "es"), ("", None)):
        done = send(browser, f"/s/{slug}/settings", language=chosen, **fields)
        assert done.status_code == 303, done.text
        assert load_site(file).language == kept


def test_weeds_and_the_items_of_a_spray_record_are_named_in_spanish(tmp_path: Path) -> None:
    listed = CliRunner().invoke(cli, ["weeds", "--lang", "es"]).output
    assert "pamplina" in listed
    assert "chickweed" not in listed
    file = tmp_path / "s.log.sqlite"
    words = ["application", "start=2025-12-03 10:15+00:00", "active=glyphosate 0.5 lb/acre"]
    kept = ["--log", str(file), "--lang", "es"]
    assert CliRunner().invoke(cli, ["log", "add", *words, *kept]).exit_code == 0
    entry = CliRunner().invoke(cli, ["log", "list", *kept]).output[:8]
    shown = CliRunner().invoke(cli, ["log", "show", entry, *kept]).output
    assert "Registro de aplicación\n---" in shown
    assert "Nombre del aplicador certificado" in shown
    assert "Falta anotar:" in shown
    assert "applicator" not in shown
