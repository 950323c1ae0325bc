"""Ratings of a trial out of tables as people keep them, shown, then stored."""

from __future__ import annotations

import datetime as dt
import random
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from click.testing import CliRunner
from trial_fixtures import trial_text

from windowcast.cli import cli, main
from windowcast.core.errors import InputError
from windowcast.records.model import Rating
from windowcast.records.store import SeasonLog
from windowcast.records.stored import Stored
from windowcast.records.trial_log import (
    changes_of,
    differing,
    rating_id,
    rating_of,
    read_ratings_file,
    store_ratings,
    trial_log_path,
    trial_ratings,
)
from windowcast.trials.layout import plan_of
from windowcast.trials.trial_cells import TableSaid
from windowcast.trials.trial_columns import rated_named, role_named
from windowcast.trials.trial_file import TrialFile, trial_from
from windowcast.trials.trial_table import PlotValue, read_ratings

TOML = trial_text("glyphosate", "simazine", weed="POAAN", North="2025-11-18T10:15:00")


def trial(**changes: Any) -> TrialFile:
    import tomllib

    return trial_from(tomllib.loads(TOML) | changes)


ELSEWHERE: dict[str, Any] = {"seed": None}


def read(text: str, said: TableSaid | None = None, **changes: Any) -> list[PlotValue]:
    found = read_ratings(text, "r.csv", trial(**changes), said or TableSaid())
    return list(found.values)


def refused(text: str, said: TableSaid | None = None, **changes: Any) -> str:
    with pytest.raises(InputError) as error:
        read(text, said, **changes)
    return str(error.value)


def arms() -> dict[str, str]:
    """Treatment of each plot of the plan."""
    return {p.plot: p.arm.name for p in plan_of(trial())}


# --- what columns mean ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "measure", "weed", "when"),
    [
        ("POAAN control 28 DAT (%)", "control %", "POAAN", 28),
        ("Control_28DAT", "control %", "", 28),
        ("% control, annual bluegrass, 4 WAT", "control %", "POAAN", 28),
        ("injury 3/14/2026", "injury %", "", (3, 14)),
        ("Injury_2026-03-14", "injury %", "", dt.date(2026, 3, 14)),
        ("henbit cover Mar 14 2026", "cover %", "LAMAM", dt.date(2026, 3, 14)),
        ("Turf quality 14 mar 2026 (1-9)", "quality 1-9", "", dt.date(2026, 3, 14)),
        ("control (1-9) 28 DAT", None, "", None),
        ("No. weeds / ft2, 28 DAT", "count per m2", "", 28),
        ("TQ DAT14", "quality 1-9", "", 14),
        ("weed count per ft2 before", "count per m2", "", "before"),
        ("Dry weight (g/m2) 56 DAA", "biomass g per m2", "", 56),
        ("Cobertura de maleza 28 DDA", "cover %", "", 28),
        ("Daño 14 DDA", "injury %", "", 14),
        ("control of things", None, "", None),
        ("POAAN 28 DAT", "", "POAAN", 28),
        ("injury 28DAT-B", "injury %", "", 28),
    ],
)
def test_a_name_says_what_was_rated_of_which_weed_and_when(
    header: str, measure: str | None, weed: str, when: Any
) -> None:
    found = rated_named(header)
    if measure is None:
        assert found is None
        return
    assert found is not None
    assert (found.measure.id if found.measure else "") == measure
    assert found.weed == weed
    if when == "before":
        assert found.before
    elif isinstance(when, int):
        assert found.days == when
    elif isinstance(when, tuple):
        assert (found.date.first, found.date.second) == when  # type: ignore[union-attr]
    else:
        assert found.date == when


def test_names_of_columns_are_those_people_use() -> None:
    names = {"Rep": "block", "Location": "site", "TRT": "treatment", "Plot #": "plot",
             "Trt No.": "number", "DAT": "days", "Repetición": "block", "Parcela": "plot",
             "Eval Date": "date", "Rating": "value", "colour": None}  # fmt: skip
    assert {name: role_named(name) for name in names} == names


# --- wide and long --------------------------------------------------------------------------------


