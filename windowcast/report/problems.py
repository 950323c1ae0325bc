"""Errors in a line for people, in their language: where, what is wrong, what to do."""

from __future__ import annotations

from windowcast.core.errors import InputError
from windowcast.report.catalogue import Voice
from windowcast.report.translated import translated


def problem_text(error: Exception, voice: Voice) -> str:
    """An error in one line, with what led to it."""
    said = str(error) if voice.lang == "en" else _other(error, voice)
    because = getattr(error, "because", ())
    return f"{said} ({'; '.join(map(voice.text, because))})" if because else said


def sentence_of(error: InputError, voice: Voice) -> str:
    """What is wrong and what to do, without file, row and field."""
    text = _clauses(error, voice.lang)
    return f"{text[:1].upper()}{text[1:]}."


def _other(error: Exception, voice: Voice) -> str:
    if not isinstance(error, InputError):
        return translated(str(error), voice.lang)
    row = voice.say("cli.row", row=error.row) if error.row is not None else ""
    place = [str(error.path or ""), row, error.field or ""]
    return " ".join(": ".join([*filter(None, place), _clauses(error, voice.lang)]).split())


def _clauses(error: InputError, lang: str) -> str:
    problem, remedy = (translated(part or "", lang) for part in (error.problem, error.remedy))
    return f"{problem}; {remedy}" if remedy else problem
