"""One look for news of spray windows, and looking again and again in the background of a server.

What was told is kept in one file beside the site file, for standard output and for each address by
itself. An address whose message was not delivered stays as it was, and gets the news of the next
look; the others are not told twice.
"""

from __future__ import annotations

import datetime as dt
import json
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.cli.output import voice_in
from windowcast.core.atomic_files import alone, write_atomic
from windowcast.core.errors import InputError, WindowcastError
from windowcast.core.given_files import read_text
from windowcast.core.phrase import Name, say

if TYPE_CHECKING:
    from windowcast.programme.answer import Answer
    from windowcast.programme.news import News, Told
    from windowcast.report.alerts import AlertAddress, Sent
    from windowcast.report.catalogue import Voice
    from windowcast.web.sites import SiteBook

_VERSION = 1
Say = Callable[[str], None]


@dataclass(frozen=True)
class ToldState:
    """What was told: on standard output, and to each address by its mark."""

    printed: Mapping[str, Told] = field(default_factory=dict)
    sent: Mapping[str, Mapping[str, Told]] = field(default_factory=dict)


@dataclass(frozen=True)
class Looked:
    """What a look found that is new, and what became of the messages."""

    news: tuple[News, ...]
    sent: tuple[Sent, ...]

    @property
    def failed(self) -> tuple[Sent, ...]:
        """The messages that did not arrive."""
        return tuple(one for one in self.sent if one.problem)


def state_beside(site_file: Path) -> Path:
    """Where is kept what was told of a site's windows."""
    return site_file.with_suffix(".watch.json")


def look(
    path: Path,
    answers: Sequence[Answer],
    addresses: Sequence[AlertAddress],
    *,
    voice: Voice,
    threshold: float | None = None,
    printing: Say | None = None,
) -> Looked:
    """Tell what is new in the answers for a site's ground; the caller holds the lock of `path`.

    Parameters
    ----------
    path
        The file of what was told.
    threshold
        Least odds of a window that is told of, 0..1; None: the site's.
    printing
        Takes the news as text; None: it goes to the addresses only.
    """
    from windowcast.programme.news import compare
    from windowcast.report.alerts import AlertMessage, send

    site, rankings = answers[0].site, [answer.ranking for answer in answers]
    least = site.advice.odds_threshold if threshold is None else threshold
    now = _now(answers[0])
    state = read_state(path)
    news: tuple[News, ...] = ()
    if printing is not None:
        news, printed = compare(state.printed, rankings, least, now)
        if news:
            printing(f"{site.name}. {_text(news, voice)}")
        state = replace(state, printed=printed)
        write_state(path, state)
    title = voice.text(_title(site.name))
    messages: list[AlertMessage] = []
    sent = {mark: _ahead(told, now) for mark, told in state.sent.items()}
    coming: list[dict[str, Told]] = []
    for address in addresses:
        own, told = compare(state.sent.get(address.mark, {}), rankings, least, now)
        if own:
            messages.append(AlertMessage(address, title, _text(own, voice, "\n")))
            coming.append(told)
        else:
            sent[address.mark] = told
    outcome = send(messages) if messages else ()
    for one, told in zip(outcome, coming, strict=True):
        if not one.problem:
            sent[one.address.mark] = told
    if addresses:
        write_state(path, replace(state, sent=sent))
    return Looked(news, outcome)


def send_test(site: str, addresses: Sequence[AlertAddress], voice: Voice) -> tuple[Sent, ...]:
    """Send a test message; what became of it."""
    from windowcast.report.alerts import AlertMessage, send

    title, body = voice.text(_title(site)), voice.say("alert.test")
    return send([AlertMessage(address, title, body) for address in addresses])


def _title(site: str) -> Any:

    return say("alert.title", site=Name(site))


def _text(news: Sequence[News], voice: Voice, between: str = " ") -> str:

    return between.join(voice.text(item.text) for item in news)


