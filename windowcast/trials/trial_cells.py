"""What the cells of a row of a table of ratings say: which plot, what was rated, when, how much.

What its columns say has to agree with each other and with the plan of the trial. A treatment may be
named as in the trial file, by its number, or as trials call a check.
"""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

from windowcast.core.errors import InputError
from windowcast.core.weed_codes import weed_code
from windowcast.sources.written_dates import Ambiguous, Order, in_order, moment_written
from windowcast.sources.written_numbers import Mark, number_written
from windowcast.trials.layout import PlannedPlot, TrialArm
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_columns import RatedColumn, Role, measure_said, role_named
from windowcast.trials.trial_file import CheckKind, TrialFile, TrialSite

_NUMBER = re.compile(r"(?:trt|treatment|t|no\.?|#)?\s*(\d+)(?:\.0)?", re.IGNORECASE)
# words of a check, without spaces, hyphens and capitals
_CHECKS: dict[CheckKind, tuple[str, ...]] = {
    "untreated": (
        "utc", "ntc", "ut", "nt", "unt", "untreated", "nontreated", "untreatedcheck", "check",
        "nontreatedcheck", "untreatedcontrol", "nontreatedcontrol", "control", "weedy", "unsprayed",
        "weedycheck", "nontreatedweedy", "testigo", "testigosintratar", "sintratar",
        "testigoabsoluto",
    ),
    "weed-free": (
        "weedfree", "weedfreecheck", "wfc", "handweeded", "handweededcheck", "testigolimpio",
        "libredemaleza",
    ),
    "standard": ("standard", "std", "standardcheck", "grower", "estandar"),
}  # fmt: skip
_KIND = {word: kind for kind, words in _CHECKS.items() for word in words}

_OF_TURF = ("injury", "turf", "quality", "color")  # measures without a weed
_REMEDY = "correct it, or empty the cell"
Cell = Callable[[Role], str]  # the text of a row under one of the columns


def arm_named(text: str, timing: str, arms: Sequence[TrialArm]) -> TrialArm | None:
    """The treatment that a cell means; None where it could be none or several.

    `timing` is the code beside it in a table of a factorial; "" where there is none.
    """
    name = text.strip().casefold()
    whole = [arm for arm in arms if arm.name.casefold() == name]
    crossed = [
        arm
        for arm in arms
        if arm.factor.casefold() == name
        and timing
        and timing.casefold() in map(str.casefold, arm.timing)
    ]
    for found in (crossed, whole):
        if len(found) == 1:
            return found[0]
    if number := _NUMBER.fullmatch(name):
        return next((arm for arm in arms if arm.number == int(number[1])), None)
    kind = _KIND.get(re.sub(r"[\W_]+", "", name))
    checks = [arm for arm in arms if kind is not None and arm.check == kind]
    return checks[0] if len(checks) == 1 else None


@dataclass(frozen=True, slots=True)
class TableSaid:
    """What the owner of a table says of it, beside what is in it."""

    order: Order | None = None
    mark: Mark | None = None
    measure: str = ""
    weed: str = ""
    site: str = ""
    date: str = ""
    ignore: bool = False


@dataclass(slots=True)
class RatingTable:
    """What is known of a table while its cells are read."""

    trial: TrialFile
    path: str
    said: TableSaid
    roles: dict[Role, int]
    rated: dict[int, RatedColumn]
    header: list[str]
    order: Order | None = None
    mark: Mark = "."
    arms: tuple[TrialArm, ...] = ()
    plan: dict[tuple[str, str], PlannedPlot] | None = None
    arm_of_plot: dict[tuple[str, str, str], tuple[TrialArm, int]] = field(default_factory=dict)
    places: dict[tuple[str, str, int], list[PlannedPlot]] = field(default_factory=dict)


def long_column(table: RatingTable, written: str) -> RatedColumn:
    """What the value of a row of a long table is of."""
    if not written:
        return RatedColumn(None)
    found = measure_said(written)
    if found is None:
        raise InputError(
            f"{written!r} is not a measure", field=table.header[table.roles["measure"]],
            remedy="use one such as control %, injury %, count per m2",
        )  # fmt: skip
    return found


