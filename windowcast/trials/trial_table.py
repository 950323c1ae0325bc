"""Ratings out of a table as people keep them: long or wide, with columns and dates as they write.

What a table leaves open is asked, never guessed; an impossible value is refused with its plot. Pure
functions on text: `records.trial_log` reads the file and stores what was understood.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from os import PathLike, fspath

from windowcast.core.errors import InputError
from windowcast.sources.csv_rows import MISSING, table_rows
from windowcast.sources.understood import ColumnRead, Understood
from windowcast.sources.written_dates import CellAt, decided_order
from windowcast.sources.written_numbers import decimal_mark
from windowcast.trials.layout import TrialArm, arms_of, plan_of
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_cells import (
    RatingTable,
    TableSaid,
    area_of,
    date_of,
    long_column,
    measure_of,
    plot_of,
    site_of,
    value_of,
    weed_of,
    written_date,
)
from windowcast.trials.trial_columns import RatedColumn, Role, rated_named, role_named
from windowcast.trials.trial_file import TrialFile

OPTION_ORDER = "say which: FILE:dates=mdy or FILE:dates=dmy"
OPTION_MARK = "say which: FILE:decimal=comma or FILE:decimal=point"
_NO_VALUE = MISSING | {".", "*", "missing", "nr", "not rated"}
_MOST_SHOWN = 3


@dataclass(frozen=True, slots=True)
class PlotValue:
    """One value of one plot, checked, in the unit of its measure.

    Attributes
    ----------
    before
        Whether it was taken before treatment, as the trial file and the table say now.
    dated
        Whether its day was given, not counted from a treatment.
    planned
        Whether its plot is one of the trial's plan. Else plots may be numbered within blocks.
    """

    row: int
    column: str
    site: str
    block: str
    plot: str
    arm: TrialArm
    date: dt.date
    measure: str
    weed: str
    value: float
    before: bool = False
    sample: str = ""
    notes: str = ""
    dated: bool = True
    planned: bool = True

    @property
    def key(self) -> tuple[str, ...]:
        """What makes it one value: the same plot, day, measure, weed and frame.

        With a day of its own it stays the same value when the day of the treatment is put in.
        """
        when = f"{self.date} before" if self.before and not self.dated else str(self.date)
        plot = self.plot if self.planned or not self.block else f"{self.block}/{self.plot}"
        return self.site, plot, when, self.measure, self.weed, self.sample


@dataclass(frozen=True, slots=True)
class RatingsRead:
    """A table as it was understood; `empty` cells hold no value."""

    values: tuple[PlotValue, ...]
    understood: Understood
    rated: Mapping[str, RatedColumn]
    roles: Mapping[str, Role]
    empty: int


def read_ratings(
    text: str, path: str | PathLike[str], trial: TrialFile, said: TableSaid
) -> RatingsRead:
    """The ratings of a table, and how it was understood.

    Raises
    ------
    InputError
        Anything that keeps it from being read without a guess, or is impossible; names row, column
        and plot, and how many more are wrong.
    """
    path = fspath(path)
    delimiter, header, rows = table_rows(
        text, path, lambda name: role_named(name) is not None or rated_named(name) is not None
    )
    if not rows:
        raise InputError("has a header but no rows", path=path, remedy="give a file with rows")
    table, ignored = _columns(header, path, trial, said)
    _decide(table, rows)
    values: list[PlotValue] = []
    wrong: list[InputError] = []
    empty = 0
    for number, cells in rows:
        try:
            found, none = _row_values(table, number, cells, wrong)
        except InputError as error:
            wrong.append(error.at(path=path, row=number))
            continue
        values += found
        empty += none
    _refuse_twice(values, table, wrong)
    _refuse_shares(values, table, dict(rows))
    if wrong:
        first = wrong[0]
        more = f" ({len(wrong) - 1} more after this)" if len(wrong) > 1 else ""
        raise InputError(
            first.problem, path=first.path, row=first.row, field=first.field,
            remedy=f"{first.remedy or 'correct it'}{more}",
        )  # fmt: skip
    first_row, first_cells = rows[0]
    understood = Understood(
        rows=len(rows), first_row=first_row, daily=None, delimiter=delimiter, mark=table.mark,
        order=table.order, zone="",
        columns=tuple(ColumnRead(name, "") for n, name in enumerate(header) if _is_read(table, n)),
        ignored=tuple(ignored),
        first_as_written=dict(zip(header, first_cells, strict=True)),
    )  # fmt: skip
    return RatingsRead(
        tuple(values),
        understood,
        {header[n]: column for n, column in table.rated.items()},
        {header[n]: role for role, n in table.roles.items()},
        empty,
    )


def _is_read(table: RatingTable, index: int) -> bool:
    return index in table.rated or index in table.roles.values()


def _columns(
    header: Sequence[str], path: str, trial: TrialFile, said: TableSaid
) -> tuple[RatingTable, list[str]]:
    """What each column is; refuses those that are not known, and a table that lacks one."""
    roles: dict[Role, int] = {}
    rated: dict[int, RatedColumn] = {}
    unknown = []
    for index, name in enumerate(header):
        role = role_named(name)
        if role is not None:
            if role in roles:
                raise InputError(
                    f"{header[roles[role]]!r} and {name!r} are the same", path=path, row=1,
                    field=name, remedy="take one of the columns out",
                )  # fmt: skip
            roles[role] = index
        elif (column := rated_named(name)) is not None:
            rated[index] = column
        elif name:
            unknown.append(name)
    if unknown and not said.ignore:
        raise InputError(
            f"column {unknown[0]!r} is not known", path=path, row=1,
            remedy="name it like 'control 28 DAT', or leave out what is not known"
            f" ({', '.join(unknown[:_MOST_SHOWN])}): FILE:unknown=ignore",
        )  # fmt: skip
    if "value" in roles and rated:
        name = header[next(iter(rated))]
        raise InputError(
            f"has a column of values and {name!r}, which holds values too", path=path, row=1,
            remedy="give one of the two",
        )  # fmt: skip
    if "value" not in roles and not rated:
        raise InputError(
            "has no column of ratings", path=path, row=1,
            remedy="name one like 'control 28 DAT', or 'value' beside 'measure' and 'date'",
        )  # fmt: skip
    table = RatingTable(trial, path, said, roles, rated, list(header), arms=arms_of(trial))
    if trial.seed is not None:
        plots = plan_of(trial)
        table.plan = {(p.site, p.plot): p for p in plots}
        for plot in plots:
            place = (plot.site, str(plot.block or ""), plot.arm.number)
            table.places.setdefault(place, []).append(plot)
    _refuse_lacking(table)
    return table, unknown


def _refuse_lacking(table: RatingTable) -> None:
    """Refuse a table that cannot say which plot, which treatment or when."""
    roles, path = table.roles, table.path
    named = {"treatment", "number"} & set(roles)
    lacking = ""
    if "plot" not in roles and not ("block" in roles and named):
        lacking = "plot"
    elif not named and table.plan is None:
        lacking = "treatment"
    elif "site" not in roles and not table.said.site and len(table.trial.site) > 1:
        lacking = "site"
    if lacking:
        raise InputError(f"has no column {lacking!r}", path=path, row=1, remedy="add it")
    dated = {"date", "days"} & set(roles) or table.said.date
    for index, column in table.rated.items():
        if not dated and column.date is None and column.days is None and not column.before:
            raise InputError(
                "says no date", path=path, row=1, field=table.header[index],
                remedy="add a column 'date', or write it in the name: 'control 28 DAT'",
            )  # fmt: skip


def _decide(table: RatingTable, rows: Sequence[tuple[int, list[str]]]) -> None:
    """Order of day and month, and the decimal mark, over the whole table."""
    dates = [(column.date, 1, index) for index, column in table.rated.items()]
    if (at := table.roles.get("date")) is not None:
        dates += ((written_date(cells[at]), number, at) for number, cells in rows)
    found = [(date, CellAt(row, table.header[n])) for date, row, n in dates if date is not None]
    table.order = decided_order(found, table.said.order, table.path, OPTION_ORDER)
    columns = [*table.rated, *(n for n in [table.roles.get("value")] if n is not None)]
    table.mark = decimal_mark(
        (
            (cells[index].strip().removesuffix("%"), number, table.header[index])
            for number, cells in rows
            for index in columns
        ),
        table.said.mark,
        table.path,
        OPTION_MARK,
    )


def _row_values(
    table: RatingTable, number: int, cells: Sequence[str], wrong: list[InputError]
) -> tuple[list[PlotValue], int]:
    """The values of a row, and how many of its cells hold none.

    What is wrong with a single value goes to `wrong`; what is wrong with the plot is raised.
    """

    def cell(role: Role) -> str:
        index = table.roles.get(role)
        return cells[index].strip() if index is not None else ""

    columns = dict(table.rated)
    if (at := table.roles.get("value")) is not None:
        columns[at] = long_column(table, cell("measure"))
    filled = {n: c for n, c in columns.items() if cells[n].strip().lower() not in {"", *_NO_VALUE}}
    if not filled:
        return [], len(columns)
    site = site_of(table, cell("site"))
    plot, block, arm = plot_of(table, site, cell, number)
    found = []
    for index, column in filled.items():
        name = table.header[index]
        try:
            weed = column.weed or weed_of(table, cell("weed"), column)
            measure = measure_of(table, column, weed)
            date, before, dated = date_of(table, site, column, cell)
            area = area_of(table.trial, measure, weed, column.area_m2)
            value = value_of(cells[index], measure, area, plot, table.mark)
            found.append(
                PlotValue(
                    number, name, site.name, block, plot, arm, date, measure, weed, value,
                    before, cell("sample"), cell("notes"), dated, table.plan is not None,
                )
            )  # fmt: skip
        except InputError as error:
            wrong.append(error.at(path=table.path, row=number, field=error.field or name))
    return found, len(columns) - len(filled)


def _refuse_twice(values: Sequence[PlotValue], table: RatingTable, wrong: list[InputError]) -> None:
    """Note every value that stands twice for the same plot, day, measure and frame."""
    numbered = "plot" in table.roles
    seen: dict[tuple[str, ...], PlotValue] = {}
    for value in values:
        other = seen.setdefault(value.key, value)
        if other is value:
            continue
        second = f"has a second value of {value.measure} (the first in row {other.row})"
        wrong.append(
            InputError(
                f"plot {value.plot} {second}"
                if numbered
                else f"{value.arm.name!r} in block {value.block} {second}",
                path=table.path, row=value.row, field=value.column,
                remedy="take one out, or number the frames in a column 'sample'"
                if numbered
                else "number the plots in a column 'plot', or the frames of one plot in 'sample'",
            )
        )  # fmt: skip


def _refuse_shares(
    values: Sequence[PlotValue], table: RatingTable, rows: Mapping[int, Sequence[str]]
) -> None:
    """Refuse a column of percentages of which some may be shares: 0.85 for 85 %.

    So a workbook hands on cells that it shows in percent. They may where no number without a sign
    is above 1; a sign on each makes all plain.
    """
    bare: dict[tuple[str, str], list[PlotValue]] = {}
    for value in values:
        written = rows[value.row][table.header.index(value.column)]
        percent = MEASURES[value.measure].scale == "percent"
        if percent and value.value and not written.strip().endswith("%"):
            bare.setdefault((value.column, value.measure), []).append(value)
    for (column, _), inside in bare.items():
        if all(value.value <= 1 for value in inside):
            first = inside[0]
            raise InputError(
                f"plot {first.plot}: {first.value:g} may be {first.value:g} % or"
                f" {100 * first.value:g} %", path=table.path, row=first.row, field=column,
                remedy="write each value of the column with its sign, such as 85%, in a CSV file",
            )  # fmt: skip
