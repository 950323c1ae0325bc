"""The terminal table, the message and the shared output options."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import click
import pytest
from click.testing import CliRunner
from report_fixtures import HOSTILE, TODAY, answer, plan, ranking, window
from spoken import METRIC, render, voice_of

from windowcast.cli import cli
from windowcast.cli.output import emit, output_options
from windowcast.core.phrase import NOTHING, Name, Phrase, Share, joined, say
from windowcast.limits.model import STATE, TurfSpan
from windowcast.report.board import WIDTH, message_text, plan_lines
from windowcast.report.board import facts as facts_of
from windowcast.report.terminal import table_text
from windowcast.report.wording import with_briefly
from windowcast.windows.model import CAUTIONS, Choice


def test_table_holds_every_column_of_the_answer() -> None:
    text = table_text(
        ranking(units="us"), width=140, explain=True, voice=voice_of(ranking(units="us"))
    )
    for word in ("For", "Verdict", "Date", "Hours", "Score", "Chance", "Held back by"):
        assert word in text
    for word in ("early post", "● fit", "Wed 8 Nov", "10:00–15:00", "78", "72 % (64–79)", "53 °F"):
        assert word in text
    assert "° C" not in text
    assert "°C" not in text


def test_missing_weather_is_never_shown_as_a_go() -> None:
    text = table_text(ranking(), width=140, explain=True, voice=voice_of(ranking()))
    line = next(line for line in text.splitlines() if line.lstrip().startswith("fall pre"))
    assert "cannot tell" in line
    assert "fit" not in line


def test_the_board_says_what_to_do_first_and_no_score() -> None:
    """One sentence that starts with a verb, hours to take before what has none, one number each."""
    lines = table_text(ranking(), width=80, voice=METRIC).splitlines()
    assert lines[2] == "Spray Wed 8 Nov, 10:00 to 15:00."
    assert lines[3] == "  Early post-emergent. Chance the weather stays fit: likely (7 in 10)."
    assert lines.index("Cannot tell: wind is missing from the record.") > 3
    assert not [line for line in lines if "score" in line.lower()]
    assert len(lines) <= 25


def test_a_window_before_the_best_one_says_what_holds_it_back() -> None:
    full = ranking()
    best, today = window(), window(day=0, score=70.0, verdict="marginal")
    outlook = replace(full.purposes[1], windows=(best, today))
    facts = {
        METRIC.text(f.name): [METRIC.text(s) for s in f.said] for f in facts_of(outlook, TODAY)
    }
    assert facts["Not today"] == ["Today is only marginal, held back by air temperature."]
    earlier = replace(full.purposes[1], windows=(best, window(day=1)))
    assert "Or sooner" in {METRIC.text(fact.name) for fact in facts_of(earlier, TODAY)}


def test_what_is_needed_is_said_once() -> None:
    remedies = joined(say("advice.hourly", inputs=Name("wind")))
    outlook = replace(
        ranking().purposes[1], windows=(), would_change=say("advice.takes", remedies=remedies)
    )
    (needed,) = [fact for fact in facts_of(outlook, TODAY) if METRIC.text(fact.name) == "Needed"]
    assert [METRIC.text(said) for said in needed.said] == [
        "Hourly wind, from a forecast or an hourly weather file."
    ]


def test_what_the_turf_refuses_on_days_apart_is_said_once() -> None:
    def no(day: int, harm: float) -> TurfSpan:
        at = TODAY + dt.timedelta(days=day)
        return TurfSpan(at, at, "no", STATE, "", None, say("limit.greening_up"), NOTHING, "", harm)

    (line,) = plan_lines([no(0, 0.05), replace(no(1, 0.0), answer="yes"), no(2, 0.1)])
    said = METRIC.text(line)
    assert said.startswith("Do not spray, some days from 6 Nov to 8 Nov: ")
    assert "1 in 10" in said  # the greater of the two
    assert "some days" not in METRIC.text(plan_lines([no(0, 0.05)])[0])


def test_where_nothing_is_open_the_board_says_what_comes_next() -> None:
    full = ranking()
    later = replace(full, purposes=full.purposes[2:])
    said = "Wait: nothing is in season. Next: dormant application, about Mon 18 Dec."
    assert table_text(later, width=100, voice=METRIC).splitlines()[2] == said
    assert said in " ".join(message_text(later, voice=METRIC).split())


@pytest.mark.parametrize("width", [24, 40, 60, 95, 96, 120, 200])
@pytest.mark.parametrize("explain", [False, True])
def test_no_line_is_wider_than_the_terminal(width: int, explain: bool) -> None:
    text = table_text(
        ranking(), width=width, explain=explain, colour=False, voice=voice_of(ranking())
    )
    assert max(len(line) for line in text.splitlines()) <= width
    assert ("78" in text) is explain


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("windows", [True, False])
@pytest.mark.parametrize("later", [True, False])
def test_one_empty_line_stands_before_the_weather(width: int, windows: bool, later: bool) -> None:
    purposes = [
        outlook if windows else replace(outlook, windows=(), closest=None)
        for outlook in ranking().purposes
        if later or outlook.in_season
    ]
    lines = table_text(
        replace(ranking(), purposes=tuple(purposes)),
        width=width,
        voice=voice_of(replace(ranking(), purposes=tuple(purposes))),
    ).splitlines()
    weather = next(n for n, line in enumerate(lines) if line.startswith("Weather: "))
    assert not lines[weather - 1]
    assert lines[weather - 2]


def test_further_lines_stand_further_in() -> None:
    lines = table_text(
        ranking(), width=50, explain=True, colour=False, voice=voice_of(ranking())
    ).splitlines()
    cautions = lines[next(n for n, line in enumerate(lines) if line.startswith("! ")) :]
    assert all(line.startswith(("! ", "  ")) for line in cautions)
    values = lines[lines.index("Where the numbers come from") + 2 :]
    judged = values[: next(n for n, line in enumerate(values) if line.startswith("  chance"))]
    assert any(line.startswith(" " * 7) for line in judged)
    assert all(line[5:7] == "  " for line in judged if line.startswith("  "))


@pytest.mark.parametrize("form", ["csv", "text"])
def test_explain_is_not_lost_where_it_has_no_place(form: str) -> None:
    result = CliRunner().invoke(_show, ["--format", form, "--explain"])
    assert result.output == ""
    assert f"--explain: has no place in {form}; use --format table or json" in str(result.exception)


def test_plain_when_not_a_terminal_coloured_when_asked() -> None:
    assert "\x1b" not in table_text(ranking(), voice=voice_of(ranking()))
    assert "\x1b[" in table_text(ranking(), colour=True, width=120, voice=voice_of(ranking()))


def test_markup_in_a_site_name_is_printed_as_it_is() -> None:
    assert "[bold red]x[/]" in table_text(
        ranking(site="[bold red]x[/]"), voice=voice_of(ranking(site="[bold red]x[/]"))
    )


def test_explain_traces_score_source_and_weather() -> None:
    text = table_text(ranking(), explain=True, width=140, voice=voice_of(ranking()))
    for word in ("published range", "soil.thatch = 12 mm", "weather.csv", "100 weather scenarios"):
        assert word in text


def test_the_terminal_says_the_cautions_in_short_and_in_full_where_asked() -> None:
    own = say("caution.rotation", reason=Name("group 2 again"))
    told = replace(ranking(), cautions=(*CAUTIONS, own))
    short = table_text(told, width=80, voice=METRIC)
    lines = [line for line in short.splitlines() if line.startswith("! ")]
    assert [line.split()[1] for line in lines] == ["Rotation:", "Your", "Stop"]
    full = table_text(told, width=400, voice=METRIC, explain=True)
    assert all(render(caution) in full for caution in told.cautions)


def test_a_weed_and_a_known_reason_stand_once_under_with() -> None:
    outlook = ranking().purposes[1]
    limit = outlook.windows[0].limiting
    assert limit is not None

    def choice(name: str, *against: Phrase) -> Choice:
        said = say(
            "choice.trials",
            weed=Name("henbit"),
            low=Share(0.46),
            middle=Share(0.91),
            high=Share(0.99),
            trials=1,
            evidence=NOTHING,
        )
        return Choice((name,), (2,), "fit", 70.0, 0.9, False, (said,), (limit.label, *against))

    other = say("choice.unknown_effect")
    lines = with_briefly(replace(outlook, choices=(choice("one"), choice("two", other))))
    assert [METRIC.text(line) for line in lines] == [
        "one (group 2): 91 % control of henbit (46 to 99 %)",
        f"two (group 2): 91 % (46 to 99 %); against it: {METRIC.text(other)}",
    ]


@pytest.mark.parametrize("make", [table_text, message_text])
def test_every_text_carries_the_cautions(make: object) -> None:
    text = make(ranking(), voice=METRIC)  # type: ignore[operator]
    for caution in ranking().cautions:
        assert render(caution) in text


def test_message_is_narrow_plain_text_with_the_answer_first() -> None:
    text = message_text(ranking(units="us"), voice=voice_of(ranking(units="us")))
    assert max(map(len, text.splitlines())) <= WIDTH
    assert text.splitlines()[0].startswith("Quinta do Teste")
    assert text.splitlines()[2] == "Spray Wed 8 Nov, 10:00 to 15:00."
    assert "\x1b" not in text


@click.command()
@output_options
def _show(**options: object) -> None:
    emit(answer(site=HOSTILE), **options)  # type: ignore[arg-type]


def test_units_option_overrides_the_site() -> None:
    result = CliRunner().invoke(_show, ["--units", "us", "--format", "text"])
    assert result.exit_code == 0
    assert "53 °F" in result.output


@pytest.fixture
def planned(monkeypatch: pytest.MonkeyPatch) -> None:
    """The page of a made-up answer holds a made-up plan."""
    monkeypatch.setattr("windowcast.api.plan_of", lambda _: plan(site=HOSTILE))


@pytest.mark.usefixtures("planned")
def test_files_are_written_and_the_answer_printed(tmp_path: object) -> None:
    page, calendar = f"{tmp_path}/a.html", f"{tmp_path}/a.ics"
    result = CliRunner().invoke(_show, ["--page", page, "--calendar", calendar, "--format", "csv"])
    assert result.exit_code == 0, result.output
    assert result.output.startswith("site,today")
    assert open(page, encoding="utf-8").read().startswith("<!doctype html>")  # noqa: SIM115, PTH123
    assert open(calendar, "rb").read().startswith(b"BEGIN:VCALENDAR\r\n")  # noqa: SIM115, PTH123


@pytest.mark.usefixtures("planned")
def test_a_page_that_cannot_be_written_prints_nothing(tmp_path: object) -> None:
    result = CliRunner().invoke(_show, ["--page", f"{tmp_path}/nowhere/a.html"])
    assert result.exit_code != 0
    assert result.output == ""
    assert "cannot be written" in str(result.exception)


def test_the_answer_for_the_sample_fits_twenty_five_lines_of_eighty() -> None:
    done = CliRunner().invoke(cli, ["rank", "--sample"], env={"COLUMNS": "80"})
    lines = done.output.splitlines()
    assert done.exit_code == 0
    assert len(lines) <= 25
    assert max(map(len, lines)) <= 80


def test_what_explains_the_sample_fits_a_few_pages() -> None:
    done = CliRunner().invoke(cli, ["rank", "--sample", "--explain"], env={"COLUMNS": "80"})
    lines = done.output.splitlines()
    assert done.exit_code == 0
    assert len(lines) <= 250
    assert any("Wait until Sat 20 Jan" in line for line in lines)
    assert any(line.strip().startswith("Hours") for line in lines)
