"""Every other language says what English says, in words of its own that people can read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from string import Formatter

import pytest

from windowcast.core.phrase import Share
from windowcast.report.catalogue import Parts, Voice, catalogue, languages

OTHERS = [lang for lang in languages() if lang != "en"]
FORMS = {"", "bare", "both", "signed", "chance", "cap", "low", "sentence", "short", "day", "full",
         "long", "iso", "clock", "weekday", "month", "year"}  # fmt: skip
LONGEST = 30  # words of a sentence: Spanish needs about a fifth more of them than English

# texts that read the same in both: Latin words, names of commands, units, the word "no"
ALIKE = {
    "es": {
        "trace.finding", "window_verdict.marginal", "answer.marginal", "record.no", "form.no",
        "record.material", "chart.trial_control", "chart.control", "column.control",
        "review_of.control", "day_hours.stopped", "incoming_choice.units.metric",
        "region_short.cover_fall", "decide.row.effect", "decide.shut", "asked.agar",
        "service.mosmix", "service.metno",
        "science.no", "doctor_check.proxy", "doctor_check.extras", "doctor_check.terminal",
        "doctor.versions.good",
    },
}  # fmt: skip

# pattern → what to say instead (docs/words_es.md)
BANNED = {
    "es": {
        r"\bfumig\w*": "aplicar",
        r"\broci[ae]\w*": "aplicar",
        r"\bzacate\w*": "césped, pasto",
        r"\bmalas? hierbas?": "maleza",
        r"\bemergenci\w*": "nacencia",
        r"\bdorm(id|ancia)\w*": "latencia",
        r"\bpostemergente\w*": "posemergente",
        r"\bresiembra\w*": "sobresiembra",
        r"\bficheros?": "archivo",
        r"\bpronostic[oó] del tiempo\b": "pronóstico",
        r"\b(tú|tus|tu|vosotros|vuestr[oa]s?)\b": "usted, su",
        r"\bpor favor\b": "nothing",
    },
}

pytestmark = pytest.mark.parametrize("lang", OTHERS)


def spoken(parts: Parts) -> str:
    """A text with a word where each value stands."""
    return "".join(before + ("" if name is None else "siete") for before, name, _ in parts)


def texts(lang: str) -> Iterator[tuple[str, Parts]]:
    """Every text, each plural form for itself."""
    book = catalogue(lang)
    for key in book.raw:
        text = book.text(key)
        assert text is not None
        yield from ((key, parts) for parts in text.forms.values())


def test_ids_values_and_plural_forms_are_those_of_english(lang: str) -> None:
    english, book = catalogue("en"), catalogue(lang)
    assert list(book.raw) == list(english.raw), "the same texts in the same order"
    for key in english.raw:
        here, there = english.text(key), book.text(key)
        assert here is not None
        assert there is not None
        assert (here.count, here.names) == (there.count, there.names), key
        assert set(here.forms) == set(there.forms), key


def test_each_form_of_a_value_is_known_and_of_its_kind(lang: str) -> None:
    english = catalogue("en")
    cases = {"", "cap", "low", "sentence"}  # of a phrase, a matter of the language
    for key, parts in texts(lang):
        here = english.text(key)
        assert here is not None
        given: dict[str, set[str]] = {}
        for _, name, how in (p for all_ in here.forms.values() for p in all_):
            given.setdefault(name or "", set()).add(how)
        for _, name, how in parts:
            assert how in FORMS, (key, how)
            assert name is None or how in given.get(name, {""}) | cases, (key, name, how)


def test_no_text_is_left_in_english(lang: str) -> None:
    english, book = catalogue("en"), catalogue(lang)
    same = {
        key
        for key, raw in book.raw.items()
        if raw == english.raw[key]
        and re.search(r"[a-z]{2}", "".join(p[0] for p in Formatter().parse(str(raw))))
    }
    assert same == ALIKE[lang]


def test_no_text_says_what_the_glossary_rules_out(lang: str) -> None:
    said = [
        (key, spoken(parts), say)
        for key, parts in texts(lang)
        for pattern, say in BANNED[lang].items()
        if re.search(pattern, spoken(parts), re.IGNORECASE)
    ]
    assert not said


def test_sentences_are_short(lang: str) -> None:
    long = [
        sentence
        for _, parts in texts(lang)
        for sentence in re.split(r"(?<=[.?!])\s+", spoken(parts))
        if len(re.findall(r"[\w'’-]+", sentence)) > LONGEST
    ]
    assert not long


def syllables(word: str) -> int:
    """Of a Spanish word: runs of vowels, a strong or accented one beside another parting them."""
    return max(1, len(re.findall(r"[iuü]?[aeoáéó][iuy]?(?![íú])|[íú]|[iuü]+|y$", word.lower())))


def reading_ease(text: str) -> float:
    """Fernández-Huerta (1959), Consigna 214: 60 and more is plain Spanish."""
    parts = [part for part in re.split(r"(?<=[.?!:;])\s+", text) if re.search(r"\w", part)]
    words = re.findall(r"[^\W\d_]+", text)
    each = sum(map(syllables, words)) / len(words)
    return 206.84 - 60 * each - 1.02 * len(words) / len(parts)


@pytest.mark.parametrize("family", ["advice", "board", "caution", "decide", "delay", "limit"])
def test_the_board_reads_as_plain_spanish(lang: str, family: str) -> None:
    assert syllables("césped") == syllables("viento") == 2
    assert syllables("todavía") == syllables("aplicación") == 4
    said = [spoken(parts) for key, parts in texts(lang) if key.split(".")[0] == family]
    whole = " ".join(s if s.endswith((".", "?")) else f"{s}." for s in said)
    assert reading_ease(whole) >= 60


@pytest.mark.parametrize(
    ("share", "said"),
    [(0.04, "muy improbable (4 de cada 100)"), (0.28, "improbable (1 de cada 4)"),
     (0.5, "mitad y mitad (5 de cada 10)"), (0.71, "probable (7 de cada 10)"),
     (1.0, "muy probable (más de 99 de cada 100)")],
)  # fmt: skip
def test_a_chance_has_the_same_meaning(lang: str, share: float, said: str) -> None:
    assert Voice("us", lang).write(Share(share), "chance") == said
