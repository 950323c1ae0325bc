"""The calendar, read back by an independent parser (vobject) and line rules of RFC 5545."""

from __future__ import annotations

import datetime as dt
import re
from dataclasses import replace
from pathlib import Path

import pytest
import vobject
from report_fixtures import HOSTILE, TODAY, answer, window
from spoken import voice_of

from windowcast.core.errors import InputError
from windowcast.programme.answer import Answer
from windowcast.report.calendar import calendar_text, entry_uid, write_calendar

NOW = dt.datetime(2023, 11, 6, 7, 30, tzinfo=dt.UTC)
LATER = NOW + dt.timedelta(hours=5)


def _events(text: str) -> dict[str, object]:
    """UID → event, as the independent parser reads it."""
    return {event.uid.value: event for event in vobject.readOne(text).vevent_list}


def _moved(day: int = 3, windows: bool = True) -> Answer:
    """The same answer with another best day for young weeds, or none."""
    base = answer()
    outlooks = list(base.ranking.purposes)
    outlooks[1] = replace(outlooks[1], windows=(window(day=day),) if windows else ())
    return replace(base, ranking=replace(base.ranking, purposes=tuple(outlooks)))


def test_lines_follow_rfc_5545() -> None:
    raw = calendar_text(
        answer(site="Long, name; with \\ and\nnewline " * 2),
        now=NOW,
        voice=voice_of(answer(site="Long, name; with \\ and\nnewline " * 2)),
    )
    assert raw.endswith("\r\n")
    lines = raw.split("\r\n")[:-1]
    assert "\n" not in "".join(lines)  # 3.1: lines end in CRLF
    assert all(len(line.encode()) <= 75 for line in lines)  # 3.1: folded at 75 octets
    unfolded = raw.replace("\r\n ", "").split("\r\n")[:-1]
    assert all(re.match(r"[A-Z0-9-]+[;:]", line) for line in unfolded)
    assert unfolded[0] == "BEGIN:VCALENDAR"
    assert unfolded[-1] == "END:VCALENDAR"
    assert unfolded.count("VERSION:2.0") == 1  # 3.6: exactly one VERSION and PRODID
    assert sum(line.startswith("PRODID:") for line in unfolded) == 1
    inside: list[str] = []
    for line in unfolded:
        if line == "BEGIN:VEVENT":
            inside = []
        elif line == "END:VEVENT":
            names = [re.split("[;:]", item)[0] for item in inside]
            for name in ("UID", "DTSTAMP", "DTSTART", "SEQUENCE", "STATUS"):  # 3.6.1
                assert names.count(name) == 1
            assert any(re.fullmatch(r"DTSTAMP:\d{8}T\d{6}Z", item) for item in inside)  # 3.8.7.2
        else:
            inside.append(line)


def test_a_subscription_keeps_its_entries_when_areas_are_parted() -> None:
    """A subscriber gets a whole new file each time: what stays must keep its UID."""
    both = replace(answer(), areas=("greens", "tees"))
    first, parted = [both], [replace(both, areas=("greens",)), replace(both, areas=("tees",))]
    old, new = (
        set(_events(calendar_text(*found, now=NOW, voice=voice_of(*found))))
        for found in (first, parted)
    )
    assert old < new
    assert len(new) == 2 * len(old)


def test_parser_reads_times_words_and_cautions() -> None:
    source = answer(units="us")
    event = _events(calendar_text(source, now=NOW, voice=voice_of(source)))[
        entry_uid(source, "post-early")
    ]
    assert event.dtstart.value == dt.datetime(2023, 11, 8, 10, tzinfo=dt.UTC)  # Lisbon in winter
    assert event.dtend.value == dt.datetime(2023, 11, 8, 15, tzinfo=dt.UTC)
    assert event.summary.value == "Early post-emergent: go"
    text = event.description.value
    assert "53 °F" in text
    assert "The product label is the law." in text
    assert "Next best: Fri 10 Nov" in text


def test_only_windows_and_openings_are_entered() -> None:
    source = answer()
    events = _events(calendar_text(source, now=NOW, voice=voice_of(source)))
    assert set(events) == {entry_uid(source, "post-early"), entry_uid(source, "dormant")}
    opening = events[entry_uid(source, "dormant")]
    assert opening.dtstart.value == dt.date(2023, 12, 18)


def test_an_entry_moves_and_does_not_multiply() -> None:
    first = calendar_text(answer(), now=NOW, voice=voice_of(answer()))
    second = calendar_text(_moved(), previous=first, now=LATER, voice=voice_of(_moved()))
    before, after = _events(first), _events(second)
    assert set(before) == set(after)
    uid = entry_uid(answer(), "post-early")
    assert after[uid].dtstart.value == dt.datetime(2023, 11, 9, 10, tzinfo=dt.UTC)
    assert int(after[uid].sequence.value) > int(before[uid].sequence.value)
    assert after[uid].dtstamp.value > before[uid].dtstamp.value


