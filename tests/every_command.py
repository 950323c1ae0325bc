"""A folder in which every command has something to say, and the words that make each say it."""

from __future__ import annotations

import datetime as dt
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path

import click
import pytest
from trial_fixtures import rated, trial_text

from windowcast.cli import cli
from windowcast.core.site_template import Answers, site_toml
from windowcast.records.model import FieldNote
from windowcast.records.store import SeasonLog
from windowcast.records.trial_log import trial_log_path
from windowcast.sources.bundle import At, write_bundle
from windowcast.sources.cache import Cache
from windowcast.trials.layout import plan_of
from windowcast.trials.trial_file import load_trial
from windowcast.weather.sample import SAMPLE_TODAY, sample_folder

DATA = Path(__file__).parent / "data"
ON = ["--date", str(SAMPLE_TODAY), "--offline"]
SPRAY = [
    "application", "start=2018-01-11T13:00", "active=glyphosate 0.5 kg/ha", "--no-weather",
]  # fmt: skip

# command → words behind it, run in a copy of the folder that `prepared` makes
COMMANDS: Mapping[str, list[str]] = {
    "init": ["new.toml", "--yes", "--name", "Quinta", "--lat", "38.6", "--lon", "-9.1"],
    "rank": ["own.toml", *ON],
    "season": ["own.toml", *ON],
    "plan": ["own.toml", "--date", str(SAMPLE_TODAY), "--seasons", "2"],
    "weather check": ["daily.csv.gz"],
    "weather clear": ["--all"],
    "weather doctor": [],
    "weather export": ["own.toml", "--files"],
    "weather fetch": ["own.toml", "--offline"],
    "weather import": ["carried.zip"],
    "weather status": [],
    "actives": [],
    "weeds": [],
    "tank active": ["simazine"],
    "tank equivalent": ["2 lb/acre", "--from", "50%", "--to", "90%"],
    "tank nozzle": ["--carrier", "40 gal/acre", "--speed", "4 mph", "--spacing", "20 in"],
    "tank rate": ["16 fl oz/acre", "--concentration", "4 lb/gal"],
    "tank sheet": [
        "own.toml",
        "--area",
        "2 acre",
        "--carrier",
        "25 gal/acre",
        "--tank",
        "60 gal",
        "--product",
        "glyphosate rate=16 fl oz/acre concentration=4 lb/gal formulation=SL",
        *ON,
    ],
    "log add": [*SPRAY, "--site", "own.toml"],
    "log backup": ["copy.sqlite", "--site", "own.toml"],
    "log edit": ["ID", "text=wet", "--site", "own.toml"],
    "log export": ["--site", "own.toml"],
    "log history": ["--site", "own.toml"],
    "log import": ["entries.csv", "--site", "own.toml", "--dry-run"],
    "log list": ["--site", "own.toml"],
    "log remove": ["ID", "--site", "own.toml"],
    "log show": ["ID", "--site", "own.toml"],
    "log undo": ["--site", "own.toml"],
    "review": ["own.toml", *ON],
    "trial analyse": ["trial.toml"],
    "trial dose": ["pots.csv"],
    "trial evidence": ["own.toml"],
    "trial threshold": ["trial.toml", "--cost", "45 USD/acre", "--worth", "3 USD/acre"],
    "trial import": ["trial.toml", "ratings.csv"],
    "trial new": ["another.toml", "--site", "North=33.2,-84.2"],
    "trial plan": ["trial.toml"],
    "trial power": ["trial.toml", "--difference", "20"],
    "trial pool": ["trial.toml"],
    "trial report": ["trial.toml", "--out", "report"],
    "trial sheet": ["trial.toml"],
    "watch": ["own.toml", *ON],
    "compare": ["stations", "--since", "2015", "--until", "2017", "--offline", "--workers", "1"],
    "verify soil": [
        str(DATA / "uscrn" / "AL_Selma_13_WNW.txt.gz"),
        "--readings",
        "0",
        "--format",
        "table",
    ],
    "verify dates": [str(DATA / "uscrn"), "--issue", "08-20", "--format", "table"],
    "verify odds": ["--sample", "--seasons", "1", "--every", "60", "--members", "20"],
    "verify advice": [
        str(DATA / "uscrn" / "KY_Bowling_Green_21_NNE.txt.gz"),
        *["--seasons", "1", "--others-every", "60", "--futures", "10", "--only", "dormant"],
    ],
    "verify here": ["own.toml", *ON],
    "verify turf": [str(DATA / "turf" / "observed.csv"), "--weather", str(DATA / "turf")],
    "verify emergence": [str(DATA / "uscrn" / "OH_Coshocton_8_NNE.txt.gz")],
    "service install": ["--dry-run"],
    "service remove": [],
    "service status": [],
    "docs": [],
    "completion": ["zsh"],
    "man": [],
    "doctor": ["own.toml", "--offline"],
}
# exit codes other than 0 that the words of `COMMANDS` rightly end with
ENDS = {"weather export": 3, "weather fetch": 3, "watch": 10, "service status": 1}
SERVICES = ("ARCHIVE", "FORECAST", "MOSMIX", "METNO", "COARSE_GRID", "USCRN", "NRCS")
UNSAID = {"serve"}  # it runs until it is ended: tests/test_serve.py