def test_a_wide_table_gives_a_value_for_each_cell() -> None:
    of = arms()
    text = "Rep,Plot,Trt,control 28 DAT,injury 14 DAT\n" + "".join(
        f"{plot[0]},{plot},{'UTC' if name == 'untreated' else name},{n},0\n"
        for n, (plot, name) in enumerate(of.items())
    )
    found = read(text)
    assert len(found) == 2 * len(of)
    first = found[0]
    assert (first.measure, first.weed, first.date) == ("control %", "POAAN", dt.date(2025, 12, 16))
    assert (found[1].measure, found[1].weed, found[1].value) == ("injury %", "", 0.0)
    assert {v.plot: v.arm.name for v in found} == of


def test_a_long_table_says_in_cells_what_a_wide_one_says_in_names() -> None:
    wide = read("plot,control 28 DAT,POAAN count 0 DAT\n101,80,12\n102,NA,8\n")
    long = read(
        "Plot;Measure;DAT;Value\n101;control %;28;80\n101;count per m2;0;12\n102;count;0;8\n"
    )
    assert [(v.key, v.value) for v in wide] == [(v.key, v.value) for v in long]
    assert [(v.value, v.before) for v in long] == [(80.0, False), (48.0, True), (32.0, True)]


def test_counts_belong_to_an_area_that_somebody_said() -> None:
    assert read("plot,count per ft2 28 DAT\n101,3\n")[0].value == pytest.approx(32.29, abs=0.01)
    assert read("plot,count 28 DAT\n101,3\n")[0].value == 12.0
    said = refused("plot,seedheads 28 DAT\n101,3\n")
    assert "r.csv: row 2: seedheads 28 DAT: does not say on what area it was counted" in said


def test_without_a_plan_the_table_says_what_a_plot_got() -> None:
    text = "rep,trt,control 12/16/2025\n1,1,0\n1,T2,90\n2,weedy check,5\n2,Glyphosate,80\n"
    found = read(text, **ELSEWHERE)
    assert [(v.plot, v.block, v.arm.name) for v in found] == [
        ("1-1", "1", "untreated"), ("1-2", "1", "glyphosate"),
        ("2-1", "2", "untreated"), ("2-2", "2", "glyphosate"),
    ]  # fmt: skip
    assert "has no column 'treatment'" in refused("plot,control 1 DAT\n1,2\n", **ELSEWHERE)


def test_a_factorial_is_named_by_active_and_timing() -> None:
    changes = {
        "design": "factorial", "seed": None, "timing": [{"code": "A"}, {"code": "B"}],
        "treatment": [{"name": "UTC plot", "check": "untreated"}, {"name": "x"}],
    }  # fmt: skip
    text = "plot,trt,timing,control\n1,x,B,3\n2,x A,,4\n3,NTC,,0\n"
    found = read(text, TableSaid(date="2026-01-02"), **changes)
    assert [v.arm.name for v in found] == ["x B", "x A", "UTC plot"]


# --- what is refused ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("plot,control 28 DAT\n101,104\n", "row 2: control 28 DAT: plot 101: 104 is not from 0 to"),
        ("plot,control 28 DAT\n101,-3\n102,200\n", "or empty the cell (1 more after this)"),
        ("plot,control 28 DAT\n101,x\n", "plot 101: 'x' is not a number"),
        ("plot,TQ 28 DAT\n101,6.3\n", "6.3 is no step or half step"),
        ("plot,control 28 DAT\n999,3\n", "plot 999 is not in the plan of North"),
        ("plot,trt,control 28 DAT\n101,simazin,3\n", "(close: simazine)"),
        ("plot,control 28 DAT\n101,3\n101,4\n", "row 3: control 28 DAT: plot 101 has a second"),
        ("plot,control\n101,3\n", "control: says no date; add a column 'date'"),
        ("plot,date,control\n101,3/4/2026,3\n", "could be 4 Mar 2026 or 3 Apr 2026; say which"),
        ("plot,date,control\n101,someday,3\n", "'someday' is not a date"),
        ("plot,vigor,control 28 DAT\n101,3,3\n", "column 'vigor' is not known"),
        ("plot,rep,block,control 28 DAT\n101,1,1,3\n", "'rep' and 'block' are the same"),
        ("plot,rep,control 28 DAT\n101,2,3\n", "plot 101 is in block 2 here and 1 in the plan"),
        ("plot,site,control 28 DAT\n101,East,3\n", "'East' is no site of the trial; use one of"),
        ("control 28 DAT\n3\n", "has no column 'plot'"),
        ("plot,trt\n101,1\n", "has no column of ratings"),
        ("plot,control 28 DAT\n", "has a header but no rows"),
        ("plot,date,measure,value\n101,2026-01-02,vigor,3\n", "'vigor' is not a measure"),
        ("plot,date,value\n101,2026-01-02,3\n", "does not say what was rated"),
    ],
)  # fmt: skip
def test_what_is_impossible_or_open_is_refused_in_a_line(text: str, said: str) -> None:
    assert said in refused(text)