def _now(answer: Answer) -> dt.datetime:
    """The time, or the beginning of the answer's day where that is another."""
    zone, now = answer.site.zone, dt.datetime.now(dt.UTC)
    today = dt.datetime.combine(answer.ranking.today, dt.time(), zone)
    return now if today.date() == now.astimezone(zone).date() else today


def _ahead(told: Mapping[str, Told], now: dt.datetime) -> dict[str, Told]:
    return {name: one for name, one in told.items() if one.end > now}


# ---- what was told ----------------------------------------------------------------------------


def read_state(path: Path) -> ToldState:
    """What was told before; nothing when there is no file yet.

    Raises
    ------
    InputError
        The file cannot be read or is not one of ours.
    """
    if not path.exists():
        return ToldState()
    text = read_text(path)
    try:
        raw: Any = json.loads(text)
        if raw["version"] != _VERSION:
            raise ValueError(f"version {raw['version']}")
        sent = raw.get("sent", {}).items()
        return ToldState(_windows(raw["told"]), {str(mark): _windows(t) for mark, t in sent})
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        raise InputError(
            "does not hold what was told before",
            path=path,
            remedy="delete it (messages may then come once more)",
        ) from None


def _windows(raw: Any) -> dict[str, Told]:
    from windowcast.programme.news import Told

    return {
        str(name): Told(_time(entry["start"]), _time(entry["end"]), float(entry["share"]))
        for name, entry in raw.items()
    }


def _time(text: str) -> dt.datetime:
    time = dt.datetime.fromisoformat(text)
    if time.tzinfo is None:
        raise ValueError("a time without its zone")
    return time


def write_state(path: Path, state: ToldState) -> None:
    """Keep what was told."""

    whole = {"version": _VERSION, "told": _plain(state.printed)}
    sent = {mark: _plain(told) for mark, told in sorted(state.sent.items()) if told}
    if sent:
        whole["sent"] = sent
    write_atomic(path, json.dumps(whole, indent=2) + "\n")


def _plain(told: Mapping[str, Told]) -> dict[str, dict[str, Any]]:
    return {
        name: {"start": t.start.isoformat(), "end": t.end.isoformat(), "share": t.share}
        for name, t in sorted(told.items())
    }


# ---- in the background ------------------------------------------------------------------------


class Watcher:
    """Looks at the sites that have addresses for alerts, one after the other, in one thread.

    Parameters
    ----------
    book
        The sites; their files are read anew at each look.
    answers
        The answers for the site of a slug.
    complain
        Takes a line for each thing that did not work; it is tried again at the next look.
    every_s
        Seconds between looks.
    """

    def __init__(
        self,
        book: SiteBook,
        answers: Callable[[Any], Sequence[Answer]],
        complain: Say,
        every_s: float,
    ) -> None:
        self._book, self._answers, self._complain, self._every_s = book, answers, complain, every_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="alerts", daemon=True)

    def start(self) -> None:
        """Begin, with a look at once."""
        self._thread.start()

    def stop(self, wait_s: float = 60.0) -> None:
        """End after the look that is under way, or once so many seconds have passed."""
        self._stop.set()
        self._thread.join(wait_s)

    def _run(self) -> None:
        while not self._stop.is_set():
            self.look_at_all()
            self._stop.wait(self._every_s)

    def look_at_all(self) -> None:
        """One look at each site; what goes wrong with one keeps no other from its news."""
        from windowcast.report.alerts import addresses, usable

        for known in self._book.all():
            if known.path is None or known.site is None:
                continue
            try:
                targets = addresses(known.site.alerts, known.path)
                if not targets:
                    continue
                usable(targets)
                path = state_beside(known.path)
                answers = self._answers(known)
                voice = voice_in(known.site.units, known.site)
                with alone(path):
                    for failed in look(path, answers, targets, voice=voice).failed:
                        self._complain(f"{known.name}: {failed.line}; it is tried again")
            except WindowcastError as error:
                self._complain(f"{known.name}: no alerts: {error}")
            except Exception as error:  # the thread must outlive it; the text may hold a secret
                self._complain(f"{known.name}: no alerts: {type(error).__name__}")
