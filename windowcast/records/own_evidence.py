"""What the trials that a site file names say of control, as evidence beside published trials.

Of each trial, weed, mixture and timing one result counts: that of the treatment nearest to the full
rate, for treatments of a trial share its year and ground. It is the mean over its sites of what was
seen last on them, as control against the untreated check; where that tells nothing, the site is
left out. Of what was seen on one day, counts go before weights, these before cover and ratings of
control.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path

import numpy as np

from windowcast.core.errors import InputError
from windowcast.core.given_files import file_state
from windowcast.core.phrase import Name, Phrase, say
from windowcast.core.site import Site
from windowcast.core.values import Tables
from windowcast.materials.actives import Actives
from windowcast.materials.efficacy import Timing, rate_share_of
from windowcast.materials.own_evidence import OwnResult, counts, with_own
from windowcast.records.place_effects import (
    NoEffect,
    PlaceEffect,
    TrialRead,
    place_effects,
    read_trials,
    untreated_arm,
)
from windowcast.records.trial_log import trial_log_path
from windowcast.records.trial_rounds import TrialRound, rounds_of
from windowcast.trials.contrasts import COVER, MOST_LESS, TWO_ERRORS, listed
from windowcast.trials.given import Given
from windowcast.trials.layout import TrialArm, arms_of
from windowcast.trials.trial_file import TrialFile, kept_trial

MEASURED = (
    "count per m2", "biomass g per m2", COVER, "control %", "control 0-10",
)  # fmt: skip
_ENDS = (0.01, 0.998)  # of control that a result may say: none, or all gone, is told no surer
EMERGED = 10.0  # BBCH
Reads = tuple[TrialRead, ...]


@dataclass(frozen=True, slots=True)
class OwnEvidence:
    """Results that count, and why others do not."""

    results: tuple[OwnResult, ...]
    left_out: tuple[Phrase, ...]


def weighed(own_trials: Sequence[str], tables: Tables, materials: Actives) -> Tables:
    """The tables with the results of trials weighed in, kept until a file of theirs changes.

    Parameters
    ----------
    own_trials
        Paths of trial files, as a site file names them.

    Raises
    ------
    InputError
        A trial file cannot be read.
    """
    files = tuple(Path(name) for name in own_trials)
    return _kept(files, trial_states(own_trials), tables, _Known(materials))


@dataclass(frozen=True, eq=False)
class _Known:
    """Materials that are the same to a cache where their rates and timings are."""

    materials: Actives

    def __hash__(self) -> int:
        return hash(self._rates)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Known) and self._rates == other._rates

    @cached_property
    def _rates(self) -> tuple[tuple[str, bool, bool, float | None], ...]:
        usual = {a.name: a.usual_kg_ha for a in self.materials.values()}
        rates = {name: None if rate is None else float(rate) for name, rate in usual.items()}
        return tuple((a.name, a.pre, a.post, rates[a.name]) for a in self.materials.values())


@lru_cache(maxsize=32)
def _kept(
    files: tuple[Path, ...], states: tuple[tuple[int, int], ...], tables: Tables, known: _Known
) -> Tables:
    """The same tables for the same files, so that what is kept by them is found again."""
    found = own_evidence(_read(files), known.materials, tables)
    if not found.results:
        return tables
    weighed = with_own(tables["efficacy"], found.results)
    return Tables({**tables.given, "efficacy": weighed})


def evidence_of(site: Site, tables: Tables, materials: Actives) -> OwnEvidence:
    """What counts of the trials that a site file names."""
    return own_evidence(_read(tuple(map(Path, site.own_trials))), materials, tables)


def trial_states(names: Iterable[str]) -> tuple[tuple[int, int], ...]:
    """When the trials and their logs were changed, and how large they are."""
    found: list[tuple[int, int]] = []
    for file in map(Path, names):
        try:
            log = trial_log_path(kept_trial(file), file)
        except InputError as error:
            raise error.at(field="own_trials") from None
        found += map(file_state, (file, log, log.with_name(f"{log.name}-wal")))
    return tuple(found)


def _read(files: tuple[Path, ...]) -> Reads:
    try:
        return read_trials(files)
    except InputError as error:
        raise error.at(field="own_trials") from None


def own_evidence(trials: Sequence[TrialRead], materials: Actives, tables: Tables) -> OwnEvidence:
    """What counts of own trials, and why the rest does not."""
    results: list[OwnResult] = []
    left_out: list[Phrase] = []
    for read in trials:
        check = untreated_arm(read.trial)
        if not read.ratings or check is None:
            why = say("pool.no_check") if read.ratings else read.why_not_rated
            left_out.append(say("pool.left_trial", trial=Name(read.trial.name), why=why))
            continue
        places, dark = _last_seen(read, check, materials)
        if not places and not dark:
            why = say("own.no_measure")
            left_out.append(say("pool.left_trial", trial=Name(read.trial.name), why=why))
        for treatment, reasons in dark.items():
            said = {"trial": Name(read.trial.name), "treatment": Name(treatment)}
            left_out.append(say("pool.left_treatment", **said, why=listed(reasons)))
        of_trial: dict[tuple[str, tuple[str, ...], Timing], OwnResult] = {}
        for (treatment, _), seen in places.items():
            found = _result(read.trial, seen, materials, tables)
            if isinstance(found, OwnResult):
                key = found.weed, found.actives, found.timing
                of_trial[key] = min(found, of_trial.get(key, found), key=_from_full)
            else:
                said = {"trial": Name(read.trial.name), "treatment": Name(treatment)}
                left_out.append(say("pool.left_treatment", **said, why=found))
        results += of_trial.values()
    return OwnEvidence(tuple(results), tuple(dict.fromkeys(left_out)))


def _from_full(result: OwnResult) -> tuple[float, float]:
    """How far a rate is from the full one; of two as far the poorer result goes first."""
    share = result.rate_share
    return math.inf if share is None else abs(math.log(max(share, 1e-6))), result.logit


Seen = list[tuple[TrialRound, PlaceEffect]]
Looks = list[tuple[TrialRound, PlaceEffect | NoEffect]]


def _last_seen(
    read: TrialRead, check: TrialArm, materials: Actives
) -> tuple[dict[tuple[str, str], Seen], dict[str, list[Phrase]]]:
    """By treatment and weed what was seen last at each site; by treatment why a site has nothing.

    Where the last look tells nothing, no earlier one stands in for it: weeds may have come back.
    """
    looks: dict[tuple[str, str], dict[str, Looks]] = {}
    for each in rounds_of(read.trial, read.ratings):
        if each.measure not in MEASURED or not each.weed:
            continue
        for found in place_effects(read.trial, each, check, materials):
            treatment = found.treatment if isinstance(found, NoEffect) else found.given.name
            if not isinstance(found, NoEffect) or found.seen:
                at = looks.setdefault((treatment, each.weed), {})
                at.setdefault(found.site, []).append((each, found))
    places: dict[tuple[str, str], Seen] = {}
    reasons: dict[str, list[Phrase]] = {}
    for key, sites in looks.items():
        for of_site in sites.values():
            last = max(found.rated for _, found in of_site)
            known = [(r, e) for r, e in of_site if isinstance(e, PlaceEffect)]
            seen = [(r, e) for r, e in known if e.rated == last]
            if seen:
                places.setdefault(key, []).append(min(seen, key=_rank))
                continue
            why = [e.why for _, e in of_site if isinstance(e, NoEffect) and e.rated == last]
            of_treatment = reasons.setdefault(key[0], [])
            of_treatment += [say("own.last", why=w) for w in why] if known else why
    return places, reasons


def _rank(seen: tuple[TrialRound, PlaceEffect]) -> int:
    return MEASURED.index(seen[0].measure)


def _result(trial: TrialFile, seen: Seen, materials: Actives, tables: Tables) -> OwnResult | Phrase:
    """The result of a treatment over sites, or why it does not count."""
    given, weed = seen[0][1].given, seen[0][0].weed
    if not given.actives:
        return say("own.no_materials")
    unknown = next((name for name, _ in given.actives if name not in materials), None)
    if unknown is not None:
        return say("own.unknown", active=Name(unknown))
    if not given.codes:
        return say("own.no_timing")
    if len(given.codes) > 1:
        return say("own.several", count=len(given.codes))
    arm = next(a for a in arms_of(trial) if a.name == given.name)
    stage = next((t.stage_bbch for t in trial.timing if t.code in arm.timing), None)
    timing = _timing(given, stage, materials)
    if timing is None:
        at = Name(given.codes[0])
        return say("own.no_stage" if stage is None else "own.not_before", timing=at)
    logit, error = over_places([_logit(place) for _, place in seen])
    found = OwnResult(
        trial.name, weed, tuple(name for name, _ in given.actives), timing,
        logit, error, 0.0 if timing == "pre" and stage is None else stage,
        _rate(given, materials, tables),
    )  # fmt: skip
    return found if counts(found, tables["efficacy"]) else say("own.no_kind", weed=Name(weed))


def over_places(effects: Sequence[tuple[float, float]]) -> tuple[float, float]:
    """Mean of the effects of places, each with its error, and the error of that mean.

    It is as large as the places' own doubt makes it, or as they differ, whichever is more.

    Examples
    --------
    >>> from windowcast.records.own_evidence import over_places
    >>> over_places([(1.0, 0.1), (3.0, 0.1)])
    (2.0, 1.0)
    """
    means, errors = np.array(effects).T
    places = len(means)
    own = math.sqrt(float(errors @ errors)) / places
    differ = float(means.std(ddof=1)) / math.sqrt(places) if places > 1 else 0.0
    return float(means.mean()), max(own, differ)


def _timing(given: Given, stage: float | None, materials: Actives) -> Timing | None:
    """Whether it was put down before weeds were up; None where that could be either, or neither."""
    tank = [materials[name] for name, _ in given.actives]
    if all(active.pre and not active.post for active in tank):
        return "pre"
    some_pre = any(active.pre for active in tank)
    if stage is None:
        return None if some_pre else "post"
    if stage >= EMERGED:
        return "post"
    return "pre" if some_pre else None


def _rate(given: Given, materials: Actives, tables: Tables) -> float | None:
    """The highest share of a full rate in the tank; None where one is not known.

    It is what the others may owe their control to, so that an underdosed partner promises no more.
    """
    shares = []
    for name, rate in given.actives:
        share = rate_share_of(name, rate, tables["efficacy"])
        usual = materials[name].usual_kg_ha if name in materials else None
        if share is None and rate is not None and usual is not None:
            share = rate / float(usual)
        if share is None:
            return None
        shares.append(share)
    return max(shares)


def _logit(place: PlaceEffect) -> tuple[float, float]:
    """Control at a place on the logit scale, with its error.

    The error is such that its 95 % interval reaches both ends of that of the effect. Where these
    lie beyond what a result may say, it is at least the effect's own: no step of control's logit is
    smaller than that of the logarithm of the weeds left.
    """
    low, high = place.effect.interval()

    def of(value: float) -> float:
        value = min(max(value, -MOST_LESS), MOST_LESS)
        control = -math.expm1(value) if place.scale == "left" else 1 / (1 + math.exp(-value))
        control = min(max(control, _ENDS[0]), _ENDS[1])
        return math.log(control / (1 - control))

    middle = of(place.effect.value)
    away = max(abs(of(low) - middle), abs(of(high) - middle), (high - low) / 2)
    return middle, away / TWO_ERRORS