def site_of(table: RatingTable, written: str) -> TrialSite:
    """The site that a cell names; the only one where none does."""
    written = written or table.said.site
    found = table.trial.site_named(written)
    if found is None:
        names = [site.name for site in table.trial.site]
        raise InputError(
            f"{written!r} is no site of the trial" if written else "says no site", field="site",
            remedy=f"use one of {', '.join(names)}",
        )  # fmt: skip
    return found


def plot_of(table: RatingTable, site: TrialSite, cell: Cell, row: int) -> tuple[str, str, TrialArm]:
    """Number, block and treatment of the plot of a row; what its columns say has to agree."""
    plot, block, arm = cell("plot"), _bare(cell("block")), _arm(table, cell)
    if table.plan is not None:
        planned = table.plan.get((site.name, _bare(plot)))
        if not plot and arm is not None:
            inside = table.places.get((site.name, block, arm.number), [])
            planned = inside[0] if len(inside) == 1 else None
        if planned is None:
            raise InputError(
                f"plot {plot or f'of block {block}'} is not in the plan of {site.name}",
                field="plot", remedy="see windowcast trial plan",
            )  # fmt: skip
        if arm is not None and arm.number != planned.arm.number:
            raise InputError(
                f"plot {planned.plot} is {arm.name!r} here and {planned.arm.name!r} in the plan",
                field="treatment", remedy="correct the treatment or the plot",
            )  # fmt: skip
        if block and planned.block and block != str(planned.block):
            raise InputError(
                f"plot {planned.plot} is in block {block} here and {planned.block} in the plan",
                field="block", remedy="correct the block or the plot",
            )  # fmt: skip
        return planned.plot, str(planned.block or ""), planned.arm
    if arm is None:
        raise InputError("says no treatment", field="treatment", remedy="fill the cell")
    if not plot and arm.plots > 1:
        raise InputError(
            f"{arm.name!r} has {arm.plots} plots in each block", field="plot",
            remedy="number them in a column 'plot'",
        )  # fmt: skip
    plot = _bare(plot) or f"{block}-{arm.number}"
    other, before = table.arm_of_plot.setdefault((site.name, block, plot), (arm, row))
    if other.number != arm.number:
        raise InputError(
            f"plot {plot} is {arm.name!r} here and {other.name!r} in row {before}",
            field="treatment", remedy="correct one of the two",
        )  # fmt: skip
    return plot, block, arm


def _bare(text: str) -> str:
    """``"103.0"`` and ``"Rep 2"`` as ``"103"`` and ``"2"``."""
    text = text.removesuffix(".0")
    last = text.split()[-1] if text.split() else ""
    return last if last.isdigit() and role_named(" ".join(text.split()[:-1])) else text


def _arm(table: RatingTable, cell: Cell) -> TrialArm | None:
    found: TrialArm | None = None
    for role in ("treatment", "number"):
        written = cell(role)
        if not written:
            continue
        arm = arm_named(written, cell("timing"), table.arms)
        if arm is None:
            names = [a.name for a in table.arms]
            near = get_close_matches(written, names, n=1)
            raise InputError(
                f"{written!r} is no treatment of the trial{f' (close: {near[0]})' if near else ''}",
                field=table.header[table.roles[role]],
                remedy=f"use a number from 1 to {len(names)}, or a name as in the trial file",
            )
        if found is not None and found.number != arm.number:
            raise InputError(
                f"{written!r} is not {found.name!r}", field=table.header[table.roles[role]],
                remedy="correct number or name of the treatment",
            )  # fmt: skip
        found = arm
    return found


def weed_of(table: RatingTable, written: str, column: RatedColumn) -> str:
    """The weed of a value; none for what is rated on the turf."""
    written = written or table.said.weed
    if column.measure is not None and column.measure.id.startswith(_OF_TURF):
        return ""
    if written:
        try:
            return weed_code(written)
        except ValueError as error:
            raise InputError(str(error), field="weed", remedy="correct it") from None
    asked = {
        m.weed or ""
        for m in table.trial.measure
        if column.measure is not None and m.what == column.measure.id
    }
    if len(asked) > 1:
        raise InputError(
            "says no weed, and the trial rates several", remedy="write it in the name of the column"
        )
    return next(iter(asked), "")


