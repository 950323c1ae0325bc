"""The self-contained page: the same templates as the web application, with the styles inside."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from windowcast.programme.answer import Answer
from windowcast.programme.model import SeasonPlan
from windowcast.report.answer_page import Words, answer_views
from windowcast.report.catalogue import Voice
from windowcast.report.plan_view import plan_view
from windowcast.report.season_picture import season_picture
from windowcast.windows.model import CAUTIONS

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates() -> Environment:
    """The templates, with everything escaped and every missing name an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    return Environment(
        loader=PackageLoader("windowcast.web"),
        autoescape=True,
        undefined=StrictUndefined,
        auto_reload=False,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def page_of(template: str, voice: Voice, **context: object) -> str:
    """A template filled in; ``t`` says a text of the catalogue there, ``words`` words results."""
    words = Words(voice)
    return templates().get_template(template).render(words=words, t=words.said.say, **context)


@cache
def style_sheet() -> str:
    """The one style sheet."""
    return _static("windowcast.css")


@cache
def region_style() -> str:
    """The style sheet with what only a comparison of regions needs."""
    return style_sheet() + _static("regions.css")


def _static(name: str) -> str:
    path = resources.files("windowcast.web").joinpath("static", name)
    return path.read_text("utf-8")


def render_page(*answers: Answer, plans: Sequence[SeasonPlan], voice: Voice) -> str:
    """The answers as one HTML file: no script, no outside host, readable on a phone and in print.

    At least one; of a site with areas one for each piece of its ground. `plans` are theirs.
    """
    voice = voice.on_page
    views = answer_views(answers, voice)
    pictures = [
        season_picture(answer, plan, voice, f"-{n}" if n else "")
        for n, (answer, plan) in enumerate(zip(answers, plans, strict=True))
    ]
    style = style_sheet()
    return page_of("page.html", voice, view=views[0], views=views, pictures=pictures, style=style)


def render_plan(*plans: SeasonPlan, voice: Voice, sample: bool = False) -> str:
    """The season plan as one HTML file, like `render_page`; `sample` says so at the top."""
    voice = voice.on_page
    return page_of(
        "plan_page.html",
        voice,
        plans=[plan_view(plan, voice) for plan in plans],
        cautions=[voice.text(caution) for caution in CAUTIONS],
        sample=sample,
        style=style_sheet(),
    )
