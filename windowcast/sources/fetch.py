"""Fetching through the cache: fresh answers cost no request, stale ones are used within an age.

An answer takes the place of the kept one only after it was understood (`Terms.problem`): a service
that answers nonsense with status 200, or suddenly has nothing at an address, costs neither the last
good answer nor the hours until the kept one would have expired; it is asked again in minutes.

`Fetcher.get` is what every source calls. It never gives an old answer silently: `Fetched.stale`
and `Fetched.problem` say when the source could not be asked.
"""

from __future__ import annotations

import datetime as dt
import math
import os
import random
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from windowcast.core.errors import InputError
from windowcast.core.values import load
from windowcast.sources.cache import Cache, Entry
from windowcast.sources.http import Client, Manners, Reply
from windowcast.sources.http_answer import Expect, FetchError, Kind, host_of
from windowcast.sources.side_by_side import side_by_side

DEADLINE = "WINDOWCAST_DEADLINE"
_LEAST_FRESH_S = 60.0  # whatever a service says of its answer's age
_LONGEST_PAUSE_S = 86_400.0


def deadline_s() -> float:
    """Seconds in which all sources of one command must have answered.

    ``WINDOWCAST_DEADLINE``, or ``http.command_deadline`` of ``sources.toml``.

    Raises
    ------
    InputError
        The variable holds no number above zero.
    """
    text = os.environ.get(DEADLINE, "")
    if not text:
        return load("sources").number("http.command_deadline")
    try:
        seconds = float(text)
    except ValueError:
        seconds = math.nan
    if not 0 < seconds < math.inf:
        raise InputError(
            f"{text!r} is no number of seconds", field=DEADLINE, remedy="write it as 30"
        )
    return seconds


@dataclass(frozen=True, slots=True)
class Terms:
    """How one kind of address is fetched and kept.

    Attributes
    ----------
    source
        Name under which the cache counts it.
    fresh_s
        How long an answer is used without asking again [s].
    stale_s
        How old an answer may be used, flagged, when the source is away [s].
    max_bytes
        Largest body once unpacked.
    within_s
        How long it is waited for, where that is less than for other addresses [s].
    problem
        Of a body: what keeps it from being used, as a clause; "" when it is understood.
    untimely
        Of a body and the server's time [POSIX s]: why it is not to be used now; "" when it is.
    manners
        How the service wants to be asked.
    """

    source: str
    expect: Expect
    fresh_s: float
    stale_s: float
    max_bytes: int = 50_000_000
    accept: str = "*/*"
    within_s: float = math.inf
    problem: Callable[[bytes], str] = lambda body: ""  # looked at by first bytes alone
    untimely: Callable[[bytes, float], str] = lambda body, now_s: ""
    manners: Manners = field(default_factory=Manners)

    @classmethod
    def named(cls, source: str, age: str, expect: Expect, **more: Any) -> Terms:
        """Terms with the ages ``age.<age>_fresh`` and ``age.<age>_stale`` of ``sources.toml``."""
        ages = load("sources").table("age")
        fresh, stale = ages.number(f"{age}_fresh"), ages.number(f"{age}_stale")
        return cls(source, expect, fresh, stale, **more)


@dataclass(frozen=True)
class Fetched:
    """An answer, fetched or kept.

    `found` is False where the source has nothing at the address; `gone` says that it had before:
    the last good answer is then given, stale.
    """

    url: str
    found: bool
    digest: str
    fetched_at: float  # POSIX seconds: when the source last confirmed it
    stale: bool = False
    problem: str = ""  # why it is stale
    skew_s: float = 0.0  # the server's clock minus this one, when it was asked just now
    gone: bool = False
    rejected: bool = False  # what came instead was not to be used
    deprecated: bool = False  # the service says that it is to be withdrawn
    _body: Callable[[], bytes | None] = field(default=lambda: None, repr=False)

    def body(self) -> bytes:
        """The body; raises `FetchError` when it was evicted meanwhile."""
        body = self._body()
        if body is None:
            raise FetchError(Kind.OFFLINE, host_of(self.url), "the kept answer is gone; run again")
        return body

    def unfit(self, why: str) -> FetchError:
        """The error of an answer that is no use, with the reason as a clause."""
        return FetchError(Kind.WRONG_CONTENT, host_of(self.url), why)


