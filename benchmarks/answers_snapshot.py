"""The program's main answers in one small file, and what changed between two such files.

    python benchmarks/answers_snapshot.py STATION.txt.gz... --out NEW.json.gz
    python benchmarks/answers_snapshot.py --compare OLD.json.gz NEW.json.gz

Answers for the sample, and for each USCRN daily01 file given on twelve dates of its last whole
season. The sites are made up around the stations, and so are the wind and humidity of the days
ahead, which these files lack. `--mature` says of each that its turf is older than two seasons. Only
what decides is kept: what is open and when, the best window with its score and odds, key dates,
turf, the best date of each pre-emergent, exit codes.

The comparison counts the changes by kind and shows some of each; shares and scores count as
changed from a hundredth and a point on.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import datetime as dt
import gzip
import io
import json
import math
import os
import re
import tempfile
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tzfpy import get_tz

from windowcast.api import plan_of
from windowcast.cli import main as windowcast
from windowcast.cli.options import Start
from windowcast.core.errors import WindowcastError
from windowcast.report.catalogue import Voice
from windowcast.report.season import plan_json
from windowcast.report.tables import json_text

VOICE = Voice("metric", "en")
DAYS = ("08-20", "09-10", "09-25", "10-15", "11-01", "11-20", "12-10", "01-10", "02-05")
DAYS += ("02-25", "03-20", "04-20")
TURF = (  # one for each station in turn
    {"species": "hybrid bermudagrass", "overseeded": False},
    {"species": "zoysiagrass", "overseeded": False},
    {"species": "hybrid bermudagrass", "overseeded": True},
    {"species": "common bermudagrass", "overseeded": False},
    {"species": "st. augustinegrass", "overseeded": False},
)
STOCK = ("prodiamine", "indaziflam", "foramsulfuron", "glyphosate", "flumioxazin")
BAD = {  # what is wrong → words of the command line
    "sample on another day": ["rank", "--sample", "--date", "2018-02-01"],
    "no site": ["rank"],
    "unknown active": ["rank", "--sample", "--active", "sodium chloride"],
    "unknown purpose": ["rank", "--sample", "--purpose", "summer"],
    "no such site file": ["season", "nowhere.toml"],
    "no such weather file": ["rank", "--sample", "--weather", "nowhere.csv"],
    "help": ["--help"],
}
NEAR = {"score": 1.0, "share": 0.01, "caught": 0.01, "reopens": 0.01}
SHOWN = 6  # examples of each kind


def snapshot(files: list[Path], *, mature: bool = False) -> dict[str, Any]:
    runs = {"sample": answers(Start(None, True, (), None, True))}
    with tempfile.TemporaryDirectory() as folder:
        os.environ["WINDOWCAST_CACHE"] = str(Path(folder) / "cache")
        for number, file in enumerate(files):
            name = file.name.split(".")[0]
            place, days = placed(file)
            for day in days:
                site = Path(folder) / f"{name}.toml"
                site.write_text(site_text(place, TURF[number % len(TURF)], mature=mature), "utf-8")
                hours = Path(folder) / f"{name}_{day}.csv"
                write_hours(hours, day)
                start = Start(site, False, (str(file), str(hours)), str(day), True)
                runs[f"{name} {day}"] = answers(start)
        exits = {what: exit_code(words) for what, words in BAD.items()}
    return {"runs": runs, "exits": exits}


def answers(start: Start) -> dict[str, Any]:
    try:
        (answer,) = start.answers()
        ranking = json.loads(json_text(answer.ranking, voice=VOICE))
        plan = json.loads(plan_json(plan_of(answer), voice=VOICE))
    except WindowcastError as error:
        return {"exit": error.exit_code}
    return {
        "exit": 0,
        "turf": {
            "phase": int(answer.past.turf.phase[-1]),
            "nonselective_safe": rounded(float(answer.past.turf.nonselective_safe[-1])),
            "soil_5cm_c": rounded(float(answer.past.soil_5cm_c[-1])),
        },
        "rank": {outlook["purpose"]: ranked(outlook) for outlook in ranking["purposes"]},
        "dates": {key["name"]: key_date(key) for key in plan["key_dates"]},
        "season": {purpose["purpose"]: planned(purpose) for purpose in plan["purposes"]},
    }


def ranked(outlook: dict[str, Any]) -> dict[str, Any]:
    best = next(iter(outlook["windows"]), None)
    return {
        **{key: outlook[key] for key in ("in_season", "cannot_tell", "opens", "closes")},
        "windows": len(outlook["windows"]),
        "best": best and window(best),
        "closest": outlook["closest"] and window(outlook["closest"]),
        "stock": {
            fit["active"]: chosen(fit, "verdict", "start", "score") for fit in outlook["stock"]
        },
        "covers": {cover["active"]: best_cover(cover) for cover in outlook["covers"]},
    }


def window(found: dict[str, Any]) -> dict[str, Any]:
    odds, limiting = found["odds"], found["limiting"]
    return {
        **chosen(found, "verdict", "start", "end", "score"),
        "share": odds and rounded(odds["share"]),
        "limited_by": limiting and limiting["criterion"],
    }


def key_date(key: dict[str, Any]) -> dict[str, Any]:
    return {"passed": key["passed"], "ahead": band(key["ahead"]), "normal": band(key["normal"])}


def planned(purpose: dict[str, Any]) -> dict[str, Any]:
    return {
        **chosen(purpose, "status", "opened", "closed", "reopens"),
        "opens": band(purpose["opens"]),
        "closes": band(purpose["closes"]),
        "decision": purpose["decision"] and chosen(purpose["decision"], "choice", "act_on"),
        "covers": {cover["active"]: best_cover(cover) for cover in purpose["covers"]},
    }


def best_cover(cover: dict[str, Any]) -> dict[str, Any] | None:
    return cover["best"] and chosen(cover["best"], "date", "caught")


def band(when: dict[str, Any] | None) -> str | None:
    """Median with its band on one line; a date that never comes is "never"."""
    if when is None:
        return None
    early, median, late = (when[part] or "never" for part in ("early", "median", "late"))
    return f"{median} ({early} to {late})"


def chosen(found: dict[str, Any], *keys: str) -> dict[str, Any]:
    return {key: rounded(found[key]) for key in keys}


def rounded(value: Any) -> Any:
    if not isinstance(value, float):
        return value
    return None if math.isnan(value) else round(value, 3)


def placed(file: Path) -> tuple[tuple[float, float], list[dt.date]]:
    """Where a station stands, and the dates asked for: twelve of its last whole season."""
    with gzip.open(file, "rt", encoding="ascii") as lines:
        rows = [line.split()[:5] for line in lines]
    _, last, _, longitude, latitude = rows[-1]
    end = dt.date(int(last[:4]), int(last[4:6]), int(last[6:8]))
    start = end.year - 1 if (end.month, end.day) >= (6, 30) else end.year - 2
    years = [start + (day < "07") for day in DAYS]
    dates = [dt.date.fromisoformat(f"{year}-{day}") for year, day in zip(years, DAYS, strict=True)]
    return (float(latitude), float(longitude)), dates


def site_text(place: tuple[float, float], turf: dict[str, Any], *, mature: bool) -> str:
    latitude, longitude = place
    return f"""name = "Larkfield Green"