def test_sequence_rises_even_when_the_clock_does_not() -> None:
    first = calendar_text(answer(), now=NOW, voice=voice_of(answer()))
    second = calendar_text(_moved(), previous=first, now=NOW, voice=voice_of(_moved()))
    uid = entry_uid(answer(), "post-early")
    assert int(_events(second)[uid].sequence.value) == int(_events(first)[uid].sequence.value) + 1


def test_an_unchanged_answer_writes_the_same_calendar() -> None:
    first = calendar_text(answer(), now=NOW, voice=voice_of(answer()))
    assert calendar_text(answer(), previous=first, now=LATER, voice=voice_of(answer())) == first


def test_an_entry_that_no_longer_holds_is_cancelled_once() -> None:
    first = calendar_text(answer(), now=NOW, voice=voice_of(answer()))
    second = calendar_text(
        _moved(windows=False), previous=first, now=LATER, voice=voice_of(_moved(windows=False))
    )
    uid = entry_uid(answer(), "post-early")
    gone = _events(second)[uid]
    assert gone.status.value == "CANCELLED"
    assert int(gone.sequence.value) == int(_events(first)[uid].sequence.value) + 1
    third = calendar_text(
        _moved(windows=False), previous=second, now=LATER, voice=voice_of(_moved(windows=False))
    )
    assert third == second
    back = _events(calendar_text(_moved(), previous=third, now=LATER, voice=voice_of(_moved())))[
        uid
    ]
    assert back.status.value == "TENTATIVE"
    assert int(back.sequence.value) > int(gone.sequence.value)


def test_other_programs_entries_are_kept() -> None:
    foreign = (
        "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//x//EN\r\nBEGIN:VEVENT\r\nUID:abc@else\r\n"
        "DTSTAMP:20231101T000000Z\r\nDTSTART:20231120T090000Z\r\nSUMMARY:Match\r\nEND:VEVENT\r\n"
        "END:VCALENDAR\r\n"
    )
    events = _events(calendar_text(answer(), previous=foreign, now=NOW, voice=voice_of(answer())))
    assert events["abc@else"].summary.value == "Match"
    assert len(events) == 3


def test_uids_differ_by_purpose_season_and_place() -> None:
    one = answer()
    next_year = replace(one, ranking=replace(one.ranking, today=TODAY.replace(year=2024)))
    moved = replace(one, site=one.site.model_copy(update={"latitude": 39.0}))
    uids = {
        entry_uid(one, "dormant"),
        entry_uid(one, "pre-fall"),
        entry_uid(next_year, "dormant"),
        entry_uid(moved, "dormant"),
    }
    assert len(uids) == 4
    same_season = replace(one, ranking=replace(one.ranking, today=dt.date(2024, 3, 1)))
    assert entry_uid(same_season, "dormant") == entry_uid(one, "dormant")


def test_hostile_name_cannot_add_an_entry() -> None:
    bad = f"x\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nUID:evil {HOSTILE}"
    text = calendar_text(answer(site=bad), now=NOW, voice=voice_of(answer(site=bad)))
    assert len(_events(text)) == 2


def test_file_is_brought_up_to_date(tmp_path: Path) -> None:
    file = tmp_path / "windows.ics"
    write_calendar(file, answer(), now=NOW, voice=voice_of(answer()))
    write_calendar(file, _moved(), now=LATER, voice=voice_of(_moved()))
    assert len(_events(file.read_bytes().decode())) == 2


@pytest.mark.parametrize("content", [b"hello", b"\xff\xfe\x00", b"BEGIN:VEVENT\r\nEND:VEVENT\r\n"])
def test_a_file_that_is_no_calendar_is_left_alone(tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "notes.txt"
    file.write_bytes(content)
    with pytest.raises(InputError, match=r"notes\.txt: is not (a calendar file|text in UTF-8)"):
        write_calendar(file, answer(), now=NOW, voice=voice_of(answer()))
    assert file.read_bytes() == content


def test_an_entry_says_which_areas_it_is_about() -> None:
    titles = {
        e.summary.value
        for e in _events(calendar_text(_moved(), now=NOW, voice=voice_of(_moved()))).values()
    }
    assert not any("greens" in title for title in titles)
    here = replace(_moved(), areas=("greens", "tees"))
    events = _events(calendar_text(here, now=NOW, voice=voice_of(here)))
    assert events
    assert all(e.summary.value.endswith("(greens and tees)") for e in events.values())