@dataclass
class Fetcher:
    """Cache and client together; one per run.

    Parameters
    ----------
    offline
        Use only what is kept.
    refresh
        Ask the source even where the kept answer is fresh (conditionally).
    """

    cache: Cache
    client: Client = field(default_factory=Client)
    offline: bool = False
    refresh: bool = False
    clock: Callable[[], float] = time.time
    cut: set[str] = field(default_factory=set)  # sources that the time ran out for
    stop: float = math.inf  # until when each address may take at most [monotonic seconds]
    _asked: set[str] = field(default_factory=set)  # in this run; `refresh` asks once
    _patience_s: dict[str, float] = field(default_factory=dict)  # of sources with strict terms

    @classmethod
    def within(cls, cache: Cache, seconds: float | None = None, **more: Any) -> Fetcher:
        """A fetcher whose every request has ended after so many seconds, counted from now.

        Parameters
        ----------
        seconds
            For all sources together; None for `deadline_s`.
        """
        limit = deadline_s() if seconds is None else seconds
        return cls(cache, Client(stop=time.monotonic() + limit), **more)

    def get(self, url: str, terms: Terms, *, refresh: bool = False, anew: bool = False) -> Fetched:
        """The answer at `url`; with `refresh` asked even if fresh, with `anew` unconditionally.

        Raises
        ------
        FetchError
            The source could not be asked and nothing young enough is kept.
        """
        kept = self.cache.entry(url)
        now = self.clock()
        again = refresh or anew or (self.refresh and url not in self._asked)
        if terms.manners.strict:
            again = False  # never before the answer expires
            self._patience_s[terms.source] = terms.fresh_s
        if kept is not None and not again and _fresh(kept, now):
            return self._kept(kept)
        if self.offline:
            error = FetchError(Kind.OFFLINE, host_of(url), "not asked (--offline)")
            return self._fall_back(kept, terms, now, error)
        if left_alone := self._left_alone(url, terms):
            return self._fall_back(kept, terms, now, left_alone)
        self._asked.add(url)
        try:
            reply = self.client.get(
                url,
                expect=terms.expect,
                max_bytes=terms.max_bytes,
                within_s=terms.within_s,
                accept=terms.accept,
                etag=kept.etag if kept and not anew else "",
                last_modified=kept.last_modified if kept and not anew else "",
                manners=terms.manners,
                stop=self.stop,
            )
        except FetchError as error:
            if error.cut_off:
                self.cut.add(terms.source)
            if terms.manners.strict and error.status in (403, 429):
                wait_s = min(max(terms.manners.pause_s, error.wait_s or 0.0), _LONGEST_PAUSE_S)
                self.cache.put(_pause_of(url), "pause", str(error).encode(), fresh_s=wait_s)
            return self._fall_back(kept, terms, now, error)
        asked_if_changed = kept is not None and not anew and bool(kept.etag or kept.last_modified)
        fresh_s = _fresh_s(reply, terms)
        if reply.status == 304 and asked_if_changed and kept is not None:
            self.cache.confirm(url, fresh_s=fresh_s)
            return Fetched(
                url, True, kept.digest, now, skew_s=reply.skew_s, _body=lambda: self.cache.body(url)
            )
        problem = ""
        if reply.status == 304:
            problem = "it says that nothing changed, but was not asked that"
        elif reply.status == 404 and kept is not None and kept.status == 200:
            problem = "it has nothing there any more"
        elif reply.status == 200:
            problem = terms.problem(reply.body) or terms.untimely(reply.body, now + reply.skew_s)
        if problem:
            wrong = FetchError(Kind.WRONG_CONTENT, host_of(url), problem)
            again_s = load("sources").number("age.rejected_fresh")
            if terms.manners.strict and reply.expires_in_s is not None:
                again_s = max(again_s, fresh_s)
            self.cache.ask_again(url, in_s=again_s)
            kept = self.cache.entry(url)
            usable = kept if kept is not None and kept.status == 200 else None
            found = self._fall_back(usable, terms, now, wrong)
            gone = reply.status == 404
            return replace(found, stale=True, problem=str(wrong), gone=gone, rejected=not gone)
        if reply.status == 404:
            missing_s = load("sources").number("age.missing_fresh")
            self.cache.put(url, terms.source, None, fresh_s=missing_s)
            return Fetched(url, False, "", now, skew_s=reply.skew_s)
        entry = self.cache.put(
            url,
            terms.source,
            reply.body,
            fresh_s=fresh_s,
            etag=reply.etag,
            last_modified=reply.last_modified,
        )
        return Fetched(
            url,
            True,
            entry.digest,
            now,
            skew_s=reply.skew_s,
            deprecated=reply.deprecated,
            _body=lambda: reply.body,
        )

    def _left_alone(self, url: str, terms: Terms) -> FetchError | None:
        """Why a service that wants to be left alone is not asked yet; None where it may be."""
        pause = self.cache.entry(_pause_of(url)) if terms.manners.strict else None
        if pause is None or not _fresh(pause, self.clock()):
            return None
        until = dt.datetime.fromtimestamp(pause.expires_at, dt.UTC)
        said = (self.cache.body(pause.url) or b"").decode().removeprefix(f"{host_of(url)}: ")
        text = f"not asked until {until:%Y-%m-%d %H:%M} UTC ({said})"
        return FetchError(Kind.REFUSED, host_of(url), text)

    def distrust(self, source: str) -> bool:
        """Put a source's answers before in place of what cannot be true; whether there were any.

        They serve within the age ``forecast_stale``; the source is asked again in minutes.
        """
        ages = load("sources").table("age")
        fresh_s = self._patience_s.get(source, ages.number("rejected_fresh"))
        stale_s = ages.number("forecast_stale")
        return self.cache.set_back(source, younger_than_s=stale_s, fresh_s=fresh_s) > 0

    def get_all(
        self,
        urls: Sequence[str],
        terms: Callable[[str], Terms],
        done: Callable[[], None] = lambda: None,
    ) -> list[Fetched | FetchError]:
        """Answers in the order of `urls`, a few asked at once; a failure stands in its place."""

        def one(url: str) -> Fetched | FetchError:
            try:
                return self.get(url, terms(url))
            except FetchError as error:
                return error
            finally:
                done()

        now = self.clock()
        entries = {url: self.cache.entry(url) for url in urls}
        asked = [u for u, e in entries.items() if e is None or self.refresh or not _fresh(e, now)]
        if self.offline or len(asked) < 2:
            return [one(url) for url in urls]
        at_once = int(load("sources").number("http.concurrency"))
        return side_by_side([partial(one, url) for url in urls], at_once)

    def _kept(self, entry: Entry, *, stale: bool = False, problem: str = "") -> Fetched:
        return Fetched(
            entry.url,
            entry.status == 200,
            entry.digest,
            entry.checked_at,
            stale,
            problem,
            _body=lambda: self.cache.body(entry.url),
        )

    def _fall_back(
        self, kept: Entry | None, terms: Terms, now: float, error: FetchError
    ) -> Fetched:
        """A kept answer young enough, flagged as stale once it has expired; else the error."""
        if kept is None or now - kept.checked_at > terms.stale_s:
            raise error
        return self._kept(kept, stale=not _fresh(kept, now), problem=str(error))


