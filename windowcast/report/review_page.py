"""The review as a page: the same body as the web application's screen."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass

from windowcast.records.review import LATEST, Review
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart
from windowcast.report.page import page_of, style_sheet
from windowcast.report.review_text import (
    evidence_in_order,
    label_text,
    looked_into,
    strength_text,
    timing_lines,
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
    timings: tuple[tuple[str, ...], ...] = ()  # of each trial, what only differs in timing

    looked_into = staticmethod(looked_into)
    evidence = staticmethod(evidence_in_order)
    label = staticmethod(label_text)
    strength = staticmethod(strength_text)


class ReviewBook:
    """The reviews of a site, a season at a time: each is made once, when it is asked for."""

    def __init__(self, make: Callable[[str, Voice], ReviewView]) -> None:
        self._make = make
        self._made: dict[tuple[str, Voice], ReviewView] = {}
        self._bodies: dict[tuple[str, Voice], str] = {}
        self._lock = threading.Lock()

    def of(self, season: str, voice: Voice) -> ReviewView:
        """The review that looks into a season, the latest for "" or a season that is not there."""
        with self._lock:
            latest = self._kept(LATEST, voice)
            if season == latest.review.season or season not in latest.review.seasons:
                return latest
            return self._kept(season, voice)

    def _kept(self, season: str, voice: Voice) -> ReviewView:
        if (season, voice) not in self._made:
            self._made[season, voice] = self._make(season, voice)
        return self._made[season, voice]

    def body(self, season: str, voice: Voice) -> str:
        """What a page says of a season, as HTML: written once, since a long log takes long."""
        view = self.of(season, voice)
        key = (view.review.season, voice)
        if key not in self._bodies:
            self._bodies[key] = review_body(view, voice)
        return self._bodies[key]


def review_body(view: ReviewView, voice: Voice) -> str:
    """The body of a review's page: HTML in which every text is escaped."""
    return page_of("review_body.html", voice, view=view)


def review_view(review: Review, voice: Voice) -> ReviewView:
    """A review with its charts drawn."""
    drawn = [control_chart(r, f"trial-{n}", voice) for n, r in enumerate(review.trials)]
    drawn += [relation_chart(r, f"relation-{n}", voice) for n, r in enumerate(review.relations)]
    heads, rows = worked_table(review.worked, voice)
    timings = tuple(tuple(timing_lines(result, voice)) for result in review.trials)
    return ReviewView(review, tuple(c for c in drawn if c is not None), heads, rows, timings)


def render_review(review: Review, voice: Voice) -> str:
    """The review as one HTML file: no script, no outside host."""
    return page_of("review_page.html", voice, view=review_view(review, voice), style=style_sheet())