def measure_of(table: RatingTable, column: RatedColumn, weed: str) -> str:
    """Id of what was rated: by the column, the owner, or the trial file where that rates one."""
    if column.measure is not None:
        return column.measure.id
    if table.said.measure:
        found = measure_said(table.said.measure)
        if found is None or found.measure is None:
            raise InputError(
                f"{table.said.measure!r} is not a measure", field="measure",
                remedy="use one such as control %, injury %, count per m2",
            )  # fmt: skip
        return found.measure.id
    asked = {m.what for m in table.trial.measure if not weed or m.weed in {None, weed}}
    if len(asked) != 1:
        raise InputError(
            "does not say what was rated",
            remedy="name the measure, or say it for the whole file: FILE:measure=control %",
        )
    return next(iter(asked))


def date_of(
    table: RatingTable, site: TrialSite, column: RatedColumn, cell: Cell
) -> tuple[dt.date, bool, bool]:
    """The day of a value, whether it was before treatment, and whether the day was given."""
    applied = applied_at(table.trial, site)
    first = min(applied.values(), default=None)
    written = column.date or _cell_date(cell("date") or table.said.date)
    if written is not None:
        date = in_order(written, table.order)
        return date, column.before or (first is not None and date < first), True
    days = column.days
    if days is None and (text := cell("days")):
        if not text.removesuffix(".0").lstrip("-").isdigit():
            raise InputError(
                f"{text!r} is no number of days", field="days", remedy="write a whole number"
            )
        days = int(text.removesuffix(".0"))
    if days is None and column.before and first is not None:
        return first, True, False
    if days is None:
        raise InputError("says no date", field="date", remedy="fill the cell")
    date = _since(applied, column.timing, site) + dt.timedelta(days=days)
    return date, column.before or days <= 0, False


def _since(applied: Mapping[str, dt.date], timing: str, site: TrialSite) -> dt.date:
    """The day that days after treatment count from."""
    if timing:
        applied = {code: day for code, day in applied.items() if code.casefold() == timing}
    if not applied:
        raise InputError(
            "counts days after treatment, but the trial file does not say when that was",
            remedy=f"write it there: [timing.applied], {site.name!r} = 2026-11-18",
        )
    if len(set(applied.values())) > 1:
        raise InputError(
            "does not say after which of the applications",
            remedy=f"add its code, 'control 28 DAT {next(iter(applied))}', or give dates",
        )
    return next(iter(applied.values()))


def _cell_date(text: str) -> dt.date | Ambiguous | None:
    if not text:
        return None
    found = written_date(text)
    if found is None:
        raise InputError(f"{text!r} is not a date", field="date", remedy="write it like 2025-12-03")
    return found


def applied_at(trial: TrialFile, site: TrialSite) -> dict[str, dt.date]:
    """The days a site was sprayed, by the code of the timing."""
    found = {timing.code: timing.date_at(site.name) for timing in trial.timing}
    return {code: date for code, date in found.items() if date is not None}


def value_of(text: str, measure: str, area_m2: float, plot: str, mark: Mark) -> float:
    """A number in the unit of its measure; refused with its plot where it cannot be."""
    known = MEASURES[measure]
    text = text.strip()
    bare = text.removesuffix("%").strip() if known.scale == "percent" else text
    try:
        number = number_written(bare, mark) / area_m2
    except ValueError:
        raise InputError(f"plot {plot}: {text!r} is not a number", remedy=_REMEDY) from None
    if not known.low <= number <= known.high:
        raise InputError(
            f"plot {plot}: {number:g} is not from {known.low:g} to {known.high:g}", remedy=_REMEDY
        )
    if not known.is_step(number):
        raise InputError(
            f"plot {plot}: {number:g} is no step or half step of the scale", remedy=_REMEDY
        )
    return number


def area_of(trial: TrialFile, measure: str, weed: str, said_m2: float | None = None) -> float:
    """The area that a bare number belongs to [m²]: as a column said, or by the trial file.

    1 for a measure that belongs to none.
    """
    if not MEASURES[measure].per_area:
        return 1.0
    if said_m2 is not None:
        return said_m2
    frames = {m.frame_m2 for m in trial.measure if m.what == measure and m.weed in {None, weed}}
    if len(frames) == 1 and (frame := next(iter(frames))) is not None:
        return frame
    raise InputError(
        "does not say on what area it was counted",
        remedy="write it in the name, 'count per ft2', or give the measure a frame in the trial"
        " file",
    )


def written_date(text: str) -> dt.date | Ambiguous | None:
    """A date as written, without its time of day; None where it is none."""
    try:
        return moment_written(text).date
    except ValueError:
        return None