def leaves(group: click.Group = cli, before: str = "") -> Iterator[str]:
    """Every command by its words."""
    context = click.Context(group)
    for name in group.list_commands(context):
        found = group.get_command(context, name)
        if isinstance(found, click.Group):
            yield from leaves(found, f"{before}{name} ")
        else:
            yield f"{before}{name}"


def prepared(folder: Path) -> Path:
    """Fill a folder."""
    files = ("daily.csv.gz", "hourly.csv.gz")
    for name in files:
        shutil.copy(sample_folder() / name, folder / name)
    text = site_toml(
        Answers("Own Ground", 36.0, -79.1, units="us", overseeded=False, mature=True,
                weather_files=files)
    )  # fmt: skip
    (folder / "own.toml").write_text(f'own_trials = ["trial.toml"]\n{text}')
    (folder / "stations").mkdir()
    shutil.copy(folder / "daily.csv.gz", folder / "stations" / "own.csv.gz")
    file = folder / "trial.toml"
    file.write_text(trial_text("glyphosate", "simazine", North="2017-11-18T10:15:00"))
    trial = load_trial(file)
    levels = {"untreated": 0.0, "glyphosate": 90.0, "simazine": 70.0}
    with SeasonLog(trial_log_path(trial, file)) as log:
        log.add(*rated(trial, 28, levels=levels))
    plots = [(plot.plot, plot.arm.name) for plot in plan_of(trial)]
    rows = [f"{plot},2017-12-30,{levels[arm]:.0f}" for plot, arm in plots]
    (folder / "ratings.csv").write_text("\n".join(["plot,date,control %", *rows]))
    doses = [(dose, 100 / (1 + (dose / 40) ** 2) + n) for dose in (0, 10, 20, 40, 80, 160)
             for n in range(3)]  # fmt: skip
    pots = [f"{dose},S1,{weight:.2f}" for dose, weight in doses]
    (folder / "pots.csv").write_text("\n".join(["dose,population,dry weight", *pots]))
    with SeasonLog(folder / "own.log.sqlite") as log:
        log.add(FieldNote(dt.date(2018, 1, 5), "henbit beside the path"))
        (last,) = log.add(FieldNote(dt.date(2018, 1, 9), "first frost"))
    (folder / "id").write_text(last, encoding="utf-8")
    at = At(name="Own Ground", latitude=36.0, longitude=-79.1)
    write_bundle(folder / "carried.zip", Cache(folder), [], at, files=[("daily.csv", b"date")])
    (folder / "entries.csv").write_text("kind,date,text\nnote,2018-01-10,dry\n")
    return folder


def words_of(command: str, folder: Path) -> list[str]:
    """The words of a command in a prepared folder, with the id of the last entry of its log."""
    last = (folder / "id").read_text(encoding="utf-8")
    return [*command.split(), *(last if word == "ID" else word for word in COMMANDS[command])]


def own_copy(stock: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of a prepared folder to spoil, made the working folder; nothing is reached from it."""
    own = shutil.copytree(stock, tmp_path / "own")
    for service in SERVICES:
        monkeypatch.setenv(f"WINDOWCAST_{service}_URL", "http://127.0.0.1:9")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(own)
    return own


def run(words: list[str], **how: object) -> subprocess.CompletedProcess[str]:
    around = {**os.environ, **how.pop("env", {})}  # type: ignore[dict-item]
    command = [sys.executable, "-m", "windowcast", *words]
    streams = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE} | how
    return subprocess.run(command, text=True, errors="replace", check=False, env=around, **streams)  # type: ignore[call-overload,no-any-return]


def all_run_here(stock: Path, output: str, table: Path, **env: str) -> dict[str, tuple[int, str]]:
    """Exit code and errors of every command, run in one process (`every_command_here`)."""
    script = Path(__file__).with_name("every_command_here.py")
    services = {f"WINDOWCAST_{service}_URL": "http://127.0.0.1:9" for service in SERVICES}
    around = {**os.environ, **services, "XDG_CONFIG_HOME": str(table.parent / "config"), **env}
    words = ["-X", "warn_default_encoding", str(script), str(stock), output, str(table)]
    subprocess.run([sys.executable, *words], check=True, env=around)
    found: dict[str, tuple[int, str]] = json.loads(table.read_text(encoding="utf-8"))
    assert set(found) == set(COMMANDS)
    return found
