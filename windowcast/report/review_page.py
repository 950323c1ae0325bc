"""The review as a page: the same body as the web application's screen."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from windowcast.core.units import Display, System
from windowcast.records.review import LATEST, Review
from windowcast.report.answer_page import Words
from windowcast.report.chartkit import Chart
from windowcast.report.page import style_sheet, templates
from windowcast.report.review_text import (
    evidence_in_order,
    label_text,
    looked_into,
    strength_text,
    worked_table,
)
from windowcast.report.trial_chart import control_chart, relation_chart


@dataclass(frozen=True)
class ReviewView:
    """What the review's template shows."""

    review: Review
    charts: tuple[Chart, ...]
    heads: list[str]
    rows: list[list[str]]

    looked_into = staticmethod(looked_into)
    evidence = staticmethod(evidence_in_order)
    label = staticmethod(label_text)
    strength = staticmethod(strength_text)


class ReviewBook:
    """The reviews of a site, a season at a time: each is made once, when it is asked for."""

    def __init__(self, make: Callable[[str], ReviewView]) -> None:
        self._make = make
        self._made: dict[str, ReviewView] = {}
        self._bodies: dict[tuple[str, Display], str] = {}
        self._lock = threading.Lock()

    def of(self, season: str = "") -> ReviewView:
        """The review that looks into a season, the latest for "" or a season that is not there."""
        with self._lock:
            if LATEST not in self._made:
                self._made[LATEST] = self._make(LATEST)
            latest = self._made[LATEST]
            if season == latest.review.season or season not in latest.review.seasons:
                return latest
            if season not in self._made:
                self._made[season] = self._make(season)
            return self._made[season]

    def body(self, season: str, display: Display) -> str:
        """What a page says of a season, as HTML: written once, since a long log takes long."""
        view = self.of(season)
        key = (view.review.season, display)
        if key not in self._bodies:
            self._bodies[key] = review_body(view, Words(display))
        return self._bodies[key]


def review_body(view: ReviewView, words: Words) -> str:
    """The body of a review's page: HTML in which every text is escaped."""
    return templates().get_template("review_body.html").render(view=view, words=words)


def review_view(review: Review, units: System) -> ReviewView:
    """A review with its charts drawn."""
    drawn = [control_chart(r, f"trial-{n}") for n, r in enumerate(review.trials)]
    drawn += [relation_chart(r, f"relation-{n}", units) for n, r in enumerate(review.relations)]
    heads, rows = worked_table(review.worked, units)
    return ReviewView(review, tuple(c for c in drawn if c is not None), heads, rows)


def render_review(review: Review, display: Display) -> str:
    """The review as one HTML file: no script, no outside host."""
    page = templates().get_template("review_page.html")
    return page.render(
        view=review_view(review, display.system), words=Words(display), style=style_sheet()
    )
