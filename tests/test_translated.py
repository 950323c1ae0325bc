"""Errors and notes in another language: every one that people meet, and each value in its place."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from error_texts import PACKAGE, raised

from windowcast.cli import main
from windowcast.core.errors import InputError
from windowcast.core.packaged import packaged_toml
from windowcast.core.phrase import LANGUAGES
from windowcast.core.values import STATUSES, Value, load
from windowcast.core.weed_codes import known
from windowcast.materials.actives import load_actives
from windowcast.report.catalogue import Voice
from windowcast.report.problems import problem_text, sentence_of
from windowcast.report.translated import translated
from windowcast.season.weeds import own_values

OTHERS = [lang for lang in LANGUAGES if lang != "en"]
CITED = ("published", "handbook")
NAMES = (
    r"Kentucky|Maryland|Ohio|Texas|Washington|California|Philippines|New Jersey|Derbyshire|\w+ \w+"
    r"|Ohio 2002-2004|Riverside, California|55 F|.*\d\d\d\d\)|Flessner.*:367"
)
LIBRARY = ("No such ", "Missing ", "Got unexpected", "Invalid value", "{} is not a valid",
           "{} is not in the range", "Option '{}", "Path '{}", "File '{}", "Permission denied",
           "Is a directory")  # fmt: skip

pytestmark = pytest.mark.parametrize("lang", OTHERS)


def table(lang: str, part: str) -> dict[str, str]:
    found: dict[str, str] = packaged_toml("windowcast.report.translated", f"{lang}.toml")[part]
    return found


def test_every_error_that_a_user_meets_has_its_text(lang: str) -> None:
    known = table(lang, "error")
    lacking = {f"{where} {text}" for where, text in raised() if text not in known}
    assert not lacking, "add it to windowcast/report/translated"


def test_no_text_is_left_of_an_error_that_is_raised_no_more(lang: str) -> None:
    """A longer piece of each still stands somewhere in the code, but for those of a library."""
    code = " ".join(path.read_text("utf-8") for path in PACKAGE.rglob("*.py"))
    code = re.sub(r'"\s*f?"|\\', "", code)  # texts that go over several lines
    gone = [
        english
        for english in table(lang, "error")
        if not english.startswith(LIBRARY)
        and (some := pieces(english))
        and not any(piece in code for piece in some)
    ]
    assert not gone


def pieces(english: str) -> tuple[str, ...]:
    """The longest run of words without a value, and without its first or last one."""
    words = max(re.split(r"\{\}|: | \(", english), key=len).split()
    return tuple(" ".join(some) for some in (words, words[1:], words[:-1]) if some)


def test_each_value_of_an_error_has_a_place(lang: str) -> None:
    for part in ("error", "note"):
        for english, text in table(lang, part).items():
            assert english.count("{}") == len(re.findall(r"\{\d?\}", text)), english
            assert text.strip(), english


def values() -> Iterator[Value]:
    """Every value that the pages of weeds and actives show."""
    for active in load_actives().values():
        yield from active.known().values()
    for code, weed in known().items():
        yield from (*weed.facts.values(), *own_values(code))


def test_every_remark_on_a_value_has_its_text(lang: str) -> None:
    """Citations stay as they are, and so do the names of places and authors alone."""
    said = table(lang, "note")
    free = {v.note for v in values()} | {v.source for v in values() if v.status not in CITED}
    free -= {"", *(text for text in free if re.fullmatch(NAMES, text))}
    assert not free - set(said)
    plots = load("trial_spread")
    spread = [*plots.table("treatment_site").values_below()]
    spread += [v for kind in ("percent", "ordinal", "count", "biomass")
               for v in plots.table(kind).values_below()]  # fmt: skip
    assert {v.source for v in spread} <= set(said)
    shown = (*values(), *load("barrier").values_below(), *spread)
    every = {str(text) for v in shown for text in (v.note, v.source, v.value)}
    assert not {text for text in said if "{}" not in text} - every - STATUSES


@pytest.mark.parametrize(
    ("english", "spanish"),
    [
        ("'38 Nov' is not a date", "'38 Nov' no es una fecha"),
        ("'2 kg': has no unit", "'2 kg': no tiene unidad"),
        ("'x' is not a weed we know; did you mean henbit (LAMAM)?",
         "'x' no es una maleza conocida aquí; ¿quiso decir henbit (LAMAM)?"),
        ("give a number from -66 to 66", "dé un número de -66 a 66"),
        ("correct it (2 more after this)", "corríjalo (y 2 más después de este)"),
        ("Weed Technology 25(1):1-7", "Weed Technology 25(1):1-7"),
        ("", ""),
    ],
)  # fmt: skip
def test_values_stay_and_words_change(lang: str, english: str, spanish: str) -> None:
    assert translated(english, lang) == spanish
    assert translated(english, "en") == english


def test_file_row_and_field_go_before_what_is_wrong(lang: str) -> None:
    error = InputError(
        "'x' is not a number", path="a.csv", row=3, field="tmax_f", remedy="correct it"
    )
    assert problem_text(error, Voice("us", lang)) == (
        "a.csv: fila 3: tmax_f: 'x' no es un número; corríjalo"
    )
    assert problem_text(error, Voice("us", "en")) == str(error)
    assert sentence_of(error, Voice("us", lang)) == "'x' no es un número; corríjalo."


@pytest.mark.parametrize("asked", [["--lang", "es"], ["--lang=es"], ["SITE"]])
def test_an_error_speaks_as_the_command_line_asks(
    lang: str, asked: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    site = tmp_path / "site.toml"
    site.write_text('language = "es"\nlatitude = "x"\n')
    words = ["rank", *(str(site) if word == "SITE" else word for word in asked), "--foo"]
    with pytest.raises(SystemExit) as end:
        main(words)
    assert end.value.code == 2
    assert "no existe la opción --foo" in capsys.readouterr().err
