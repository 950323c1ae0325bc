"""What is worked out for a site is kept until its file, its log or the day changes."""

from __future__ import annotations

import datetime as dt
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Generic, TypeVar

from windowcast.core.given_files import file_state
from windowcast.programme.answer import Answer
from windowcast.records.own_evidence import trial_states
from windowcast.report.answer_page import AnswerView, answer_views
from windowcast.report.catalogue import Voice
from windowcast.report.page import page_of
from windowcast.web.sites import KnownSite

FRESH_S = 15 * 60.0  # the weather is asked for again after this
_MIXTURES = 8  # of which the answers of a site are kept

T = TypeVar("T")
Stamp = tuple[object, ...]


class InVoices(Generic[T]):
    """Something made once for each voice that asks for it."""

    def __init__(self, make: Callable[[Voice], T]) -> None:
        self._make = make
        self._made: dict[Voice, T] = {}

    def of(self, voice: Voice) -> T:
        """What it is in a voice."""
        if voice not in self._made:
            self._made[voice] = self._make(voice)
        return self._made[voice]


@dataclass(frozen=True)
class Ready:
    """The answers for a site's ground with what the page shows of them, worked out once.

    `slug` is where the site's screens are found; `rank` answers once more, for one purpose with a
    mixture ``NAME[+NAME]``.
    """

    answers: tuple[Answer, ...]
    slug: str
    rank: Callable[[str, str], tuple[Answer, ...]]
    _ranked: dict[tuple[str, str], tuple[Answer, ...]] = field(default_factory=dict, init=False)

    def with_actives(self, purpose: str, actives: str) -> tuple[Answer, ...]:
        """The answers for a purpose with a mixture, worked out once."""
        asked = (purpose, actives)
        if asked not in self._ranked:
            if len(self._ranked) >= _MIXTURES:
                self._ranked.pop(next(iter(self._ranked)), None)
            self._ranked[asked] = self.rank(purpose, actives)
        return self._ranked[asked]

    @property
    def answer(self) -> Answer:
        """The first of the answers: weather and futures are the same in all."""
        return self.answers[0]

    @cached_property
    def views(self) -> InVoices[tuple[AnswerView, ...]]:
        """The answers made ready for the templates."""
        return InVoices(lambda voice: answer_views(self.answers, voice, checks=True))

    @cached_property
    def body(self) -> InVoices[str]:
        """The markup of what Today says, the same for every reader of a language."""

        def written(voice: Voice) -> str:
            views = self.views.of(voice)
            place = f"/s/{self.slug}/plan/tank"
            look = "" if views[0].sample else f"/s/{self.slug}/log/new/cover"
            return page_of(
                "today_body.html", voice, views=views, view=views[0], tank_url=place, log_url=look
            )

        return InVoices(written)


class Keeper(Generic[T]):
    """Makes something for each site once, however many ask at the same time."""

    def __init__(self, make: Callable[[KnownSite], T], *, fresh_s: float = FRESH_S) -> None:
        self._make = make
        self._fresh_s = fresh_s
        self._kept: dict[str, tuple[T, Stamp, float]] = {}
        self._locks: dict[str, threading.Lock] = {}
        self._lock = threading.Lock()

    def get(self, site: KnownSite) -> T:
        """What is kept for a site, made anew when it is old or its site has changed.

        Raises
        ------
        WindowcastError
            Whatever keeps it from being made; nothing is remembered of it.
        """
        with self._lock:
            lock = self._locks.setdefault(site.slug, threading.Lock())
        with lock:
            stamp = _stamp(site)
            kept = self._kept.get(site.slug)
            if kept is not None:
                made, then, at = kept
                if then == stamp and time.monotonic() - at < self._fresh_s:
                    return made
            made = self._make(site)
            self._kept[site.slug] = (made, stamp, time.monotonic())
            return made


def _stamp(site: KnownSite) -> Stamp:
    """What an answer rests on besides the weather: the site, files of log and trials, its day."""
    log = site.log_path
    files = () if log is None else (log, log.with_name(log.name + "-wal"))
    day = dt.datetime.now(site.site.zone).date() if site.site is not None else None
    trials = () if site.site is None else trial_states(site.site.own_trials)
    return (site.site, day, *(file_state(file) for file in files), *trials)
