"""English that stands where it arises, in another language: errors, and notes beside values.

An error is worded where it is raised, and a science value carries its source and note beside it. So
their English is their id: ``<language>.toml`` holds it with ``{}`` for each value, and what the
language says instead, with the values in the same order. What no entry knows stays in English:
titles of papers, names, and errors that only those who work on the program meet
(docs/words_es.md). `tests/test_translated.py` compares the file with the code and the data.
"""

from __future__ import annotations

import re
from functools import cache

from windowcast.core.packaged import packaged_toml

_QUOTED = re.compile(r"('.*?':?) (.+)", re.DOTALL)  # what was typed, before what is wrong with it


def translated(text: str, lang: str) -> str:
    """An English text of an error or a note in a language; as it is where nothing is known.

    Examples
    --------
    >>> from windowcast.report.translated import translated
    >>> translated("'38 Nov' is not a date", "es")
    "'38 Nov' no es una fecha"
    """
    if lang == "en" or not text:
        return text
    known, patterns = _texts(lang)
    if text in known:
        return known[text]
    if (quoted := _QUOTED.fullmatch(text)) and (rest := translated(quoted[2], lang)) != quoted[2]:
        return f"{quoted[1]} {rest}"
    for pattern, instead in patterns:
        if found := pattern.fullmatch(text):
            return instead.format(*(translated(value, lang) for value in found.groups()))
    return text


@cache
def _texts(lang: str) -> tuple[dict[str, str], list[tuple[re.Pattern[str], str]]]:
    """Whole texts, and those with values in them, the most particular first."""
    every = packaged_toml("windowcast.report.translated", f"{lang}.toml")
    known = {english: text for part in every.values() for english, text in part.items()}
    open_ = sorted((e for e in known if "{}" in e), key=lambda e: -len(e.replace("{}", "")))
    patterns = [
        (re.compile("(.+)".join(map(re.escape, english.split("{}"))), re.DOTALL), known[english])
        for english in open_
    ]
    return known, patterns
