"""Doses and responses: out of a file, or of a trial whose treatments are rates of one active."""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from typing import cast

from windowcast.core.errors import InputError
from windowcast.core.extras import installed
from windowcast.materials.rates import materials_from
from windowcast.records.trial_rounds import TrialRound
from windowcast.sources.textfile import MARKS, read_text_bytes, split_options, text_of
from windowcast.trials.dose_populations import DoseFindings, dose_findings
from windowcast.trials.dose_response import FEWEST_DOSES
from windowcast.trials.dose_table import DoseColumns, DoseRow, DoseTable, Role, read_doses
from windowcast.trials.layout import TrialArm, arms_of
from windowcast.trials.trial_file import TrialFile

_COLUMNS: tuple[Role, ...] = ("dose", "population", "active", "response")
OPTIONS: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(_COLUMNS, ()),
    "decimal": tuple(MARKS),
    "sheet": (),
    "unknown": ("ignore",),
}


def doses_of_file(source: str | PathLike[str]) -> DoseTable:
    """The doses and responses of a CSV or Excel file.

    `source` may say more behind its name: ``FILE:response=COLUMN,population=COLUMN``.

    Raises
    ------
    InputError
        It cannot be read without a guess.
    """
    path, said = split_options(source, OPTIONS)
    text = text_of(read_text_bytes(path, sheet=said.get("sheet", "")), path)
    columns = {role: said[role] for role in _COLUMNS if role in said}
    mark = MARKS[said["decimal"]] if "decimal" in said else None
    return read_doses(text, path, DoseColumns(columns, mark, "unknown" in said))


def doses_of_round(trial: TrialFile, found: TrialRound) -> DoseTable | None:
    """The values of a round by the dose of one active; None where no active has enough doses.

    A curve is made for each active at each site, as far as treatments are that active alone, at
    different rates and otherwise the same. The untreated check is its dose of zero. Doses are in
    kg ha-1.
    """
    arms = {arm.name: arm for arm in arms_of(trial)}
    groups: dict[tuple[str, ...], dict[str, float]] = {}
    for arm in arms.values():
        dose = _dose_of(arm)
        if dose is not None:
            active, kg_ha = dose
            groups.setdefault((active, arm.adjuvant, *arm.timing), {})[arm.name] = kg_ha
    checks = {name: 0.0 for name, arm in arms.items() if arm.check == "untreated"}
    rows = []
    for (active, adjuvant, *timing), doses in groups.items():
        every = doses | checks
        if len(set(every.values())) < FEWEST_DOSES:
            continue
        alike = [key for key in groups if key[0] == active]
        called = [active, *([*timing, adjuvant] if len(alike) > 1 else [])]
        rows += [
            DoseRow(", ".join(filter(None, [*called, row.site])), every[row.treatment], row.value)
            for row in found.rows
            if row.treatment in every and row.value == row.value
        ]
    return DoseTable(tuple(rows), found.measure, unit="kg ha-1") if rows else None


def _dose_of(arm: TrialArm) -> tuple[str, float] | None:
    """The active and its rate [kg/ha] of a treatment with one active only."""
    each = [material for text in arm.materials for material in materials_from(text)]
    if len(each) != 1 or arm.check is not None or "rate_kg_ha" not in each[0]:
        return None
    return cast("str", each[0]["active"]), float(each[0]["rate_kg_ha"])


def doses_of_rounds(
    trial: TrialFile, rounds: Sequence[TrialRound]
) -> list[tuple[TrialRound, DoseTable]]:
    """Every round that has doses, in order."""
    each = [(found, doses_of_round(trial, found)) for found in rounds]
    return [(found, table) for found, table in each if table is not None]


Dosed = tuple[TrialRound, DoseTable, DoseFindings]


def dosed_rounds(trial: TrialFile, rounds: Sequence[TrialRound]) -> tuple[Dosed, ...]:
    """Every round that has doses, with the curves of its populations; none without scipy."""
    if not installed("scipy.stats"):
        return ()
    each = doses_of_rounds(trial, rounds)
    return tuple((found, table, dose_findings(table.populations)) for found, table in each)


def needs_doses(trial: TrialFile) -> InputError:
    """What to tell of a trial without doses."""
    return InputError(
        f"trial {trial.name!r} has no active ingredient at {FEWEST_DOSES} rates or more, the"
        " untreated check counted as one", field="treatment",
        remedy='write rates as materials = ["glyphosate 0.5 lb/acre"], one active a treatment',
    )  # fmt: skip
