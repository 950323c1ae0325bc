"""``windowcast actives`` and its page: everything known of an active, and what nobody says."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from html import escape
from pathlib import Path

import pytest
from click.testing import CliRunner
from web_fixtures import client

from windowcast.cli import cli
from windowcast.cli.output import voice_in
from windowcast.core.errors import InputError
from windowcast.core.turf import Species
from windowcast.materials.actives import load_actives
from windowcast.materials.label_values import TURF_STATES, species_key
from windowcast.report.active_facts import active_said, chosen, controlled, unknown

ACTIVES = load_actives()


def run(*words: str) -> str:
    result = CliRunner().invoke(cli, ["actives", *words], catch_exceptions=False)
    assert result.exit_code == 0
    return result.output


def test_one_active_shows_every_value_with_its_source_and_asks_for_the_rest() -> None:
    text = run("simazine")
    for value in ACTIVES["simazine"].known().values():
        assert f"{value.status}: {value.source}" in text
    assert "Ask your label: " in text
    assert "rain-free hours" not in text  # roots take it up: no answer asks
    assert "bahiagrass" in text.rsplit("Ask your label", 1)[1]


@pytest.mark.parametrize("name", list(ACTIVES))
def test_every_active_can_be_shown(name: str) -> None:
    said = active_said(ACTIVES[name], voice_in("us"))
    assert len(said.facts) == len(ACTIVES[name].known())
    assert all(fact.label and fact.value and fact.source and fact.status for fact in said.facts)
    shown = {fact.label for fact in said.facts}
    assert not shown & set(said.unknown.split(", "))


def test_filters_keep_only_what_a_source_says() -> None:
    def names(**asked: object) -> set[str]:
        return {active.name for active in chosen(ACTIVES.values(), **asked)}  # type: ignore[arg-type]

    assert names(weed="LAMAM") >= {"halauxifen", "glyphosate"}
    assert not names(weed="LAMAM") & {"2,4-D", "dicamba", "prodiamine"}
    assert names(kind="sedge") >= {"halosulfuron", "sulfentrazone", "trifloxysulfuron"}
    assert not names(kind="broadleaf") & {"clethodim", "imazosulfuron"}
    assert names(group=30) == {"methiozolin"}
    assert names(species="zoysiagrass", state="dormant") >= {"glyphosate", "triclopyr"}
    assert names(species="zoysiagrass", state="green") >= {"triclopyr", "halosulfuron"}
    assert not names(species="zoysiagrass", state="green") & {"glyphosate", "prodiamine"}
    assert names(weed="POAAN", species="zoysiagrass", state="green") == {
        "foramsulfuron", "trifloxysulfuron",
    }  # fmt: skip


@pytest.mark.parametrize("species", [str(s) for s in Species])
def test_a_greener_state_never_permits_more_and_memory_permits_nothing(species: str) -> None:
    for active in ACTIVES.values():
        said = [active.taken_by(species, state) for state in TURF_STATES[1:]]
        permitted = [one == "yes" for one in said]
        assert permitted == sorted(permitted, reverse=True)
        entry = active.turf.get(species_key(species))
        if entry is None or entry.status == "from memory":
            assert "yes" not in said
        if entry is not None and entry.value == "never":
            assert set(said) == {"no"}


def test_a_list_for_a_turf_says_in_which_state_it_takes_each() -> None:
    said = re.sub(r"\n  +", " ", run("--turf", "zoysiagrass"))  # each with the lines below it
    lines = {line.split(":")[0]: line for line in said.splitlines() if line}
    assert "only when fully dormant" in lines["glyphosate"]
    assert "dormant or semi-dormant" in lines["simazine"]
    assert "this turf" not in run("--group", "9")


@pytest.mark.parametrize("lang", ["en", "es"])
def test_an_active_begins_a_line_and_the_rest_is_indented(lang: str) -> None:
    said = CliRunner().invoke(cli, ["actives", "--lang", lang], env={"COLUMNS": "80"}).output
    heads = [line for line in said.splitlines()[:-2] if not line.startswith("  ")]
    assert [head.partition(":")[0] for head in heads] == list(ACTIVES)
    assert max(map(len, said.splitlines())) <= 80


@pytest.mark.parametrize("name", ["prodiamine", "simazine"])
def test_values_and_status_are_in_the_readers_language(name: str) -> None:
    said = CliRunner().invoke(cli, ["actives", name, "--lang", "es"]).output
    for english in ("from memory", "published:", " to ", "translocated", ": yes", "kg ha-1",
                    "typical label"):  # fmt: skip
        assert english not in re.sub(r"\n +(publicado|manual): .*(\n {6}.*)*", "", said)
    assert "de memoria: frase usual de etiquetas" in said


def test_as_data_and_from_the_stock_of_a_site(tmp_path: Path) -> None:
    (row,) = json.loads(run("2,4-d", "--format", "json"))
    assert row["controls"] == list(controlled(ACTIVES["2,4-D"]))
    assert row["values"]["group"]["value"] == 4
    assert row["unknown"] == list(unknown(ACTIVES["2,4-D"]))
    site = tmp_path / "site.toml"
    site.write_text(
        'name = "P"\nlatitude = 33.5\nlongitude = -86.8\nelevation_m = 190.0\n'
        'stock = ["2,4-D+dicamba", "prodiamine"]\nmaterials_file = "own.toml"\n'
    )
    (tmp_path / "own.toml").write_text("[dicamba]\nrain_free_h = 4\n")
    rows = json.loads(run("--stock", "--site", str(site), "--format", "json"))
    assert [row["name"] for row in rows] == ["2,4-D", "dicamba", "prodiamine"]
    assert rows[1]["values"]["rain_free_h"]["yours"] is True
    text = run("dicamba", "--site", str(site))
    assert "rain-free hours: 4 h" in text
    assert "label guidance" in text


def test_what_cannot_be_asked_is_said_in_one_line() -> None:
    for words, said in (
        (["--turf", "moss"], "'moss' is no turf known here"),
        (["--state", "green"], "--state"),
        (["--stock"], "--stock"),
        (["--weed", "xyz"], "'xyz' is not a weed we know"),
        (["glifosate"], "close: .*glyphosate"),
    ):
        with pytest.raises(InputError, match=said):
            CliRunner().invoke(cli, ["actives", *words], catch_exceptions=False)


def test_help_reads_no_table() -> None:
    code = (
        "import sys\nfrom windowcast.cli import main\n"
        "try:\n    main(['actives', '--help'])\nexcept SystemExit:\n    pass\n"
        "print('windowcast.materials.actives' in sys.modules, file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr.strip() == "False"


def test_the_page_shows_every_active_and_links_lead_there(tmp_path: Path) -> None:
    browser = client(tmp_path)
    text = browser.get("/actives").text
    for active in ACTIVES.values():
        assert f'id="{active.name.replace(" ", "-")}"><a href="/actives/' in text
    one = browser.get("/actives/2,4-D").text
    for value in ACTIVES["2,4-D"].known().values():
        assert escape(value.source) in one
    assert browser.get("/actives/no%20such").status_code == 404
    assert 'href="/actives"' in browser.get("/weeds").text
