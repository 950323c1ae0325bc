"""The self-contained page: the same templates as the web application, with the styles inside."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from windowcast.core.phrase import Phrase, Value, say
from windowcast.programme.answer import Answer
from windowcast.programme.model import SeasonPlan
from windowcast.report import board, wording
from windowcast.report.answer_page import answer_views
from windowcast.report.catalogue import Voice
from windowcast.report.decision_table import decision_table
from windowcast.report.plan_view import plan_view
from windowcast.report.season_picture import season_picture
from windowcast.windows.decision import decide
from windowcast.windows.model import CAUTIONS, PURPOSES, Choice, PurposeOutlook
from windowcast.windows.purposes import purpose_of

if TYPE_CHECKING:
    from jinja2 import Environment


@dataclass(frozen=True)
class Words:
    """What templates say in a reader's units and language; no number is broken from its unit."""

    voice: Voice

    @property
    def said(self) -> Voice:
        """The voice; no number is broken from its unit."""
        return self.voice.unbroken

    def write(self, value: Value, form: str = "") -> str:
        """One value, as `Voice.write`."""
        return self.said.write(value, form)

    def text(self, phrase: Phrase) -> str:
        """A phrase."""
        return self.said.text(phrase)

    def texts(self, phrases: Iterable[Phrase]) -> list[str]:
        """Several phrases."""
        return [self.text(phrase) for phrase in phrases]

    def title(self, purpose: str) -> str:
        """A purpose's name within a sentence; what is no purpose stands as it is."""
        named = next((name for name in PURPOSES if name == purpose), None)
        if named is None:
            return purpose
        return self.text(say("purpose.within", title=purpose_of(named).title))

    def if_missed(self, outlook: PurposeOutlook) -> str:
        """What is lost where a purpose is left out."""
        return self.text(say(f"purpose.{outlook.purpose}.if_missed"))

    def tank_query(
        self, outlook: PurposeOutlook, areas: Sequence[str], choice: Choice | None = None
    ) -> str:
        """What a link to the tank sheet of an open purpose carries: purpose, ground and hours."""
        best = outlook.windows[0]
        actives = choice.actives if choice is not None else best.actives
        asked = {
            "purpose": outlook.purpose,
            "where": ", ".join(areas),
            "start": f"{best.start:%Y-%m-%dT%H:%M}",
            "end": f"{best.end:%Y-%m-%dT%H:%M}",
            "actives": "+".join(actives),
        }
        return urlencode({name: text for name, text in asked.items() if text})


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
    made.globals |= {
        "wording": wording, "board": board, "decide": decide, "decision_table": decision_table,
    }  # fmt: skip
    return made


def page_of(template: str, voice: Voice, **context: object) -> str:
    """A template filled in; ``t`` says a text of the catalogue there, ``words`` words phrases.

    Those of an answer come from `wording` and `board`.
    """
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
