"""The comparison as one HTML file: what was found, in sentences and pictures, then the tables."""

from __future__ import annotations

import base64
import hashlib
import math
import re
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources

import numpy as np
from markupsafe import Markup, escape

from windowcast.core.phrase import Noted
from windowcast.core.version import __version__
from windowcast.region.columns import SHARE_COLUMNS
from windowcast.region.compare import Compared
from windowcast.region.regional import Between, Region, WeeksBetween
from windowcast.report.catalogue import Voice
from windowcast.report.chartkit import Chart
from windowcast.report.page import page_of, region_style
from windowcast.report.region_charts import (
    dates_chart,
    listed_of,
    listing_note,
    odds_chart,
    weeks_chart,
)
from windowcast.report.region_findings import Findings, shows
from windowcast.report.region_map import Placed, map_chart
from windowcast.report.region_ribbons import (
    Ribbon,
    Strip,
    Winter,
    ribbons,
    shades_said,
    strip,
    winter_of,
)
from windowcast.report.region_station import links
from windowcast.report.region_story import left_out_line, story, sub_line, weekly_limit
from windowcast.report.region_words import (
    day_said,
    failing_named,
    gap_said,
    quantity_named,
    signed,
    unparted,
    why_said,
)
from windowcast.windows.model import CAUTIONS, PURPOSES
from windowcast.windows.purposes import purpose_of

