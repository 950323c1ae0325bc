"""Watching: one message when odds cross the threshold, none twice, entries that move."""

from __future__ import annotations

import datetime as dt
import json
import re
import subprocess
import sys
import threading
from dataclasses import replace
from pathlib import Path

import icalendar
import pytest
from spoken import render, voice_of

from windowcast.cli import main
from windowcast.cli.watching import ToldState, read_state, write_state
from windowcast.core.atomic_files import alone
from windowcast.core.errors import InputError
from windowcast.core.phrase import NOTHING
from windowcast.programme.answer import Answer, answer
from windowcast.programme.news import Told, compare
from windowcast.report.calendar import write_calendar
from windowcast.weather.sample import sample_site, sample_weather
from windowcast.windows.model import Job, Odds, Ranking, Window

NOW = dt.datetime(2018, 1, 18, 6, tzinfo=dt.UTC)


@pytest.fixture(scope="module")
def sample() -> Answer:
    return answer(sample_site(), sample_weather())


def with_odds(ranking: Ranking, share: float, verdict: str = "fit", hours: int = 0) -> Ranking:
    """The ranking with one dormant window that has these odds."""
    outlooks = []
    for outlook in ranking.purposes:
        if outlook.purpose != "dormant":
            outlooks.append(replace(outlook, windows=(), closest=None))
            continue
        first: Window = (outlook.windows or (outlook.closest,))[0]  # type: ignore[assignment]
        move = dt.timedelta(hours=hours)
        changed = replace(
            first,
            verdict=verdict,  # type: ignore[arg-type]
            score=70.0,
            start=first.start + move,
            end=first.end + move,
            odds=Odds(share, share - 0.05, share + 0.05, 100, "forecast"),
        )
        outlooks.append(replace(outlook, in_season=True, windows=(changed,), closest=None))
    return replace(ranking, purposes=tuple(outlooks))


def test_rises_once_and_falls_once(sample: Answer) -> None:
    told: dict[str, Told] = {}
    kinds = []
    for share in (0.5, 0.61, 0.7, 0.58, 0.56, 0.54, 0.5, 0.58, 0.62):
        news, told = compare(told, [with_odds(sample.ranking, share)], 0.6, NOW)
        kinds.append([n.kind for n in news])
    assert kinds == [[], ["opened"], [], [], [], ["fell back"], [], [], ["opened"]]


def test_areas_are_told_of_each_for_itself(sample: Answer) -> None:
    """Ground that is parted or put together anew is not told again of what it was told before."""
    both = replace(with_odds(sample.ranking, 0.8), areas=("greens", "tees"))
    news, told = compare({}, [both], 0.6, NOW)
    assert [n.kind for n in news] == ["opened"]
    assert render(news[0].text).startswith("greens and tees: ")
    parted = [replace(both, areas=(area,)) for area in both.areas]
    assert not compare(told, parted, 0.6, NOW)[0]
    lost = replace(with_odds(sample.ranking, 0.2), areas=("tees",))
    news, told = compare(told, [parted[0], lost], 0.6, NOW)
    assert [n.kind for n in news] == ["fell back"]
    assert render(news[0].text).startswith("tees: ")
    assert set(told) == {"dormant: greens"}
    news, _ = compare(told, [replace(both, areas=("greens", "tees"))], 0.6, NOW)
    assert [render(n.text).partition(":")[0] for n in news] == ["tees"]  # greens knew


def test_areas_named_later_know_what_the_whole_site_was_told(sample: Answer) -> None:
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    named = replace(with_odds(sample.ranking, 0.8), areas=("greens", "tees"))
    news, told = compare(told, [named], 0.6, NOW)
    assert not news
    assert set(told) == {"dormant: greens", "dormant: tees"}


def test_ground_that_is_done_is_left_in_silence(sample: Answer) -> None:
    """A window that was told of is not taken back once the work is done, nor another offered."""
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    for state, share in (("done", 0.2), ("look", 0.9), ("done", 0.9)):
        ranking = with_odds(sample.ranking, share, hours=48)
        job = Job(state, NOTHING, NOTHING)  # type: ignore[arg-type]
        done = [replace(outlook, job=job) for outlook in ranking.purposes]
        assert compare(told, [replace(ranking, purposes=tuple(done))], 0.6, NOW) == ((), {})


def test_only_fit_windows_ring(sample: Answer) -> None:
    news, told = compare({}, [with_odds(sample.ranking, 0.9, "marginal")], 0.6, NOW)
    assert not news
    assert not told


def test_a_window_on_another_day_replaces_a_lost_one(sample: Answer) -> None:
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    news, told = compare(told, [with_odds(sample.ranking, 0.8, hours=48)], 0.6, NOW)
    assert [n.kind for n in news] == ["moved"]
    said = render(news[0].text)
    assert "do not count on Sat 20 Jan" in said
    assert re.search(
        r"\. Spray Mon 22 Jan, .* instead: it is likely \(8 in 10\) to stay fit\.$", said
    )
    again, _ = compare(told, [with_odds(sample.ranking, 0.8, hours=48)], 0.6, NOW)
    assert not again


def test_shifted_hours_on_the_day_are_no_news(sample: Answer) -> None:
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    news, _ = compare(told, [with_odds(sample.ranking, 0.8, hours=1)], 0.6, NOW)
    assert not news