def _pause_of(url: str) -> str:
    """Under which address the cache keeps that a host is to be left alone."""
    return f"pause:{host_of(url)}"


def _fresh_s(reply: Reply, terms: Terms) -> float:
    """How long an answer is used without asking again [s], a little more than the service says.

    The little more is random, so that many programs do not ask in the same second.
    """
    if not terms.manners.strict or reply.expires_in_s is None:
        return terms.fresh_s
    said = min(max(reply.expires_in_s, _LEAST_FRESH_S), _LONGEST_PAUSE_S)
    return said + random.uniform(0.0, _LEAST_FRESH_S)


def _fresh(entry: Entry, now: float) -> bool:
    """Not expired; an entry from the future (this clock was set back) is not fresh."""
    return entry.checked_at <= now < entry.expires_at


def all_found(answers: Sequence[Fetched | FetchError]) -> list[Fetched]:
    """The answers with something at their address.

    Raises
    ------
    FetchError
        The first of those that could not be had.
    """
    found = []
    for answer in answers:
        if isinstance(answer, FetchError):
            raise answer
        if answer.found:
            found.append(answer)
    return found


def kept_text(cache: Cache, now: float) -> str:
    """What the cache holds and how old it is, in a clause."""
    parts = [
        f"{h.source} ({h.entries} answers, the newest {age_text(now - h.newest)} old)"
        for h in cache.holdings()
    ]
    return f"kept: {', '.join(parts)}" if parts else "nothing is kept"


def age_text(seconds: float) -> str:
    """An age in words: ``"40 min"``, ``"5 h"``, ``"12 days"``."""
    minutes = max(seconds, 0.0) / 60
    if minutes < 90:
        return f"{minutes:.0f} min"
    return f"{minutes / 60:.0f} h" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"
