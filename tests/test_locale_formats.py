"""How each language writes numbers, dates and lists, held against the CLDR as Babel gives it."""

from __future__ import annotations

import datetime as dt

import pytest
from babel import Locale
from babel.dates import format_date, format_time
from babel.lists import format_list
from babel.numbers import format_decimal

from windowcast.core.phrase import LANGUAGES, Quantity
from windowcast.core.phrase import names as named
from windowcast.report.catalogue import Voice, catalogue, languages

# whose forms they are: Spanish as in Mexico and the southern United States, with a point for
# decimals; English of the United States, with the day first and no comma before "and"
LOCALES = {"en": "en_US", "es": "es_MX"}
LISTS = {**LOCALES, "en": "en_GB"}
DAYS = [dt.date(2025, month, 2 * month) for month in range(1, 13)]

both = pytest.mark.parametrize("lang", LANGUAGES)


def test_every_language_that_can_be_asked_for_has_its_texts() -> None:
    assert set(LANGUAGES) == set(languages()) == set(LOCALES)


@both
def test_names_of_months_and_weekdays(lang: str) -> None:
    locale, ours = Locale.parse(LOCALES[lang]), catalogue(lang).language
    for width, suffix in (("abbreviated", ""), ("wide", "_long")):
        months = locale.months["format"][width]
        assert ours[f"months{suffix}"] == [months[n] for n in range(1, 13)]
        days = locale.days["format"][width]
        assert ours[f"weekdays{suffix}"] == [days[n] for n in range(7)]


@both
def test_dates_and_clock(lang: str) -> None:
    voice, locale = Voice("metric", lang), LOCALES[lang]
    patterns = {"short": "d MMM", "full": "d MMM y", "weekday": "EEE d", "iso": "y-MM-dd"}
    for day in DAYS:
        for form, pattern in patterns.items():
            assert voice.write(day, form) == format_date(day, pattern, locale=locale)
    time = dt.datetime(2025, 11, 6, 9, 5)  # noqa: DTZ001 - a clock's face
    assert voice.write(time, "clock") == format_time(time, "HH:mm", locale=locale)


def test_the_long_date_of_spanish() -> None:
    for day in DAYS:
        said = format_date(day, "full", locale="es_MX")
        assert Voice("us", "es").write(day, "long") == said


@both
def test_numbers_and_plural_forms(lang: str) -> None:
    voice, locale = Voice("metric", lang), Locale.parse(LOCALES[lang])
    for number in (0.5, 12.25, 3.0, 870.5):
        assert voice.number(number, 2) == format_decimal(number, locale=locale)
    for number in (0, 1, 1.5, 2, 21, 100):
        assert catalogue(lang).plural(number) == locale.plural_form(number)


@both
def test_lists(lang: str) -> None:
    for items in (["a"], ["a", "b"], ["a", "b", "c"]):
        for join, style in (("and", "standard"), ("or", "or")):
            said = Voice("us", lang).write(named(*items, join=join))
            assert said == format_list(items, style=style, locale=LISTS[lang])


@pytest.mark.parametrize(
    ("items", "join", "said"),
    [(("prodiamine", "indaziflam"), "and", "prodiamine e indaziflam"),
     (("a", "hierba"), "and", "a y hierba"), (("soliva", "ortiga"), "or", "soliva u ortiga"),
     (("7", "8"), "or", "7 u 8"), (("10", "11"), "or", "10 u 11"),
     (("10", "110"), "or", "10 o 110")],
)  # fmt: skip
def test_and_and_or_change_before_their_own_sound(
    items: tuple[str, ...], join: str, said: str
) -> None:
    assert Voice("us", "es").write(named(*items, join=join)) == said
    assert " e " not in Voice("us", "en").write(named(*items, join=join))


def test_a_join_within_a_text_changes_too() -> None:
    voice, found = Voice("us", "es"), "limit.stops_seed"
    assert "pronto, e indaziflam detiene" in voice.say(found, what="indaziflam")
    assert "pronto, y prodiamine detiene" in voice.say(found, what="prodiamine")


def test_units_of_the_united_states_stand_in_spanish_as_signs() -> None:
    voice = Voice("us", "es")
    assert voice.write(Quantity(10.0, "degC")) == "50 °F"
    assert voice.write(Quantity(5.0, "m s-1")) == "11 mph"