def test_a_plot_with_another_treatment_than_planned_is_refused() -> None:
    wrong = next(n for n in ("glyphosate", "simazine") if n != arms()["101"])
    said = refused(f"plot,trt,control 28 DAT\n101,{wrong},3\n")
    assert f"plot 101 is {wrong!r} here and {arms()['101']!r} in the plan" in said


def test_days_need_the_day_of_the_treatment() -> None:
    said = refused("plot,control 28 DAT\n101,3\n", timing=[{"code": "A"}])
    assert "the trial file does not say when that was; write it there: [timing.applied]" in said


def test_days_count_from_the_timing_that_is_named() -> None:
    timings = [{"code": c, "applied": {"North": f"2025-1{n}-01"}} for n, c in enumerate("AB")]
    assert "after which of the applications; add its code, 'control 28 DAT A'" in (
        refused("plot,control 28 DAT\n101,3\n", timing=timings)
    )
    found = read("plot,control 28 DAT-B,control 28 DAT A\n101,3,4\n", timing=timings)
    assert [v.date for v in found] == [dt.date(2025, 11, 29), dt.date(2025, 10, 29)]


def test_frames_of_a_plot_are_numbered_and_notes_kept() -> None:
    text = "plot,sample,count 28 DAT,notes\n101,1,3,wet\n101,2,5,\n"
    found = read(text)
    assert [(v.sample, v.notes, v.value) for v in found] == [("1", "wet", 12.0), ("2", "", 20.0)]


def test_a_value_with_a_day_stays_the_same_when_the_treatment_is_put_in() -> None:
    text = "plot,count,date\n101,3,2025-09-20\n"
    (open_,), (known,) = read(text, timing=[{"code": "A"}]), read(text)
    assert (open_.before, known.before) == (False, True)
    assert open_.key == known.key


@pytest.mark.parametrize(
    ("cells", "row"),
    [(["95%", "0.8", "0.9"], 3), (["0.95", "0", "1"], 2), (["0", "1", "NA"], 3)],
)
def test_percentages_that_may_be_shares_are_asked(cells: list[str], row: int) -> None:
    lines = [f"{plot},{cell}" for plot, cell in zip(("101", "102", "103"), cells, strict=True)]
    said = refused("\n".join(["plot,control 28 DAT", *lines]))
    assert f"r.csv: row {row}: control 28 DAT: plot 10" in said
    assert "with its sign, such as 85%, in a CSV file" in said


def test_percentages_that_are_plain_are_read() -> None:
    for cells in (["0.8%", "0", "1%"], ["82%", "0", "87"], ["0.5", "0", "3"], ["0", "0", "0"]):
        lines = [f"{plot},{cell}" for plot, cell in zip(("101", "102", "103"), cells, strict=True)]
        found = read("\n".join(["plot,control 28 DAT", *lines]))
        assert [v.value for v in found] == [float(cell.strip("%")) for cell in cells]


def test_cells_that_a_workbook_shows_in_percent_are_asked(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "r.xlsx") as book:
        sheet, percent = book.add_worksheet(), book.add_format({"num_format": "0%"})
        sheet.write_row(0, 0, ["plot", "control 28 DAT"])
        for row, value in enumerate((0.85, 0.9), 1):
            sheet.write(row, 0, 100 + row)
            sheet.write(row, 1, value, percent)
    with pytest.raises(InputError, match=r"plot 101: 0.85 may be 0.85 % or 85 %"):
        read_ratings_file(tmp_path / "r.xlsx", trial())


def test_without_a_plan_plots_may_be_numbered_within_blocks() -> None:
    text = "rep,plot,trt,control 28 DAT\n1,1,untreated,0\n1,2,simazine,50\n2,1,simazine,55\n"
    found = read(text + "2,2,untreated,0\n", **ELSEWHERE)
    assert len({v.key for v in found}) == 4
    said = refused(text + "2,1,untreated,0\n", **ELSEWHERE)
    assert "plot 1 is 'untreated' here and 'simazine' in row 4" in said
    now = dt.datetime.now(dt.UTC)
    kept = [Stored(rating_id(v, "Timing"), rating_of(v, "Timing"), 1, 1, now) for v in found]
    assert changes_of(found, kept, "Timing").same == 4
    without = read("plot,trt,control 28 DAT\n1,untreated,9\n", **ELSEWHERE)
    with pytest.raises(InputError, match="is stored with a block, and has none here"):
        changes_of(without, kept, "Timing")


