"""Sentences that count their subjects agree with the count."""

import pytest
from spoken import render

from windowcast.core.phrase import joined, say


@pytest.mark.parametrize(
    ("missing", "text"),
    [
        (("wind_m_s",), "No wind for the hours ahead: no window that needs it is rated fit."),
        (
            ("wind_m_s", "precip_mm"),
            "No wind or rain for the hours ahead: no window that needs them is rated fit.",
        ),
    ],
)
def test_what_is_lacking_is_it_or_them(missing: tuple[str, ...], text: str) -> None:
    what = joined(*(say(f"weather.needed.{name}") for name in missing), join="or")
    assert render(say("weather.hours_lack", what=what, number=len(missing))) == text


def test_one_year_is_not_one_years() -> None:
    assert render(say("plan.past_years", years=1)) == "Days without a forecast use 1 past year."
    assert render(say("plan.forecast", days=1)) == "The next day uses the forecast and its errors."
    assert render(say("plan.normals", seasons=2)) == "Normals use 2 whole seasons."
