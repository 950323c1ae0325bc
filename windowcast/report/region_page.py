"""The comparison as one HTML file: maps, small multiples, a table that sorts."""

from __future__ import annotations

import base64
import hashlib
import math
from dataclasses import dataclass
from importlib import resources

from windowcast import __version__
from windowcast.region.compare import QUANTITIES, Compared, Gap, Summary, day_label
from windowcast.report.chartkit import Chart
from windowcast.report.page import style_sheet, templates
from windowcast.report.region_charts import dates_chart, map_chart, weeks_chart
from windowcast.windows.cautions import CAUTIONS
from windowcast.windows.model import PURPOSES
from windowcast.windows.purposes import purpose_of

MAPPED = ("soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")
TABLED = ("soil_21", "poaan_10", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")


@dataclass(frozen=True)
class Cell:
    """A table cell: what is read, and what it sorts by."""

    text: str
    sort: float


def region_page(data: Compared, summary: Summary, notes: tuple[str, ...] = ()) -> str:
    """The page; its one small script only sorts the table and is pinned by its hash."""
    script = resources.files("windowcast.web").joinpath("static", "sort.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return templates().get_template("compare_page.html").render(
        data=data,
        seasons=_seasons(data),
        maps=[map_chart(data, summary, q) for q in MAPPED],
        dates=[dates_chart(data, summary, q) for q in MAPPED],
        weeks=_weeks(data),
        heads=[QUANTITIES[q] for q in TABLED],
        rows=_rows(data, summary),
        gaps=[(QUANTITIES[g.quantity], g, _gap_words(g)) for g in summary.gaps],
        notes=notes,
        cautions=CAUTIONS,
        version=__version__,
        style=style_sheet(),
        script=script,
        script_hash=digest,
    )  # fmt: skip


def _seasons(data: Compared) -> str:
    if not len(data.seasons):
        return "no season"
    return f"{data.seasons[0]} to {data.seasons[-1]}"


def _weeks(data: Compared) -> list[Chart]:
    titles = {name: purpose_of(name).title for name in PURPOSES}
    return [weeks_chart(data, n, f"Workable days a week: {t}") for n, t in titles.items()]


def _rows(data: Compared, summary: Summary) -> list[tuple[str, str, list[Cell]]]:
    medians = {(n.station, n.quantity): n.normal.median for n in summary.normals}
    rows = []
    for i, station in enumerate(data.stations):
        lat, lon = (float(v) for v in data.places[i, :2])
        cells = [Cell(f"{lat:.2f}", lat), Cell(f"{lon:.2f}", lon)]
        for quantity in TABLED:
            day = medians[station, quantity]
            text = day_label(day, southern=lat < 0) or "cannot tell"
            cells.append(Cell(text, 1e9 if math.isnan(day) else day))
        rows.append((data.names[i], data.regions[i], cells))
    return rows


def _gap_words(gap: Gap) -> str:
    d = gap.difference
    if math.isnan(d.median):
        return f"cannot tell from {d.shared_years} shared years"
    if gap.quantity.startswith("cover"):
        numbers = [f"{100 * v:+.0f}" for v in (d.median, d.low, d.high)]
        unit = "points"
    else:
        numbers, unit = [f"{v:+.0f}" for v in (d.median, d.low, d.high)], "days"
    text = f"{numbers[0]} {unit} ({numbers[1]} to {numbers[2]}), {d.shared_years} shared years"
    return text.replace("-", "−")
