"""Hindsight: every past application with its weather and state then, and what it missed."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from os import PathLike

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.record import Weather
from windowcast.core.season_calendar import season_end, season_name, season_start
from windowcast.core.site import Site
from windowcast.core.values import PACKAGED, Tables
from windowcast.limits.ground import ground_of
from windowcast.materials.actives import Actives, load_actives
from windowcast.materials.rotation import (
    RotationFlag,
    groups_by_season,
    plan_flags,
)
from windowcast.records.application_review import outcome_only_of, reviewed_with, unreviewed
from windowcast.records.ledger import Ledger, label_rates
from windowcast.records.looks import Lookbook, places_of
from windowcast.records.model import Application, CoverReading, FieldNote, Rating, ScoutingCount
from windowcast.records.observations import Logged, observed_in, uses_in
from windowcast.records.past_windows import PastSeason
from windowcast.records.resistance import AreaResistance, resistance_by_area
from windowcast.records.reviewed import ReviewedApplication
from windowcast.records.site_trials import with_own_trials
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.records.survivors import Suspected, suspected_in
from windowcast.records.trial_log import trial_files
from windowcast.records.trials import TrialResult, trial_results
from windowcast.records.what_worked import TrackRecord, Tried, what_worked
from windowcast.season.model import SiteState
from windowcast.season.observed import soil_correction
from windowcast.season.state import build
from windowcast.trials.timing_and_control import (
    Point,
    Relation,
    only_timing_differs,
    relations,
)
from windowcast.windows.hindsight import season_context

LATEST = "latest"


@dataclass(frozen=True)
class Review:
    """The whole hindsight of a log.

    Attributes
    ----------
    worked
        What worked on this ground, over all seasons.
    seasons
        Every season with an application, in order of time.
    season
        The one whose applications are looked into; "" for all. Of the others only the outcome is
        told.
    """

    site: str
    applications: tuple[ReviewedApplication, ...]
    groups: dict[str, dict[str, tuple[int, ...]]]
    rotation: tuple[RotationFlag, ...]
    suspicions: tuple[Suspected, ...]
    trials: tuple[TrialResult, ...]
    relations: tuple[Relation, ...]
    notes: tuple[Phrase, ...]
    worked: tuple[TrackRecord, ...] = ()
    seasons: tuple[str, ...] = ()
    season: str = ""
    resistance: tuple[AreaResistance, ...] = ()

    @property
    def season_known(self) -> bool:
        """Whether the season that is looked into has an application."""
        return not self.season or self.season in self.seasons


def review(
    site: Site,
    weather: Weather,
    state: SiteState,
    materials: Actives,
    *,
    applications: Sequence[Stored[Application]],
    field_notes: Sequence[FieldNote] = (),
    ratings: Sequence[Rating] = (),
    counts: Sequence[ScoutingCount] = (),
    covers: Sequence[CoverReading] = (),
    label_kg_ha: Mapping[str, float] | None = None,
    season: str = "",
    trial_files: Mapping[str, str] | None = None,
    tables: Tables = PACKAGED,
) -> Review:
    """Look back on a log.

    Parameters
    ----------
    weather
        Its daily record holds the past; hours where they were kept.
    state
        State of the site over the days of ``weather.daily``.
    label_kg_ha
        Active → rate of active ingredient on the user's own label.
    season
        Look into the applications of this season only, or of the latest (`LATEST`); "" for all.
    trial_files
        As `files` of `trial_results`.
    """
    southern = site.place.southern
    uses = uses_in([s.entry for s in applications], materials, southern=southern)
    sightings = Lookbook([*counts, *covers, *field_notes, *ratings]).with_trials(ratings)
    ledger = Ledger(
        [s.entry for s in applications],
        sightings,
        uses,
        label_kg_ha=label_kg_ha or {},
        today=weather.today,
        tables=tables,
    )
    pasts: dict[tuple[dt.date, dt.date], PastSeason] = {}
    names = {s.id: season_name(s.entry.date, southern) for s in applications}
    seasons = tuple(sorted(set(names.values())))
    if season == LATEST:
        season = max(seasons, default="")
    reviewed = []
    for stored in sorted(applications, key=lambda s: s.entry.start):
        first, last = _season_span(site, weather, stored.entry.start.astimezone(site.zone).date())
        looked_into = season in ("", names[stored.id])
        if looked_into and (first, last) not in pasts and first < last:
            like = next(iter(pasts.values()), None)
            context = season_context(site, weather, state, first, last)
            pasts[first, last] = PastSeason(context, like)
        try:
            if looked_into:
                past = pasts.get((first, last))
                reviewed.append(reviewed_with(stored, site, materials, past, ledger))
            else:
                reviewed.append(outcome_only_of(stored, materials, state, ledger))
        except (ArithmeticError, LookupError, ValueError) as error:
            reviewed.append(unreviewed(stored, error))
    latest = max((u.season for u in uses), default="")
    flags = plan_flags(
        [u for u in uses if u.season == latest],
        [u for u in uses if u.season != latest],
        stock=[materials[name] for name in site.stock],
        species=str(site.turf.species),
    )
    trials = tuple(_with_timings(r, applications) for r in trial_results(ratings, trial_files))
    return Review(
        site=site.name,
        applications=tuple(reviewed),
        groups=groups_by_season(uses),
        rotation=tuple(dict.fromkeys(flags)),
        suspicions=tuple(suspected_in(reviewed, uses, field_notes, materials, southern)),
        trials=trials,
        relations=relations(_points(reviewed, trials)),
        notes=_notes(site, weather, applications),
        worked=what_worked(map(_tried, reviewed), southern=southern),
        seasons=seasons,
        season=season,
    )


def _tried(item: ReviewedApplication) -> Tried:
    """An application for the table of what worked."""
    outcome = item.verdict.outcome if item.verdict else "cannot tell"
    purpose = item.scored.purpose if item.scored else item.application.purpose
    return Tried(item.application, purpose, outcome, item.share_up)


def _season_span(site: Site, weather: Weather, date: dt.date) -> tuple[dt.date, dt.date]:
    """First and last date of the season around a date, as far as the record reaches."""
    southern = site.place.southern
    first, last = season_start(date, southern=southern), season_end(date, southern=southern)
    known = [value.astype(object) for value in weather.daily.times[[0, -1]]]
    return max(first, known[0]), min(last, known[1])


def _points(reviewed: Sequence[ReviewedApplication], trials: Sequence[TrialResult]) -> list[Point]:
    """Control of trial treatments beside the facts of the one application that gave it.

    A trial at several locations gives a point for each application whose place is the location:
    elsewhere neither its plots nor its weather are known to be those of the application. What two
    applications did together is told of neither.
    """
    points: dict[tuple[str, str, str], list[Point]] = {}
    for item in reviewed:
        a = item.application
        results = [r for r in trials if a.trial and r.trial == a.trial and r.controls]
        results = [r for r in results if r.date >= a.date.isoformat()]
        at = results[-1].at if results else {}
        here = [p for p in at if len(at) == 1 or places_of(p) == places_of(a.where)]
        if not here or a.treatment not in at[here[0]]:
            continue
        values = {fact.key: fact.value for fact in item.facts}
        points.setdefault((a.trial, a.treatment, here[0]), []).append(
            Point(
                label=f"{a.trial}, {a.treatment}, {a.date.isoformat()}",
                control_pct=at[here[0]][a.treatment].percent,
                score=item.scored.compared_score if item.scored else math.nan,
                weeds_bbch=values.get("weeds_bbch", math.nan),
                week_temp_c=values.get("week_temp_c", math.nan),
                trial=a.trial,
                treatment=str(_given(a) or a.treatment),
                site=here[0],
                occasion=a.date.isoformat(),
            )
        )
    return [those[0] for those in points.values() if len(those) == 1]


def _given(application: Application) -> tuple[tuple[str, float], ...]:
    """What a treatment got, whatever it is called; nothing where a rate is not known."""
    known = [(m.active, m.rate_kg_ha) for m in application.materials if m.rate_kg_ha is not None]
    if len(known) < len(application.materials):
        return ()
    return (*sorted(known), *([(application.adjuvant, 0.0)] if application.adjuvant else []))


def _with_timings(result: TrialResult, applications: Sequence[Stored[Application]]) -> TrialResult:
    """A result with the pairs of its treatments that got the same on other days."""
    mine = [s.entry for s in applications if s.entry.trial == result.trial and s.entry.treatment]
    given = {}
    for name in dict.fromkeys(a.treatment for a in mine):
        own = sorted((a for a in mine if a.treatment == name), key=lambda a: a.start)
        if any(str(a.date) > result.date for a in own):
            continue  # what was still to come says nothing of its timing
        days = tuple((a.where, a.date) for a in own)
        got = tuple(_given(a) for a in own)
        given[name] = (got if all(got) else (), days)
    return replace(result, timings=only_timing_differs(given))


def _notes(
    site: Site, weather: Weather, applications: Sequence[Stored[Application]]
) -> tuple[Phrase, ...]:
    notes = []
    if not applications:
        notes.append(say("review.no_applications"))
    if ground_of(site).overseeded is None:
        notes.append(say("review.overseeding_not_said"))
    if weather.hourly is None:
        notes.append(say("review.no_hours"))
    return tuple(notes)


def review_log(
    site: Site,
    weather: Weather,
    log_file: str | PathLike[str],
    materials_file: str | PathLike[str] | None = None,
    *,
    season: str = "",
) -> Review:
    """Look back on a season log with what it says of the site itself.

    Parameters
    ----------
    weather
        As loaded for today; only what has happened is used.
    season
        As for `review`.

    Raises
    ------
    InputError
        The log or the materials file cannot be read, or the record has no day before today.
    """
    yesterday = np.datetime64(weather.today - dt.timedelta(days=1))
    past = weather.daily.between(weather.daily.times[0], yesterday)
    if not len(past.times):
        raise InputError("the weather has no day before today", remedy="give a longer record")
    materials = load_actives(materials_file)
    seen = observed_in(log_file, materials=materials, southern=site.place.southern)
    labels = label_rates(materials_file, materials)
    state, _ = build(
        past,
        site,
        correction=soil_correction(past, site, seen, nearby=weather.nearby),
        counts=seen.counts,
        green_cover=seen.green_cover,
        looks=seen.looks,
    )
    with SeasonLog(log_file, create=False) as log:
        ratings = [s.entry for s in log.all(Rating)]
        of_trials = any(r.trial for r in ratings)
        files = {}
        if of_trials:
            files = {n: f.name for n, f in trial_files(log_file, site.own_trials).items()}
        found = review(
            site,
            Weather(past, weather.hourly, weather.today),
            state,
            materials,
            applications=log.all(Application),
            field_notes=[s.entry for s in log.all(FieldNote)],
            ratings=ratings,
            counts=[s.entry for s in log.all(ScoutingCount)],
            covers=[s.entry for s in log.all(CoverReading)],
            label_kg_ha=labels,
            season=season,
            trial_files=files,
            tables=with_own_trials(site, PACKAGED, materials),
        )
        _, unusable = log.read()
    left_out = (
        say("review.unusable", kind=Name(u.kind), entry=Name(u.id[:8]), problem=Name(str(u.why)))
        for u in unusable
    )
    logged = Logged.read(log_file, until=weather.today, zone=site.zone)
    resistance = resistance_by_area(
        site, logged, materials, today=weather.today, daily=past, label_kg_ha=labels
    )
    return replace(found, notes=(*found.notes, *left_out), resistance=resistance)
