"""The data of a trial as tidy tables with a description that programs read.

The description is a Data Package (Frictionless, version 1) with a Table Schema for each table:
https://specs.frictionlessdata.io.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from windowcast.core.spreadsheet_cells import as_text
from windowcast.core.version import __version__
from windowcast.records.dose_trials import Dosed
from windowcast.records.model import Rating
from windowcast.records.trial_rounds import TrialRound, days_after, is_before
from windowcast.records.trial_weather import AppliedHour
from windowcast.trials.layout import arms_of
from windowcast.trials.model import TrialAnalysis
from windowcast.trials.rated_measures import MEASURES
from windowcast.trials.trial_file import TrialFile

Field = tuple[str, str, str]  # name, type, what it is
RATINGS: tuple[Field, ...] = (
    ("round", "string", "Name of the round: what was rated, and when"),
    ("site", "string", "Site"),
    ("block", "string", "Block, empty where there are none"),
    ("plot", "string", "Plot"),
    ("treatment_number", "integer", "Number of the treatment"),
    ("treatment", "string", "Treatment"),
    ("check", "string", "Kind of check: untreated, weed-free or standard"),
    ("timing", "string", "Codes of the applications"),
    ("materials", "string", "Active ingredients with their rates"),
    ("date", "date", "Day of the rating"),
    ("days_after_treatment", "integer", "Days from the site's last application"),
    ("measure", "string", "What was rated"),
    ("unit", "string", "Unit of the value"),
    ("weed", "string", "EPPO code of the weed"),
    ("before", "boolean", "Whether it was taken before treatment"),
    ("value", "number", "Value in its unit"),
)
ROUNDS: tuple[Field, ...] = (
    ("round", "string", "Name of the round"),
    ("measure", "string", "What was rated"),
    ("weed", "string", "EPPO code of the weed"),
    ("kind", "string", "How its values vary: percent, ordinal, count, biomass, amount"),
    ("low", "number", "Lowest value there can be"),
    ("high", "number", "Highest value there can be"),
    ("design", "string", "Design"),
    ("link", "string", "Scale of differences"),
    ("error_df", "number", "Degrees of freedom of the error"),
    ("problem", "string", "Why there is no analysis"),
)
OVER_DAYS: tuple[Field, ...] = (
    ("round", "string", "Name of the round"),
    ("site", "string", "Site"),
    ("block", "string", "Block, empty where there are none"),
    ("plot", "string", "Plot"),
    ("treatment", "string", "Treatment"),
    ("first", "date", "Day of the first rating"),
    ("last", "date", "Day of the last rating"),
    ("value", "number", "Area under the plot's ratings divided by the days, in their unit"),
)
MEANS: tuple[Field, ...] = (
    ("round", "string", "Name of the round"),
    ("treatment", "string", "Treatment"),
    ("plots", "integer", "Plots"),
    ("mean", "number", "Adjusted mean in the unit of the measure"),
    ("low", "number", "Lower end of its 95 % interval"),
    ("high", "number", "Upper end of its 95 % interval"),
    ("letters", "string", "Between treatments that share one no difference shows (Tukey, 5 %)"),
    ("bound", "boolean", "Whether the ends are bounds, because plots did not vary"),
)
COMPARISONS: tuple[Field, ...] = (
    ("round", "string", "Name of the round"),
    ("family", "string", "Comparisons with one error rate: check (Dunnett), all (Tukey), factor"),
    ("first", "string", "Treatment or level"),
    ("second", "string", "What it is compared with"),
    ("within", "string", "Level of the other factor it is compared within"),
    ("difference", "number", "First less second, on the scale of the link"),
    ("low", "number", "Lower end of its simultaneous 95 % interval"),
    ("high", "number", "Upper end of its simultaneous 95 % interval"),
    ("df", "number", "Degrees of freedom"),
    ("p", "number", "Adjusted for the family"),
    ("percent", "number", "Percent less than the second"),
    ("percent_low", "number", "Lower end of its interval"),
    ("percent_high", "number", "Upper end of its interval"),
)
DOSES: tuple[Field, ...] = (
    ("round", "string", "Name of the round"),
    ("population", "string", "Active ingredient, and site where there are several"),
    ("percent", "number", "Share of what the highest doses do, in percent"),
    ("dose", "number", "Dose that does it, in kg of active ingredient per hectare"),
    ("low", "number", "Lower end of its 95 % interval"),
    ("high", "number", "Upper end of its 95 % interval"),
    ("tested", "boolean", "Whether it lies among the doses of the trial"),
)
APPLICATIONS: tuple[Field, ...] = (
    ("site", "string", "Site"),
    ("timing", "string", "Code of the application"),
    ("applied", "string", "When the site was sprayed, with its offset from UTC, or the day alone"),
    ("temp_c", "number", "Air temperature of the hour in degrees Celsius"),
    ("rh_pct", "number", "Relative humidity of the hour in percent"),
    ("wind_m_s", "number", "Wind of the hour at 10 m in metres per second"),
    ("wind_from_deg", "number", "Direction the wind came from, clockwise from north"),
    ("weather_source", "string", "Where the weather is from"),
)
Row = Mapping[str, Any]


def tables_of(
    trial: TrialFile,
    ratings: Sequence[Rating],
    rounds: Sequence[tuple[TrialRound, TrialAnalysis]],
    said: Mapping[str, str],
) -> dict[str, tuple[tuple[Field, ...], Sequence[Row]]]:
    """Every table by the name of its file: its fields and rows.

    Parameters
    ----------
    said
        Why a round has no analysis, in words, by its key.
    """
    means = [
        {"round": found.key, **{f: getattr(mean, f) for f, _, _ in MEANS[1:]}}
        for found, analysis in rounds
        for mean in analysis.means
    ]
    comparisons = [
        {"round": found.key, **{f: getattr(each, f) for f, _, _ in COMPARISONS[1:]}}
        for found, analysis in rounds
        for each in analysis.comparisons
    ]
    abouts = [
        {"round": found.key, "measure": found.measure, "weed": found.weed, "kind": analysis.kind,
         "low": found.options.low, "high": found.options.high, "design": found.options.design,
         "link": analysis.link, "error_df": analysis.error_df, "problem": said[found.key]}
        for found, analysis in rounds
    ]  # fmt: skip
    over = [found for found, _ in rounds if found.since]
    return {
        **({"over_days.csv": (OVER_DAYS, list(_over_days(over)))} if over else {}),
        "ratings.csv": (RATINGS, list(_ratings(trial, ratings, [found for found, _ in rounds]))),
        "rounds.csv": (ROUNDS, abouts),
        "means.csv": (MEANS, means),
        "comparisons.csv": (COMPARISONS, comparisons),
    }


def dose_rows(dosed: Sequence[Dosed]) -> list[Row]:
    """A row for each population and percentage."""
    return [
        {"round": found.key, "population": one.name,
         **{name: getattr(dose, name) for name, _, _ in DOSES[2:]}}
        for found, _, findings in dosed
        for one in findings.populations
        for dose in one.effective
    ]  # fmt: skip


def _over_days(rounds: Sequence[TrialRound]) -> Iterable[Row]:
    """A row for each plot and mean over days; a trial of one site names it all the same."""
    for found in rounds:
        only = next(iter(found.since))
        for row in found.rows:
            site = row.site or only
            yield {
                "round": found.key, "site": site, "block": row.block, "plot": row.plot,
                "treatment": row.treatment, "first": found.since[site].isoformat(),
                "last": found.dates[site].isoformat(), "value": row.value,
            }  # fmt: skip


def _ratings(
    trial: TrialFile, ratings: Sequence[Rating], rounds: Sequence[TrialRound]
) -> Iterable[Row]:
    arms = {arm.name: arm for arm in arms_of(trial)}
    keys = {
        (r.measure, r.weed, site, date): r.key
        for r in rounds
        if not r.since
        for site, date in r.dates.items()
    }
    for rating in ratings:
        arm, known = arms.get(rating.treatment), MEASURES.get(rating.measure)
        before = is_before(trial, rating)
        key = (rating.measure, rating.weed, rating.location, rating.date)
        yield {
            "round": "" if before else keys.get(key, ""),
            "site": rating.location,
            "block": rating.block,
            "plot": rating.plot,
            "treatment_number": arm.number if arm else None,
            "treatment": rating.treatment,
            "check": (arm.check if arm else None) or "",
            "timing": " ".join(arm.timing) if arm else "",
            "materials": "; ".join(arm.materials) if arm else "",
            "date": rating.date,
            "days_after_treatment": days_after(trial, rating.location, rating.date),
            "measure": rating.measure,
            "unit": known.unit if known else "",
            "weed": rating.weed,
            "before": before,
            "value": rating.value,
        }


def application_rows(hours: Iterable[AppliedHour]) -> list[Row]:
    """A row for each application at each site, with the weather of its hour."""
    return [
        {"site": hour.site, "timing": hour.timing, "applied": hour.at.isoformat(),
         **{name: getattr(hour.weather, name) for name, _, _ in APPLICATIONS[3:-1]},
         "weather_source": hour.weather.source}
        for hour in hours
    ]  # fmt: skip


def table_csv(fields: Sequence[Field], rows: Iterable[Row]) -> str:
    """A table as CSV: a value that is not there or not a number is an empty cell."""
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    names = [name for name, _, _ in fields]
    writer.writerow(names)
    writer.writerows([_cell(row[name]) for name in names] for row in rows)
    return stream.getvalue()


def _cell(value: Any) -> str:
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return ""
    return as_text(f"{value:.10g}" if isinstance(value, float) else str(value))


def data_package(
    trial: TrialFile, tables: Mapping[str, tuple[Sequence[Field], Any]], made: dt.datetime
) -> str:
    """The description of the tables: sites, authors, and the fields of each."""
    document = {
        "profile": "tabular-data-package",
        "name": re.sub(r"[^a-z0-9._-]+", "-", trial.name.casefold()).strip("-.") or "trial",
        "title": trial.name,
        "created": made.isoformat(timespec="seconds"),
        "contributors": [{"title": name, "role": "author"} for name in trial.authors],
        "keywords": ["turfgrass", "weed control", "field trial"],
        "software": f"windowcast {__version__}",
        "spatial": [
            {"name": site.name, "latitude": site.latitude, "longitude": site.longitude}
            for site in trial.site
        ],
        "design": {"name": trial.design, "replicates": trial.replicates, "seed": trial.seed},
        "resources": [_resource(path, fields) for path, (fields, _) in tables.items()],
    }
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def _resource(path: str, fields: Sequence[Field]) -> dict[str, Any]:
    return {
        "name": path.removesuffix(".csv"),
        "path": path,
        "profile": "tabular-data-resource",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {
            "fields": [
                {"name": name, "type": kind, "description": what}
                | ({"trueValues": ["True"], "falseValues": ["False"]} if kind == "boolean" else {})
                for name, kind, what in fields
            ],
            "missingValues": [""],
        },
    }
