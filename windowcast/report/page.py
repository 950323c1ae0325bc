"""The self-contained page: the same templates as the web application, with the styles inside."""

from __future__ import annotations

from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from windowcast.core.phrase import Name, Phrase, Value
from windowcast.core.units import Display
from windowcast.programme.answer import Answer
from windowcast.programme.model import SeasonPlan
from windowcast.report.answer_page import Words, answer_views
from windowcast.report.catalogue import render
from windowcast.report.plan_view import plan_view
from windowcast.windows.cautions import CAUTIONS

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates() -> Environment:
    """The templates, with everything escaped and every missing name an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("windowcast.web"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals["t"] = _said
    return made


def _said(key: str, **values: Value | str) -> str:
    """A text of the catalogue in a template; its words as given are names."""
    given = {k: Name(v) if isinstance(v, str) else v for k, v in values.items()}
    return render(Phrase(key, tuple(given.items())), unbroken=True)


@cache
def style_sheet() -> str:
    """The one style sheet."""
    path = resources.files("windowcast.web").joinpath("static", "windowcast.css")
    return path.read_text("utf-8")


def render_page(*answers: Answer) -> str:
    """The answers as one HTML file: no script, no outside host, readable on a phone and in print.

    At least one; of a site with areas one for each piece of its ground.
    """
    page = templates().get_template("page.html")
    views = answer_views(answers)
    return page.render(
        view=views[0],
        views=views,
        words=Words(Display(answers[0].ranking.units)),
        style=style_sheet(),
    )


def render_plan(*plans: SeasonPlan, sample: bool = False) -> str:
    """The season plan as one HTML file, like `render_page`; `sample` says so at the top."""
    return (
        templates()
        .get_template("plan_page.html")
        .render(
            plans=[plan_view(plan) for plan in plans],
            cautions=[render(caution) for caution in CAUTIONS],
            sample=sample,
            words=Words(Display(plans[0].units)),
            style=style_sheet(),
        )
    )