def test_two_plots_of_a_treatment_in_a_block_are_not_taken_as_frames() -> None:
    text = "rep,trt,control 28 DAT\n1,simazine,40\n1,simazine,50\n"
    said = refused(text, **ELSEWHERE)
    assert "'simazine' in block 1 has a second value of control % (the first in row 2)" in said
    assert "number the plots in a column 'plot', or the frames of one plot in 'sample'" in said
    double = [{"name": "untreated", "check": "untreated"}, {"name": "simazine", "plots": 2}]
    sampled = "rep,trt,sample,control 28 DAT\n1,simazine,1,40\n1,simazine,2,50\n"
    assert "'simazine' has 2 plots in each block; number them in a column 'plot'" in (
        refused(sampled, **ELSEWHERE, treatment=double)
    )


# --- any dialect ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(8))
def test_a_table_in_any_dialect_gives_the_same_values(seed: int) -> None:
    """Delimiter, decimal mark, order of dates, names of columns and order of rows at random."""
    chance = random.Random(seed)
    of = list(arms().items())
    chance.shuffle(of)
    day = dt.date(2026, 1, chance.randint(13, 28))
    values = {plot: chance.randint(1, 199) / 2 for plot, _ in of}
    delimiter, mark = chance.choice([(",", "."), (";", ","), ("\t", "."), ("|", ",")])
    written = chance.choice(["%m/%d/%Y", "%d.%m.%Y", "%Y-%m-%d", "%d %b %Y", "%b %d, %Y"])
    if delimiter == ",":
        written = written.replace(",", "")
    heads = [chance.choice(["Plot", "PLOT #", "parcela"]), chance.choice(["TRT", "Treatment"]),
             chance.choice(["Rating Date", "fecha"]),
             chance.choice(["Control (%)", "Efficacy"])]  # fmt: skip
    untreated = chance.choice(["UTC", "ntc", "Untreated Check", "weedy check", "Non-treated"])
    lines = [heads] + [
        [plot, untreated if name == "untreated" else name, day.strftime(written),
         f"{values[plot]:.1f}".replace(".", mark)]
        for plot, name in of
    ]  # fmt: skip
    found = read("\r\n".join(delimiter.join(line) for line in lines))
    assert {v.plot: v.value for v in found} == values
    assert {v.date for v in found} == {day}
    assert {v.plot: v.arm.name for v in found} == dict(of)


# --- shown, stored, revised -----------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "t.toml").write_text(TOML)
    (tmp_path / "r.csv").write_text("plot,control 28 DAT\n101,80\n102,85\n")
    return tmp_path


def test_it_is_shown_first_then_stored_and_read_again_without_doubles(folder: Path) -> None:
    run = CliRunner().invoke
    shown = run(cli, ["trial", "import", "t.toml", "r.csv"])
    assert "'control 28 DAT': weed control (%), 28 days after treatment" in shown.output
    assert "2 new values." in shown.output
    assert "Nothing is stored yet." in shown.output
    assert not (folder / "t.log.sqlite").exists()
    assert "Stored in" in run(cli, ["trial", "import", "t.toml", "r.csv", "--yes"]).output
    again = run(cli, ["trial", "import", "t.toml", "r.csv", "--yes", "--lang", "es"]).output
    assert "2 valores ya están guardados." in again