def test_a_window_that_has_passed_is_forgotten_in_silence(sample: Answer) -> None:
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    late = told["dormant"].end + dt.timedelta(hours=1)
    news, left = compare(told, [with_odds(sample.ranking, 0.1)], 0.6, late)
    assert not news
    assert not left


def test_what_cannot_be_told_any_more_falls_back(sample: Answer) -> None:
    _, told = compare({}, [with_odds(sample.ranking, 0.8)], 0.6, NOW)
    blind = with_odds(sample.ranking, 0.8, "cannot tell")
    news, _ = compare(told, [blind], 0.6, NOW)
    assert [n.kind for n in news] == ["fell back"]


def run(capsys: pytest.CaptureFixture[str], *args: str) -> tuple[int, str]:
    code = 0
    try:
        main(["watch", "--sample", *args])
    except SystemExit as stop:
        code = int(stop.code or 0)
    return code, capsys.readouterr().out


def test_exit_codes_and_no_message_twice(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sample: Answer
) -> None:
    fit = [
        w.odds.share
        for o in sample.ranking.purposes
        for w in o.windows
        if w.verdict == "fit" and w.odds
    ]
    assert fit, "the sample has a fit window"
    low, high = f"{max(fit) - 0.04:.2f}", "0.99"
    state, calendar = tmp_path / "told.json", tmp_path / "out.ics"
    args = ("--state", str(state), "--calendar", str(calendar), "--threshold")
    code, text = run(capsys, *args, low)
    assert code == 10
    assert text.count("\n") == 1
    assert "Quarry Bend" in text
    first = {str(e["uid"]) for e in icalendar.Calendar.from_ical(calendar.read_bytes()).events}
    assert run(capsys, *args, low) == (0, "")
    second = {str(e["uid"]) for e in icalendar.Calendar.from_ical(calendar.read_bytes()).events}
    assert first == second
    code, text = run(capsys, *args, high)
    assert code == 11
    assert "do not count on" in text
    assert run(capsys, *args, high) == (0, "")


def test_calendar_entries_move_rather_than_multiply(tmp_path: Path, sample: Answer) -> None:
    file = tmp_path / "out.ics"
    begins = []
    for hours in (0, 48):
        moved = replace(sample, ranking=with_odds(sample.ranking, 0.8, hours=hours))
        write_calendar(file, moved, voice=voice_of(moved))
        events = icalendar.Calendar.from_ical(file.read_bytes()).events
        own = [e for e in events if "dormant" in str(e["categories"].to_ical())]
        assert len(own) == 1
        begins.append((str(own[0]["uid"]), own[0].start))
    assert begins[0][0] == begins[1][0]
    assert begins[1][1] - begins[0][1] == dt.timedelta(hours=48)


def test_state_survives_and_a_damaged_one_is_named(tmp_path: Path) -> None:
    path = tmp_path / "told.json"
    assert read_state(path) == ToldState()
    told = {"dormant": Told(NOW, NOW + dt.timedelta(hours=2), 0.7)}
    for state in (ToldState(told), ToldState(told, {"0a1b": told}), ToldState({}, {"0a1b": told})):
        write_state(path, state)
        assert read_state(path) == state
    bad = ('{"version": 1, "told": {}, "sent": 3}', '{"version": 1, "told": {}, "sent": {"a": 1}}')
    for text in (*bad, "", "[]", "{}", '{"version": 9, "told": {}}', '{"version": 1, "told": [1]}'):
        path.write_text(text)
        with pytest.raises(InputError, match=r"told\.json"):
            read_state(path)
    naive = {"start": "2018-01-18T06:00", "end": "2018-01-18T08:00", "share": 1}
    path.write_text(json.dumps({"version": 1, "told": {"dormant": naive}}))
    with pytest.raises(InputError):
        read_state(path)


def test_bad_input_ends_with_2(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    code, _ = run(capsys)  # the sample needs --state
    assert code == 2
    with pytest.raises(SystemExit) as stop:
        main(["watch", str(tmp_path / "none.toml")])
    assert stop.value.code == 2


def test_two_at_once_tell_once(tmp_path: Path) -> None:
    """Two programs started together on one state: one tells, the other finds it told."""
    code = "from windowcast.cli import main; main()"
    state = tmp_path / "told.json"
    line = [sys.executable, "-c", code, "watch", "--sample", "--threshold", "0.3"]
    both = [
        subprocess.Popen([*line, "--state", str(state)], stdout=subprocess.PIPE, text=True)
        for _ in range(2)
    ]
    said = [process.communicate(timeout=60)[0] for process in both]
    assert sorted(process.returncode for process in both) == [0, 10]
    assert sorted(bool(text) for text in said) == [False, True]


def test_a_lock_holds_until_its_holder_ends(tmp_path: Path) -> None:
    path = tmp_path / "told.json"
    order: list[str] = []

    def second() -> None:
        with alone(path):
            order.append("second")

    with alone(path):
        thread = threading.Thread(target=second)
        thread.start()
        thread.join(0.2)
        order.append("first")
    thread.join(10)
    assert order == ["first", "second"]
    with pytest.raises(InputError, match="cannot be locked"), alone(tmp_path / "none" / "x"):
        pass
