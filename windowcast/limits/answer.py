"""The turf's answer to a treatment, day by day: all rules asked, the strictest decides."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence

import numpy as np

from windowcast.core.record import FloatArray
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.ground import Ground
from windowcast.limits.model import Limit, TurfAnswer
from windowcast.limits.rules import in_any_state, limits_on
from windowcast.limits.treatment import treatments_of
from windowcast.limits.turf_days import StateRule, TurfDays
from windowcast.materials.needs import ActiveNeeds

CODES = {"yes": 1.0, "no": 0.0, "cannot tell": float("nan")}


def turf_answers(
    needs: ActiveNeeds,
    ground: Ground,
    days: TurfDays,
    tables: Tables = PACKAGED,
    *,
    count: int | None = None,
) -> tuple[TurfAnswer, ...]:
    """What the turf takes, one answer for each of the days.

    Parameters
    ----------
    needs
        The mixture, or what is usual for a purpose.
    tables
        The science values to go by: ``limits`` and ``turf``.
    count
        Only the first so many days; those after them still say until when a no stands.
    """
    values = tables["limits"]
    columns: list[Sequence[Limit | None]] = []
    dates: list[dt.date] = days.dates[:count].astype(object).tolist()
    by_date: list[list[Limit]] = [[] for _ in dates]
    for treatment in treatments_of(needs, ground.species, values):
        for index, date in enumerate(dates):
            by_date[index] += limits_on(treatment, ground, date, values)
        rule = StateRule(treatment, ground.species, days, values, tables["turf"])
        columns += [rule.limits(len(dates)), rule.looks(len(dates))]
    for column in columns:
        for limits, limit in zip(by_date, column, strict=True):
            if limit is not None:
                limits.append(limit)
    return tuple(
        TurfAnswer(date, tuple(limits)) for date, limits in zip(dates, by_date, strict=True)
    )


def ground_limits(
    needs: ActiveNeeds, ground: Ground, date: dt.date, tables: Tables = PACKAGED
) -> tuple[Limit, ...]:
    """What grass, ground and date alone say of a mixture, for an answer without weather.

    The state of the turf is not asked: `turf_answers` does that.
    """
    values = tables["limits"]
    found: list[Limit | None] = []
    for treatment in treatments_of(needs, ground.species, values):
        found += [in_any_state(treatment, ground), *limits_on(treatment, ground, date, values)]
    return tuple(limit for limit in found if limit is not None and limit.answer != "yes")


def codes(answers: Sequence[TurfAnswer]) -> FloatArray:
    """1 where the turf takes it, 0 where not, NaN where it cannot be told, ``[1, day]``."""
    return np.array([[CODES[answer.answer] for answer in answers]])
