"""The best windows as a calendar (RFC 5545) whose entries move rather than multiply.

Each purpose has one entry a season: its UID is made from the site, the purpose and the season,
so a better day replaces the old one in every calendar program. An entry that no longer holds is
cancelled, not dropped, because a program that imported it would otherwise keep it.
"""

from __future__ import annotations

import datetime as dt
import uuid
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from windowcast.core.atomic_files import write_atomic
from windowcast.core.errors import InputError
from windowcast.core.given_files import text_if_there
from windowcast.core.phrase import Name, Phrase, Span, names, say, sentence
from windowcast.core.season_calendar import season_start
from windowcast.core.version import __version__
from windowcast.limits.model import refused
from windowcast.programme.answer import Answer
from windowcast.report import board, wording
from windowcast.report.board import turf_lines
from windowcast.report.catalogue import Voice
from windowcast.windows.decision import answer_word
from windowcast.windows.model import PurposeOutlook, Window

if TYPE_CHECKING:
    from icalendar import Calendar, Component, Event

UID_DOMAIN = "windowcast.invalid"  # RFC 6761: a domain that is nobody's
_NAMESPACE = uuid.uuid5(uuid.NAMESPACE_DNS, UID_DOMAIN)
_COMPARED = ("dtstart", "dtend", "summary", "description", "status", "location")


def calendar_text(
    *answers: Answer, voice: Voice, previous: str | None = None, now: dt.datetime | None = None
) -> str:
    """The calendar, carrying on from an earlier one.

    Parameters
    ----------
    answers
        At least one, of one site: one for each piece of its ground.
    previous
        Text of the calendar as last written. Its entries keep their SEQUENCE and DTSTAMP while
        unchanged; entries of ours that no longer hold are cancelled; other programs' are kept.
    now
        Time of writing, aware; the clock's when None.

    Raises
    ------
    InputError
        `previous` is not an iCalendar text.
    """
    stamp = (now or dt.datetime.now(dt.UTC)).astimezone(dt.UTC).replace(microsecond=0)
    earlier = _parse(previous) if previous else None
    entries = {uid: entry for one in answers for uid, entry in _entries(one, stamp, voice).items()}
    kept = _carry_over(earlier, entries, stamp) if earlier is not None else []
    calendar = _empty(answers[0].ranking.site, voice)
    for component in [*kept, *entries.values()]:
        calendar.add_component(component)
    return str(calendar.to_ical().decode("utf-8"))


def write_calendar(
    path: str | PathLike[str], *answers: Answer, voice: Voice, now: dt.datetime | None = None
) -> Path:
    """Write the calendar file, or bring it up to date when it is there.

    Raises
    ------
    InputError
        The file is there and is not a calendar, or cannot be read or written.
    """
    previous = text_if_there(path)
    try:
        return write_atomic(path, calendar_text(*answers, voice=voice, previous=previous, now=now))
    except InputError as error:
        raise error if error.path else error.at(path=path) from None


def entry_uid(answer: Answer, purpose: str, date: dt.date | None = None) -> str:
    """The UID of a purpose's entry in the season a date lies in, by default the answer's.

    An opening expected after the turn of the season keeps its UID when that season comes. Of areas
    that are answered together the first gives the UID, which it keeps when they are parted.
    """
    site = answer.site
    start = season_start(date or answer.ranking.today, southern=site.place.southern)
    ground = "".join(f"|{area}" for area in answer.areas[:1])
    seed = f"{site.name}|{site.latitude:.3f}|{site.longitude:.3f}|{purpose}|{start.year}{ground}"
    return f"{uuid.uuid5(_NAMESPACE, seed)}@{UID_DOMAIN}"


def _season_start(answer: Answer) -> dt.date:
    return season_start(answer.ranking.today, southern=answer.site.place.southern)


def _empty(site: str, voice: Voice) -> Calendar:
    from icalendar import Calendar, vText

    title = vText(voice.say("calendar.title", site=Name(" ".join(site.split()))))
    calendar = Calendar()
    calendar.add("prodid", f"-//windowcast//{__version__}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", title)  # RFC 7986
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", dt.timedelta(hours=6), parameters={"value": "DURATION"})
    return calendar


