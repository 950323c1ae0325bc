"""The review as a page: the same body as the web application's screen."""

from __future__ import annotations

from dataclasses import dataclass

from windowcast.core.units import Display, System
from windowcast.records.review import Review
from windowcast.report.answer_page import Words
from windowcast.report.chartkit import Chart
from windowcast.report.page import style_sheet, templates
from windowcast.report.trial_chart import control_chart, relation_chart


@dataclass(frozen=True)
class ReviewView:
    """What the review's template shows."""

    review: Review
    charts: tuple[Chart, ...]


def review_view(review: Review, units: System) -> ReviewView:
    """A review with its charts drawn."""
    drawn = [control_chart(r, f"trial-{n}") for n, r in enumerate(review.trials)]
    drawn += [relation_chart(r, f"relation-{n}", units) for n, r in enumerate(review.relations)]
    return ReviewView(review, tuple(chart for chart in drawn if chart is not None))


def render_review(review: Review, display: Display) -> str:
    """The review as one HTML file: no script, no outside host."""
    page = templates().get_template("review_page.html")
    return page.render(
        view=review_view(review, display.system), words=Words(display), style=style_sheet()
    )