def test_a_corrected_value_becomes_a_new_version_and_the_old_one_stays(folder: Path) -> None:
    run = CliRunner().invoke
    run(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    (folder / "r.csv").write_text("plot,control 28 DAT\n101,80\n102,58\n103,1\n")
    output = run(cli, ["trial", "import", "t.toml", "r.csv", "--yes"]).output
    assert "North, plot 102, 16 Dec 2025: 85 becomes 58" in output
    with SeasonLog(folder / "t.log.sqlite") as log:
        stored = trial_ratings(log, "Timing")
        assert sorted(s.entry.value for s in stored) == [1.0, 58.0, 80.0]
        (revised,) = [s for s in stored if s.version == 2]
        bodies = [r.body for change in log.history(revised.id) for r in change.revisions]
        assert [b["value"] for b in bodies if b] == [85.0, 58.0]


def test_a_value_that_stays_is_not_said_to_become_itself(folder: Path) -> None:
    run = CliRunner().invoke
    (folder / "r.csv").write_text("plot,control 28 DAT,notes\n101,80,\n102,85,edge\n")
    run(cli, ["trial", "import", "t.toml", "r.csv", "--yes"])
    (folder / "r.csv").write_text("plot,control 28 DAT,notes\n101,80,wet\n102,85,\n")
    output = run(cli, ["trial", "import", "t.toml", "r.csv"]).output
    assert "North, plot 101, 16 Dec 2025: 80 stays, notes (none) becomes wet" in output
    assert "North, plot 102, 16 Dec 2025: 85 stays, notes edge becomes (none)" in output
    spanish = run(cli, ["trial", "import", "t.toml", "r.csv", "--lang", "es"]).output
    assert "80 queda, notas (nada) pasa a wet" in spanish
    with SeasonLog(folder / "t.log.sqlite") as log:
        (one, _) = sorted((s.entry for s in trial_ratings(log, "Timing")), key=lambda r: r.plot)
    assert differing(one, replace(one, value=one.value * (1 + 1e-12))) == ()
    assert differing(one, replace(one, value=one.value + 0.1, before=True)) == ("value", "before")


def test_a_faulty_file_stores_nothing_and_ends_with_2(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "r.csv").write_text("plot,control 28 DAT\n101,80\n102,850\n")
    with pytest.raises(SystemExit) as end:
        main(["trial", "import", "t.toml", "r.csv", "--yes", "--lang", "es"])
    assert end.value.code == 2
    assert "r.csv: fila 3: control 28 DAT: parcela 102: 850 no está entre 0 y 100" in (
        capsys.readouterr().err
    )
    assert not (folder / "t.log.sqlite").exists()


def test_a_sheet_of_a_workbook_is_read_too(folder: Path) -> None:
    with xlsxwriter.Workbook(folder / "r.xlsx") as book:
        book.add_worksheet("Notes").write(0, 0, "wet")
        sheet = book.add_worksheet("Ratings")
        for row, cells in enumerate([["Plot", "Control (%)", "Date"], [101, 80.5, "12/16/2025"]]):
            sheet.write_row(row, 0, cells)
    found = read_ratings_file(f"{folder / 'r.xlsx'}:sheet=Ratings", trial())
    assert [v.value for v in found.values] == [80.5]


TWO = trial_text("glyphosate", North="2025-11-01", South="2025-11-02").replace(
    'what = "count per m2"', 'what = "injury %"'
)


def test_what_a_table_leaves_open_is_said_behind_its_name(folder: Path) -> None:
    import tomllib

    two = trial_from(tomllib.loads(TWO))
    (folder / "s.csv").write_text("Plot;Value;Weather\n101;80,5;wet\n102;70;wet\n")
    said = "dates=mdy,decimal=comma,measure=control %,weed=POANN,site=South,date=12/3/2025"
    with pytest.raises(InputError, match="'Weather' is not known"):
        read_ratings_file(f"s.csv:{said}", two)
    found = read_ratings_file(f"s.csv:{said.replace('POANN', 'STEME')},unknown=ignore", two).values
    assert [(v.site, v.plot, v.date, v.measure, v.weed, v.value) for v in found] == [
        ("South", "101", dt.date(2025, 12, 3), "control %", "STEME", 80.5),
        ("South", "102", dt.date(2025, 12, 3), "control %", "STEME", 70.0),
    ]  # fmt: skip
    other = said.replace("mdy", "dmy").replace("POANN", "STEME").replace("12/3", "3/12")
    assert read_ratings_file(f"s.csv:{other},unknown=ignore", two).values == found


def test_439_ratings_are_one_step(folder: Path) -> None:
    asked = trial(
        replicates=49, treatment=[{"name": n, "check": "untreated"} for n in "ab"] + [{"name": "c"}]
    )
    plots = plan_of(asked)
    text = "plot,count 2 DAT,injury 2 DAT,control 2 DAT\n" + "".join(
        f"{p.plot},5,0,9\n" for p in plots
    )
    found = read_ratings(text, "r.csv", asked, TableSaid()).values
    with SeasonLog(trial_log_path(asked, folder / "t.toml")) as log:
        store_ratings(log, changes_of(found, [], "Timing"), "Timing")
        assert len(log.all(Rating)) == 441