latitude = {latitude}
longitude = {longitude}
elevation_m = 150
timezone = "{get_tz(longitude, latitude)}"
units = "metric"
weeds = ["POAAN", "DIGIS"]
stock = {json.dumps(STOCK)}
[turf]
species = "{turf["species"]}"
overseeded = {str(turf["overseeded"]).lower()}
irrigated = true
{"mature = true" if mature else ""}
[soil]
texture = "loam"
"""


def write_hours(path: Path, day: dt.date) -> None:
    """Made-up wind, humidity and cloud of ten days: calm nights, breezy afternoons, two gales."""
    with path.open("w", newline="", encoding="ascii") as out:
        table = csv.writer(out)
        table.writerow(
            ["time_utc", "rh_pct", "wind_m_s", "gust_m_s", "wind_from_deg", "cloud_fraction"]
        )
        for hour in range(24 * 10):
            sun = math.sin((hour % 24 - 14) / 24 * 2 * math.pi)
            gale = 6.0 if hour // 24 in (2, 6) else 0.0
            wind = 2.2 + 1.2 * sun + gale
            at = dt.datetime.combine(day, dt.time()) + dt.timedelta(hours=hour)
            values = (65 - 20 * sun, wind, 1.5 * wind, 220, 0.3)
            table.writerow([f"{at:%Y-%m-%dT%H:%M}", *(f"{value:.2f}" for value in values)])


def exit_code(words: list[str]) -> int:
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        try:
            windowcast(words)
        except SystemExit as stop:
            return int(stop.code or 0)
    return 0


def flat(node: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[tuple[str, ...], Any]]:
    if isinstance(node, dict) and node:
        for key, item in node.items():
            yield from flat(item, (*path, key))
    else:
        yield path, node


def differs(kind: str, old: Any, new: Any) -> bool:
    if isinstance(old, float) and isinstance(new, float):
        return abs(old - new) >= NEAR.get(kind.rsplit(" ", 1)[-1], 0.005)
    return bool(old != new)


def kind_of(path: tuple[str, ...]) -> str:
    """What a value is, without which run, purpose, key date or active it belongs to."""
    if path[0] == "exits":
        return "exit code"
    _, _, where, *rest = path
    if where in ("rank", "season", "dates"):
        rest = rest[1:]
    if rest[:1] in (["stock"], ["covers"]):
        rest = [rest[0], *rest[2:]]
    return " ".join([where, *rest])


def compared(old: dict[str, Any], new: dict[str, Any]) -> str:
    """What changed, as a Markdown table: one row per kind, then examples."""
    before, after = dict(flat(old)), dict(flat(new))
    total: dict[str, int] = defaultdict(int)
    changes: dict[str, list[str]] = defaultdict(list)
    for path in dict.fromkeys([*before, *after]):
        kind = kind_of(path)
        total[kind] += 1
        was, now = before.get(path, "-"), after.get(path, "-")
        if differs(kind, was, now):
            where = " ".join(part for part in path[1:] if part not in kind.split())
            changes[kind].append(f"{where}: {was} → {now}")
    lines = ["| what | changed | of |", "| --- | ---: | ---: |"]
    lines += [f"| {kind} | {len(changes[kind])} | {count} |" for kind, count in total.items()]
    for kind, found in changes.items():
        if not found:
            continue
        step = max(1, len(found) // SHOWN)
        lines += ["", f"**{kind}** ({len(found)})", ""]
        lines += [f"- {text}" for text in found[::step][:SHOWN]]
    return "\n".join(lines)


def read(path: Path) -> dict[str, Any]:
    data = path.read_bytes()
    found: dict[str, Any] = json.loads(gzip.decompress(data) if data[:2] == b"\x1f\x8b" else data)
    return found


def write(path: Path, found: dict[str, Any]) -> None:
    text = json.dumps(found, sort_keys=True, ensure_ascii=False, indent=0) + "\n"
    data = text.encode()
    path.write_bytes(gzip.compress(data, mtime=0) if path.suffix == ".gz" else data)


def main() -> None:
    parser = argparse.ArgumentParser(description=re.split(r"\n\n", __doc__ or "")[0])
    parser.add_argument("files", nargs="*", type=Path, metavar="STATION.txt.gz")
    parser.add_argument("--out", type=Path, default=Path("answers.json.gz"))
    parser.add_argument("--mature", action="store_true")
    parser.add_argument("--compare", nargs=2, type=Path, metavar=("OLD", "NEW"))
    asked = parser.parse_args()
    if asked.compare:
        old, new = asked.compare
        print(compared(read(old), read(new)))
        return
    write(asked.out, snapshot(asked.files, mature=asked.mature))
    print(f"{asked.out}: {asked.out.stat().st_size} bytes")


if __name__ == "__main__":
    main()
