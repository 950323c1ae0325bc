"""The ratings of a trial in its season log: what a table would add, and storing that.

A value has an id that follows from its trial, plot, day, measure, weed and frame. So a table can be
read again: what is there stays, and a value that was corrected becomes a new version of the old
one, which the log keeps.
"""

from __future__ import annotations

import datetime as dt
import json
import math
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path
from typing import cast

from windowcast.core.errors import InputError
from windowcast.core.site import file_beside
from windowcast.records.entry_checks import check_dates, to_plain
from windowcast.records.model import Rating
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Action, Change, Revision, Stored
from windowcast.sources.textfile import MARKS, read_text_bytes, split_options, text_of
from windowcast.sources.written_dates import ORDERS, Order
from windowcast.trials.trial_cells import TableSaid
from windowcast.trials.trial_file import TrialFile, kept_trial
from windowcast.trials.trial_table import PlotValue, RatingsRead, read_ratings

MOST_FILES = 500  # that are looked through beside a log
ALIKE = 1e-9  # of a value: what sums in another order may differ by
OPTIONS = {
    "dates": ORDERS,
    "decimal": tuple(MARKS),
    "sheet": (),
    "measure": (),
    "weed": (),
    "site": (),
    "date": (),
    "unknown": ("ignore",),
}


@dataclass(frozen=True, slots=True)
class RatingChanges:
    """What a table says beside what is stored.

    `revised` are values that differ from what the log has, each with that.
    """

    new: tuple[PlotValue, ...]
    same: int
    revised: tuple[tuple[PlotValue, Stored[Rating]], ...]


def trial_log_path(trial: TrialFile, trial_file: Path) -> Path:
    """Where the ratings of a trial are kept, whether or not the log is there yet."""
    return file_beside(trial_file, trial.log_file) or trial_file.with_suffix(".log.sqlite")


def trial_files(
    log_file: str | PathLike[str], named: Iterable[str | PathLike[str]] = ()
) -> dict[str, Path]:
    """The trial files beside a log that keep their ratings in it, by the name of the trial.

    Parameters
    ----------
    named
        Files elsewhere, as a site file names them.
    """
    log = Path(log_file).resolve()
    found: dict[str, Path] = {}
    for file in [*sorted(log.parent.glob("*.toml"))[:MOST_FILES], *map(Path, named)]:
        try:
            trial = kept_trial(file)
        except InputError:  # a site, or a trial that cannot be read
            continue
        if trial_log_path(trial, file).resolve() == log:
            found[trial.name] = file
    return found


def read_ratings_file(source: str | PathLike[str], trial: TrialFile) -> RatingsRead:
    """The ratings of a CSV or Excel file.

    `source` may say more behind its name: ``FILE:dates=mdy,sheet=NAME,measure=control %``.

    Raises
    ------
    InputError
        It cannot be read without a guess, or holds an impossible value or date.
    """
    path, said = split_options(source, OPTIONS)
    text = text_of(read_text_bytes(path, sheet=said.get("sheet", "")), path)
    asked = TableSaid(
        order=cast("Order | None", said.get("dates")),
        mark=MARKS[said["decimal"]] if "decimal" in said else None,
        measure=said.get("measure", ""),
        weed=said.get("weed", ""),
        site=said.get("site", ""),
        date=said.get("date", ""),
        ignore="unknown" in said,
    )
    read = read_ratings(text, path, trial, asked)
    for value in read.values:
        try:
            check_dates(rating_of(value, trial.name))
        except InputError as error:
            raise error.at(path=path, row=value.row) from None
    return read


def rating_of(value: PlotValue, trial: str) -> Rating:
    """A value as the log keeps it."""
    return Rating(
        date=value.date,
        value=value.value,
        measure=value.measure,
        weed=value.weed,
        before=value.before,
        trial=trial,
        plot=value.plot,
        treatment=value.arm.name,
        block=value.block,
        location=value.site,
        notes=value.notes,
    )


def rating_id(value: PlotValue, trial: str) -> str:
    """The id of a value: the same for the same plot, day, measure, weed and frame."""
    return uuid.uuid5(uuid.NAMESPACE_OID, json.dumps([trial, *value.key])).hex


def trial_ratings(log: SeasonLog, trial: str) -> list[Stored[Rating]]:
    """The ratings of a trial that the log has."""
    return [stored for stored in log.all(Rating) if stored.entry.trial == trial]


def ratings_or_names(trial: TrialFile, trial_file: Path) -> tuple[list[Rating], tuple[str, ...]]:
    """The ratings of a trial, none where there is no log yet; without any, who else has some there.

    The names are those of the trials that its log has ratings of.
    """
    path = trial_log_path(trial, trial_file)
    if not path.is_file():
        return [], ()
    with SeasonLog(path, create=False) as log:
        ratings = [stored.entry for stored in trial_ratings(log, trial.name)]
        return ratings, () if ratings else trials_rated(log)


def trials_rated(log: SeasonLog) -> tuple[str, ...]:
    """Names of the trials that the log has ratings of."""
    names = (stored.entry.trial for stored in log.all(Rating))
    return tuple(sorted({name for name in names if name}))


def changes_of(
    values: Iterable[PlotValue], stored: Sequence[Stored[Rating]], trial: str
) -> RatingChanges:
    """What of a table is new, what is there, and what differs.

    Raises
    ------
    InputError
        A plot that no plan knows is stored with a block, and has none here, or the reverse: then
        nobody can tell whether it is the same.
    """
    known = {item.id: item for item in stored}
    blocks = {(item.entry.location, item.entry.plot): item.entry.block for item in stored}
    new, revised, same = [], [], 0
    for value in values:
        block = blocks.get((value.site, value.plot), value.block)
        if not value.planned and bool(block) != bool(value.block):
            raise InputError(
                f"plot {value.plot} is stored with a block, and has none here"
                if block
                else f"plot {value.plot} is stored without a block, and has one here",
                row=value.row, field="block", remedy="give the blocks in every table, or in none",
            )  # fmt: skip
        old = known.get(rating_id(value, trial))
        if old is None:
            new.append(value)
        elif not differing(old.entry, rating_of(value, trial)):
            same += 1
        else:
            revised.append((value, old))
    return RatingChanges(tuple(new), same, tuple(revised))


def differing(old: Rating, new: Rating) -> tuple[str, ...]:
    """Names of the fields that differ; values that only their last digits tell apart do not."""
    before, after = to_plain(old), to_plain(new)
    fields = [key for key in {**before, **after} if before.get(key) != after.get(key)]
    if math.isclose(old.value, new.value, rel_tol=ALIKE):
        fields = [key for key in fields if key != "value"]
    return tuple(fields)


def store_ratings(
    log: SeasonLog, changes: RatingChanges, trial: str, emptied: Sequence[str] = ()
) -> None:
    """Store what is new and a new version of what differs: all of it, or nothing.

    The values with the ids `emptied` are taken out.
    """
    now = dt.datetime.now(dt.UTC)

    def change(action: Action, revisions: Iterable[Revision]) -> list[Change]:
        found = tuple(revisions)
        return [Change(uuid.uuid4().hex, now, action, found)] if found else []

    def bodies(values: Iterable[PlotValue]) -> Iterator[Revision]:
        for value in values:
            yield Revision(rating_id(value, trial), "rating", to_plain(rating_of(value, trial)))

    log.merge(
        [
            *change("import", bodies(changes.new)),
            *change("edit", bodies(value for value, _ in changes.revised)),
            *change("remove", (Revision(entry, "rating", None) for entry in emptied)),
        ]
    )
