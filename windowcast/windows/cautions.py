"""What every output says beside its advice, in one place."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "The label in hand is the law and overrides anything here; your state or country decides.",
    "Scores judge weather and timing only: a licensed applicator decides on site, by wind meter.",
    "Stop when wind turns towards people, water or gardens, or when smoke or dust hangs flat.",
    "Keep the label's distance from water, wells and drains; never spray ground that sheds water.",
    "Nobody enters before the label's re-entry time and dry turf; close fields children play on.",
)
