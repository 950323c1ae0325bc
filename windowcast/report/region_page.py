"""The comparison as one HTML file: maps, small multiples, a table that sorts."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib import resources

from windowcast.core.version import __version__
from windowcast.region.columns import SHARE_COLUMNS
from windowcast.region.compare import Compared, Gap
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart
from windowcast.report.page import page_of, style_sheet
from windowcast.report.region_charts import dates_chart, listed_of, listing_note, map_chart
from windowcast.report.region_weeks import odds_chart, weeks_chart
from windowcast.report.region_words import day_said, quantity_named
from windowcast.windows.cautions import CAUTIONS
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

MAPPED = ("soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")
COMPARED = ("soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall", "cover_fall")
TABLED = ("soil_21", "poaan_10", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")


@dataclass(frozen=True)
class Cell:
    """A table cell: what is read, and what it sorts by."""

    text: str
    sort: float


@dataclass(frozen=True)
class GapCell:
    """A difference: its middle, interval and years, what it sorts by, whether it is beyond 0."""

    text: str
    beside: str
    sort: float
    sure: bool


def region_page(
    data: Compared, gaps: Iterable[Gap], voice: Voice, notes: tuple[str, ...] = ()
) -> str:
    """The page; it stops growing with the stations at some hundreds.

    Its one small script only sorts the table and is pinned by its hash.
    """
    script = resources.files("windowcast.web").joinpath("static", "sort.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return page_of("compare_page.html", voice,
        data=data,
        seasons=_seasons(data, voice),
        maps=[map_chart(data, q, voice) for q in MAPPED],
        dates=[dates_chart(data, q, voice) for q in MAPPED],
        weeks=_weeks(data, voice),
        heads=[voice.text(quantity_named(q)) for q in TABLED],
        gap_heads=[voice.text(quantity_named(q)) for q in COMPARED],
        rows=_rows(data, voice),
        listing=listing_note(data, voice),
        gaps=_gaps(gaps, voice),
        notes=notes,
        cautions=[voice.text(caution) for caution in CAUTIONS],
        version=__version__,
        style=style_sheet(),
        script=script,
        script_hash=digest,
    )  # fmt: skip


def _seasons(data: Compared, voice: Voice) -> str:
    if not len(data.seasons):
        return voice.say("region.no_season")
    first, last = str(data.seasons[0]), str(data.seasons[-1])
    return voice.say("region.seasons", first=first, last=last)


def _weeks(data: Compared, voice: Voice) -> list[tuple[Chart, Chart]]:
    found = []
    for name in PURPOSES:
        title = purpose_of(name).title
        weeks = weeks_chart(data, name, voice.say("region.weeks", purpose=title), voice)
        odds = odds_chart(data, name, voice.say("region.odds", purpose=title), voice)
        found.append((weeks, odds))
    return found


def _rows(data: Compared, voice: Voice) -> list[tuple[str, str, list[Cell]]]:
    """Name, region and cells of the stations that are listed."""
    listed = listed_of(data)
    lat, lon = (v[listed].tolist() for v in (data.latitude_deg, data.longitude_deg))
    cells = [[Cell(f"{v:.2f}", v) for v in column] for column in (lat, lon)]
    for quantity in TABLED:
        medians = data.normals(quantity).median[listed].tolist()
        cells.append(
            [_date_cell(d, voice, southern=at < 0) for d, at in zip(medians, lat, strict=True)]
        )
    texts = (data.texts(column, listed) for column in ("name", "region"))
    rows = zip(*texts, zip(*cells, strict=True), strict=True)
    return [(name, region, list(row)) for name, region, row in rows]


def _date_cell(day: float, voice: Voice, *, southern: bool) -> Cell:
    if not math.isfinite(day):
        return Cell(voice.say("window_verdict.cannot_tell"), 1e9)
    return Cell(day_said(day, voice, southern=southern), day)


def _gaps(gaps: Iterable[Gap], voice: Voice) -> list[tuple[str, str, list[GapCell]]]:
    """A row for each pair, a cell for each quantity."""
    pairs: dict[tuple[str, str], dict[str, Gap]] = {}
    for gap in gaps:
        pairs.setdefault((gap.first, gap.second), {})[gap.quantity] = gap
    return [
        (first, second, [_gap_cell(found[quantity], voice) for quantity in COMPARED])
        for (first, second), found in pairs.items()
    ]


def _gap_cell(gap: Gap, voice: Voice) -> GapCell:
    d = gap.difference
    if math.isnan(d.median):
        shared = voice.say("region.shared_years", years=d.shared_years)
        return GapCell(voice.say("window_verdict.cannot_tell"), shared, 1e9, False)
    percent = gap.quantity in SHARE_COLUMNS
    scale = 100 if percent else 1
    middle, low, high = (f"{scale * v:+.0f}".replace("-", "−") for v in (d.median, d.low, d.high))
    text = voice.say(f"region.apart_{'points' if percent else 'days'}", middle=middle)
    beside = voice.say("region.apart_beside", low=low, high=high, years=d.shared_years)
    return GapCell(text, beside, d.median, d.low > 0 or d.high < 0)
