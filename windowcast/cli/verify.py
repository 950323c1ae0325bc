"""``windowcast verify``: measure the models against observations."""

from __future__ import annotations

import click

from windowcast.cli import LazyGroup

CHECKS: dict[str, tuple[str, str]] = {
    "soil": (
        "verify_models:soil",
        "Soil temperature against USCRN probes, beside simpler estimates.",
    ),
    "dates": ("verify_models:dates", "Replay past seasons and score the key dates told."),
    "odds": ("verify_odds", "Replay past seasons and score the odds."),
    "advice": ("verify_advice", "Live past seasons by the advice, against rules and hindsight."),
    "here": ("verify_here", "Forecasts and answers on record at your site against what came."),
    "turf": ("verify_models:turf", "Dormancy and green-up against dated sightings."),
    "emergence": ("verify_models:emergence", "Emergence curves against published figures."),
}


@click.group("verify", cls=LazyGroup, table=CHECKS)
def command() -> None:
    """Measure the models against observations."""