MAPPED = ("soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")
COMPARED = ("soil_21", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall", "cover_fall")
TABLED = ("soil_21", "poaan_10", "poaan_50", "dormant", "greenup", "digis_10", "barrier_fall")
COLOURS = 6  # told apart by eye
_STRIPS = 2  # seen at once
MOST_PAIRS = 10  # whose ribbons are drawn
MOST_STRIPS = 40  # regions whose winters are drawn
MOST_GAPS = 200  # pairs in the table of differences


@dataclass(frozen=True)
class Cell:
    """A table cell: what is read, and what it sorts by."""

    text: str
    sort: float


@dataclass(frozen=True)
class GapCell:
    """A difference: its middle, interval and seasons, what it sorts by, whether it shows."""

    text: str
    beside: str
    sort: float
    sure: bool


@dataclass(frozen=True)
class StripView:
    """A strip with what is said of winters that failed or were not judged; "" where none."""

    chart: Chart
    number: int
    failed: str
    unjudged: str


def region_page(data: Compared, told: Findings, voice: Voice) -> str:
    """The page; it stops growing with the stations at some hundreds.

    Its one small script only sorts the tables and is pinned by its hash.
    """
    script, script_hash = sorting_script()
    voice = voice.on_page
    said = story(told)
    numbers = {region.name: n % COLOURS for n, region in enumerate(told.regions)}
    colours = {str(voice.write(told.name(r))): numbers[r.name] for r in told.regions}
    winter = _winter(told)
    pairs = _pairs(told, winter, numbers, voice)
    drawn = _by_pair(told)[:MOST_STRIPS]
    strips = [_strip(r, told, numbers[r.name], winter, voice) for r in drawn]
    own = links(data)
    return page_of("compare_page.html", voice,
        data=data,
        title=voice.text(said.title) or voice.say("region.compared", stations=len(data)),
        lines=[_coloured(unparted(voice.text(line)), colours) for line in said.lines],
        sub=sub_line(data, told, voice),
        left_out=left_out_line(data, voice),
        left=[(each.name, voice.write(Noted(each.reason))) for each in data.left_out],
        pairs=pairs,
        strips=[s for s in strips if s][:_STRIPS],
        other_strips=[s for s in strips if s][_STRIPS:],
        limits=_limits(told, voice),
        shades=shades_said(voice),
        map=map_chart(data, MAPPED, own, _placed(data, told, numbers, voice), voice),
        dates=[dates_chart(data, q, voice) for q in MAPPED],
        weeks=_weeks(data, voice),
        heads=[unparted(voice.text(quantity_named(q))) for q in TABLED],
        gap_heads=[unparted(voice.text(quantity_named(q))) for q in COMPARED],
        unparted=unparted,
        rows=_rows(data, own, voice),
        listing=listing_note(data, voice),
        gaps=_gaps(told, voice),
        notes=[voice.write(Noted(note)) for note in data.notes],
        cautions=[voice.text(caution) for caution in CAUTIONS],
        version=__version__,
        style=region_style(),
        script=script,
        script_hash=script_hash,
    )  # fmt: skip


@cache
def sorting_script() -> tuple[str, str]:
    """The script that sorts tables, and what pins it in a Content-Security-Policy."""
    script = resources.files("windowcast.web").joinpath("static", "sort.js").read_text("utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    return script, f"sha256-{digest}"


def _coloured(text: str, colours: dict[str, int]) -> Markup:
    """A sentence with the names of regions in their colours."""
    names = sorted(colours, key=len, reverse=True)
    if len(names) < 2:
        return escape(text)
    parts = re.split(f"({'|'.join(map(re.escape, names))})", text)
    marked = [
        Markup('<b class="name r{}">{}</b>').format(colours[part], part) if n % 2 else escape(part)
        for n, part in enumerate(parts)
    ]
    return Markup("").join(marked)


def _winter(told: Findings) -> Winter:
    """The weeks to draw, by the hemisphere of the first region."""
    means = [region.weekly.mean for region in told.regions if region.weekly is not None]
    southern = bool(told.regions) and told.regions[0].southern
    return winter_of(means, southern=southern)


@dataclass(frozen=True)
class CutShort:
    """What the page leaves out where there are many regions, in words; "" where nothing."""

    pairs: str
    strips: str
    gaps: str


def _limits(told: Findings, voice: Voice) -> CutShort:
    """What is drawn and listed of how much."""
    regions, weekly = len(told.regions), len(told.regional.weeks_between)

    def said(what: str, shown: int, of: int) -> str:
        return voice.say(f"region_limit.{what}", shown=shown, of=of) if shown < of else ""

    drawn, compared = said("drawn", MOST_PAIRS, weekly), weekly_limit(told, voice)
    return CutShort(
        " ".join(filter(None, (drawn, compared))),
        said("strips", MOST_STRIPS, regions),
        said("gaps", MOST_GAPS, math.comb(regions, 2)),
    )


def _by_pair(told: Findings) -> list[Region]:
    """The regions, those that differ most first."""
    pair = told.main_pair or ()
    return [*pair, *(region for region in told.regions if region not in pair)]


def _pairs(told: Findings, winter: Winter, numbers: dict[str, int], voice: Voice) -> list[Chart]:
    """Ribbons of the pair that differs most, then of other pairs; of a single region alone."""
    known = {
        region.name: Ribbon(
            str(voice.write(told.name(region))),
            numbers[region.name],
            region.weekly,
            region.southern,
        )
        for region in told.regions
        if region.weekly is not None
    }
    if len(told.regions) == 1:
        return [ribbons(list(known.values()), None, winter, voice)] if known else []
    pair = told.main_pair
    first = {region.name for region in pair} if pair else set()
    weeks = [w for w in told.regional.weeks_between if w.first in known and w.second in known]
    weeks.sort(key=lambda w: -told.apart_by(w.first, w.second))
    weeks.sort(key=lambda w: {w.first, w.second} != first)
    charts: list[Chart] = []
    for found in weeks[:MOST_PAIRS]:
        opposite = pair is not None and (found.second, found.first) == (pair[0].name, pair[1].name)
        apart = _turned(found) if opposite else found
        one, other = known[apart.first], known[apart.second]
        if one.number == other.number:  # there are more regions than colours
            other = replace(other, number=(one.number + 1) % COLOURS)
        charts.append(ribbons([one, other], apart, winter, voice, f"ribbons-{len(charts)}"))
    return charts


def _turned(weeks: WeeksBetween) -> WeeksBetween:
    """The same difference, of the second from the first."""
    ends = (-weeks.middle, -weeks.high, -weeks.low)
    return WeeksBetween(weeks.second, weeks.first, *ends, weeks.seasons)


def _strip(
    region: Region, told: Findings, number: int, winter: Winter, voice: Voice
) -> StripView | None:
    """A region's winters; None where none of its weeks is known."""
    if region.weekly is None:
        return None
    failing = {failed.season: why_said(failed.reason) for failed in region.failing}
    shown = Strip(
        f"strip-{told.regions.index(region)}",
        str(voice.write(told.name(region))),
        number,
        region.seasons,
        region.stations_per_season,
        region.weekly.by_season,
        failing,
    )
    own = Winter(winter.first, winter.stop, region.southern)
    named = voice.say("region_story.strip_failed", which=failing_named(region, most=len(failing)))
    unjudged = len(region.seasons) - region.judged
    rest = voice.say("region_story.strip_unjudged", winters=unjudged) if unjudged else ""
    return StripView(strip(shown, own, voice), number, named if failing else "", rest)


def _placed(data: Compared, told: Findings, numbers: dict[str, int], voice: Voice) -> list[Placed]:
    """Which stations lie in which region, where there are several."""
    if len(told.regions) < 2:
        return []
    column = "station" if told.regional.of_stations else "region"
    of = data.stations[column].to_pylist()
    where = np.isfinite(data.latitude_deg) & np.isfinite(data.longitude_deg)
    return [
        Placed(
            str(voice.write(told.name(region))),
            numbers[region.name],
            [i for i, name in enumerate(of) if name == region.name and where[i]],
        )
        for region in told.regions
    ]


def _weeks(data: Compared, voice: Voice) -> list[tuple[Chart, Chart]]:
    found = []
    for name in PURPOSES:
        title = purpose_of(name).title
        weeks = weeks_chart(data, name, voice.say("region.weeks", purpose=title), voice)
        odds = odds_chart(data, name, voice.say("region.odds", purpose=title), voice)
        found.append((weeks, odds))
    return found


def _rows(
    data: Compared, own: dict[int, str], voice: Voice
) -> list[tuple[str, str, str, list[Cell]]]:
    """Name, page, region and cells of the stations that are listed."""
    listed = listed_of(data)
    lat, lon = (v[listed].tolist() for v in (data.latitude_deg, data.longitude_deg))
    cells = [[Cell(f"{v:.2f}", v) for v in column] for column in (lat, lon)]
    for quantity in TABLED:
        medians = data.normals(quantity).median[listed].tolist()
        cells.append(
            [_date_cell(d, voice, southern=at < 0) for d, at in zip(medians, lat, strict=True)]
        )
    texts = (data.texts(column, listed) for column in ("name", "region"))
    addresses = [own.get(i, "") for i in listed]
    rows = zip(*texts, addresses, zip(*cells, strict=True), strict=True)
    return [(name, address, region, list(row)) for name, region, address, row in rows]


def _date_cell(day: float, voice: Voice, *, southern: bool) -> Cell:
    """A day of the season; one that does not come in half of them is sorted beyond the others."""
    if math.isnan(day):
        return Cell(voice.say("window_verdict.cannot_tell"), 1e9)
    if math.isinf(day):
        return Cell(voice.say("region_quantity.never"), math.copysign(1e8, day))
    return Cell(day_said(day, voice, southern=southern), day)


def _gaps(told: Findings, voice: Voice) -> list[tuple[str, str, list[GapCell]]]:
    """A row for each pair, at most `MOST_GAPS`, and a cell for each quantity."""
    pairs = [next(iter(of.values())) for of in told.between.values()]
    if len(pairs) > MOST_GAPS:
        pairs = sorted(pairs, key=lambda b: -told.apart_by(b.first, b.second))[:MOST_GAPS]
    rows = []
    for one in pairs:
        of = told.between[frozenset((one.first, one.second))]
        cells = [_gap_cell(of[quantity], voice) for quantity in COMPARED]
        rows.append((told.called[one.first], told.called[one.second], cells))
    return rows


def _gap_cell(gap: Between, voice: Voice) -> GapCell:
    d = gap.difference
    if math.isnan(d.middle):
        shared = voice.say("region.shared_years", years=gap.seasons)
        return GapCell(voice.say("window_verdict.cannot_tell"), shared, 1e9, False)
    percent = gap.quantity in SHARE_COLUMNS
    scale = 100 if percent else 1
    low, high = (signed(scale * v) for v in (d.low, d.high))
    middle = gap_said(gap)
    if percent:
        text = voice.say("region.apart_points", middle=middle)
    else:
        text = voice.say("region.apart_days", middle=middle)
    beside = voice.say("region.apart_beside", low=low, high=high, years=gap.seasons)
    return GapCell(text, beside, d.middle, shows(d, gap.q))
