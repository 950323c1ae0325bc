"""What is to be said of a site's state: what its curves rest on and where they do not hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from windowcast.core.phrase import Phrase, about, say
from windowcast.core.record import Record
from windowcast.core.season_calendar import on_date
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.core.weed_codes import unsupported
from windowcast.season.model import Emergence, Substitute
from windowcast.season.unknown_rain import note_of
from windowcast.season.weeds import Weed


def notes_of(
    site: Site,
    record: Record,
    weeds: Sequence[Weed],
    emergence: Mapping[str, Emergence],
    *,
    usable: Mapping[str, bool],
    substitutes: Sequence[Substitute],
    tables: Tables,
) -> tuple[Phrase, ...]:
    """Notes of the state of a site."""
    notes = [
        about(say(f"weed.{code}"), say(f"unsupported.{unsupported()[code]}"))
        for code in site.weeds
        if code in unsupported()
    ]
    notes += [
        note for found in substitutes if (note := note_of(found, tables["usual_rain"])) is not None
    ]
    for entry in weeds:
        if entry.doubt_weeks:
            clock = entry.clock.removeprefix("general.")
            notes.append(
                _of_weed(entry, say(f"season_note.general.{clock}", weeks=entry.doubt_weeks))
            )
        low, high = entry.origin_latitude
        if not low <= abs(record.place.latitude_deg) <= high:
            notes.append(_of_weed(entry, say("season_note.origin", low=low, high=high)))
        if days := _bridged_days(entry, emergence[entry.code], record):
            notes.append(_of_weed(entry, say("season_note.bridged", days=days)))
        if not usable[entry.code]:
            cool, warm = say("season_note.too_early"), say("season_note.no_winter")
            notes.append(_of_weed(entry, cool if entry.season == "fall" else warm))
    return tuple(notes)


def _of_weed(entry: Weed, note: Phrase) -> Phrase:
    return about(say(f"weed.{entry.code}"), note)


def _bridged_days(entry: Weed, curve: Emergence, record: Record) -> int:
    """Days of the latest season that lack a temperature but not an emerged share."""
    begins = np.flatnonzero(on_date(record.times, entry.biofix, record.place.southern))
    blind = np.isnan(record.get("tmax_c") + record.get("tmin_c"))
    if not begins.size or np.isnan(curve.share[..., -1]).all():
        return 0
    return int(blind[..., begins[-1] :].any(axis=tuple(range(blind.ndim - 1))).sum())