def _entries(answer: Answer, stamp: dt.datetime, voice: Voice) -> dict[str, Event]:
    """UID → entry, for every purpose with a window or an opening date ahead."""
    start = dt.datetime.combine(_season_start(answer), dt.time(), dt.UTC)
    sequence = max(0, int((stamp - start).total_seconds() // 60))
    entries = {}
    for outlook in answer.ranking.purposes:
        event = _entry(answer, outlook, voice)
        if event is None:
            continue
        begins = event.decoded("dtstart")
        date = begins.date() if isinstance(begins, dt.datetime) else begins
        uid = entry_uid(answer, outlook.purpose, date)
        event.add("uid", uid)
        event.add("dtstamp", stamp)
        event.add("last-modified", stamp)
        event.add("sequence", sequence)
        event.add("geo", (answer.site.latitude, answer.site.longitude))
        event.add("location", ", ".join((answer.site.name, *answer.areas)))
        event.add("categories", [outlook.purpose])
        event.add("transp", "TRANSPARENT")
        entries[uid] = event
    return entries


def _entry(answer: Answer, outlook: PurposeOutlook, voice: Voice) -> Event | None:
    from icalendar import Event

    event = Event()
    if outlook.windows:
        best = outlook.windows[0]
        event.add("dtstart", best.start.astimezone(dt.UTC))
        event.add("dtend", best.end.astimezone(dt.UTC))
        word = wording.answer_said(answer_word(outlook))
        summary = say("note.about", what=outlook.title, note=word)
        lines = _describe(outlook, best, voice)
    elif not outlook.in_season and outlook.opens and outlook.opens >= answer.ranking.today:
        if refused(outlook.turf):
            return None  # no day is announced for what the turf refuses
        event.add("dtstart", outlook.opens)
        event.add("dtend", outlook.opens + dt.timedelta(days=1))
        summary = say("calendar.opens", title=outlook.title)
        lines = [voice.text(outlook.why)]
    else:
        return None
    event.add("summary", _summary(summary, answer, voice))
    event.add("status", "TENTATIVE")
    cautions = [voice.text(caution) for caution in answer.ranking.cautions]
    event.add("description", "\n".join([*lines, *cautions]))
    return event


def _summary(what: Phrase, answer: Answer, voice: Voice) -> str:
    """The line that a calendar shows, with the areas it is about: another may have to be left."""
    if answer.areas:
        what = say("calendar.on", what=what, areas=names(*answer.areas))
    return voice.text(what)


def _describe(outlook: PurposeOutlook, best: Window, voice: Voice) -> list[str]:
    said = [outlook.advice, *wording.job_lines(outlook)]
    if best.odds is not None:
        said.append(wording.odds_basis(best.odds))
    said += map(sentence, board.window_facts(best))
    if len(outlook.windows) > 1:
        second = outlook.windows[1]
        when = Span(second.start, second.end)
        said.append(say("window_at.next", when=when))
    said += [*turf_lines(outlook), *wording.covers(outlook)]
    said += outlook.burs
    return [voice.text(phrase) for phrase in said]


def _parse(text: str) -> Calendar:
    from icalendar import Calendar

    try:
        parsed: Any = Calendar.from_ical(text)
    except (ValueError, IndexError, KeyError) as error:
        raise InputError(f"is not a calendar file ({error})", remedy="name another") from None
    if getattr(parsed, "name", None) != "VCALENDAR":
        raise InputError("is not a calendar file", remedy="name another")
    return parsed  # type: ignore[no-any-return]


def _carry_over(
    earlier: Calendar, entries: dict[str, Event], stamp: dt.datetime
) -> list[Component]:
    """Settle stamps and sequences of `entries`; return what else stays in the file."""
    kept: list[Component] = []
    for old in earlier.subcomponents:
        uid = str(old.get("uid", ""))
        new = entries.get(uid)
        if new is None:
            ours = uid.endswith(f"@{UID_DOMAIN}")
            kept.append(_cancelled(old, stamp) if ours else old)
        elif all(_same(old, new, name) for name in _COMPARED):
            for name in ("dtstamp", "last-modified", "sequence"):
                if name in old:
                    new[name] = old[name]
        else:
            new["sequence"] = max(new.decoded("sequence"), old.decoded("sequence", 0) + 1)
    return kept


def _same(old: Component, new: Component, name: str) -> bool:
    return name in old and bool(old[name].to_ical() == new[name].to_ical())


def _cancelled(event: Component, stamp: dt.datetime) -> Component:
    """The entry marked as cancelled, unless it is already or lies behind."""
    end = event.decoded("dtend")
    over = end < (stamp if isinstance(end, dt.datetime) else stamp.date())
    if not over and str(event.get("status", "")) != "CANCELLED":
        sequence = event.decoded("sequence", 0) + 1
        for name in ("status", "sequence", "dtstamp", "last-modified"):
            event.pop(name, None)
        event.add("status", "CANCELLED")
        event.add("sequence", sequence)
        event.add("dtstamp", stamp)
        event.add("last-modified", stamp)
    return event
