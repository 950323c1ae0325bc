"""Fit percent control in published trials, and check it by leaving whole papers out.

    python benchmarks/fit_efficacy.py                   # prints the check
    python benchmarks/fit_efficacy.py --write           # also writes windowcast/data/efficacy.toml

``benchmarks/efficacy_trials.csv`` holds what abstracts and extension reports print: means, ranges
and bounds, without standard errors. On the logit scale a result is normal about

    timing + group + active + weed + group by kind of weed + active by weed
        + trial + treatment within the trial + size + rate + repeats + pots + resistance + cold

where all but timing and the slopes are drawn towards zero as far as the data say (half-Cauchy
priors on their spreads). Slopes of size, resistance and cold differ between actives (cold: between
trials). A number counts as known to `ROUNDED` points, a range as lying within its ends, a bound as
a bound: each result is a truncated normal, so that Gibbs sampling is exact. What is kept of a weed
and an active is the level at full rate in the field before any growth, the slope of size, and their
covariance.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from scipy.linalg import cho_factor, cho_solve
from scipy.special import expit, logit, ndtr, ndtri

from windowcast.core.values import load
from windowcast.materials.efficacy import PLUS, cold_below, log_rate, plant_size

SCALES = load("efficacy")
HERE = Path(__file__).parent
TRIALS = HERE / "efficacy_trials.csv"
TABLE = HERE.parent / "windowcast/data/efficacy.toml"
ROUNDED = 2.5  # percentage points either side within which a printed mean is known
LEAST, MOST = 0.5, 99.5  # percent beyond which the eye does not tell
KEPT, BURNT = 3000, 300
LEFT_OUT = 500  # kept draws of each fit without a paper
Z80 = 1.2816
# priors of the slopes: mean and standard deviation on the logit scale
PRIORS = {
    "pre": (1.0, 2.0),
    "post": (1.0, 2.0),
    "size.pre": (-1.0, 0.7),
    "size.post": (-1.0, 0.7),
    "rate": (0.8, 0.5),
    "repeats": (0.5, 0.5),
    "pots": (0.0, 0.7),
    "resistant": (-3.0, 1.5),
    "cold": (-0.7, 0.5),
}
REST = 0.5  # error of a printed mean on the logit scale, 12 points about 50 %: a choice
TRIAL = 0.8  # spread that all treatments of a trial share: a choice, see docs/efficacy.md
CHILL = 1.0  # spread of the slope of cold between trials: two of them do not tell it, a choice
SPREADS = (
    "group",
    "active",
    "weed",
    "kind",
    "pair",
    "tried",
    "trial",
    "size",
    "dose",
    "again",
    "resists",
    "chill",
)


@dataclass(frozen=True)
class Row:
    """One result; `low` and `high` in percent, either of them infinite for a bound."""

    trial: str
    paper: str
    weed: str
    kind: str
    actives: str
    groups: tuple[int, ...]
    timing: str
    stage: float
    air_c: float | None
    rate: float | None
    repeats: int
    pots: bool
    resistant: bool
    low: float
    high: float
    exact: bool
    source: str
    rate_kg_ha: float | None = None

    @property
    def middle(self) -> float:
        """Percent: of a bound, the bound."""
        ends = [end for end in (self.low, self.high) if np.isfinite(end)]
        return float(np.mean(ends))

    @property
    def between(self) -> tuple[float, float]:
        """Ends between which the result lies, on the logit scale."""
        low, high = self.low, self.high
        if self.exact:
            low, high = low - ROUNDED, high + ROUNDED
        return (
            -np.inf if low <= LEAST else float(logit(low / 100)),
            np.inf if high >= MOST else float(logit(high / 100)),
        )


def read_rows(path: Path = TRIALS) -> list[Row]:
    """The rows of the file."""
    with path.open(encoding="utf-8", newline="") as file:
        return [_row(raw) for raw in csv.DictReader(file)]


def _row(raw: Mapping[str, str]) -> Row:
    groups = tuple(int(g) for g in raw["groups"].split())
    resistant = {int(g) for g in raw["resistant_groups"].split()}
    single = raw["rate_g_ha"] and "+" not in raw["rate_g_ha"]
    return Row(
        trial=raw["trial"],
        paper=raw["paper"],
        weed=raw["weed"],
        kind=raw["kind"],
        actives=raw["actives"],
        groups=groups,
        timing=raw["timing"],
        stage=float(raw["stage_bbch"]),
        air_c=float(raw["air_c"]) if raw["air_c"] else None,
        rate=float(raw["rate_share"]) if raw["rate_share"] else None,
        repeats=int(raw["applications"]),
        pots=raw["pots"] == "yes",
        resistant=set(groups) <= resistant,
        low=float(raw["low_pct"]) if raw["low_pct"] else -np.inf,
        high=float(raw["high_pct"]) if raw["high_pct"] else np.inf,
        exact=raw["sign"] == "=",
        source=raw["source"],
        rate_kg_ha=float(raw["rate_g_ha"]) / 1000 if single else None,
    )


def terms(row: Row, *, trial: bool = True) -> dict[str, float]:
    """The effects a result is made of, by name, with their weights."""
    size = float(plant_size(row.stage, SCALES))
    rate = float(log_rate(1.0 if row.rate is None else row.rate, SCALES))
    found = {
        row.timing: 1.0,
        f"size.{row.timing}": size,
        "rate": rate,
        "repeats": float(min(np.log(row.repeats), np.log(4))),
        "pots": float(row.pots),
        "resistant": float(row.resistant),
        f"active:{row.timing}:{row.actives}": 1.0,
        f"weed:{row.weed}": 1.0,
        f"pair:{row.timing}:{row.actives}:{row.weed}": 1.0,
        f"size:{row.timing}:{row.actives}": size,
    }
    for group in row.groups:
        found[f"group:{row.timing}:{group}"] = 1 / len(row.groups)
        found[f"kind:{row.timing}:{group}:{row.kind}"] = 1 / len(row.groups)
    if row.resistant:
        found[f"resists:{row.actives}"] = 1.0
    if row.air_c is not None:
        cold = float(cold_below(row.air_c, row.kind, SCALES))
        found |= {"cold": cold, f"chill:{row.trial}": cold}
    if trial:
        found[f"trial:{row.trial}"] = 1.0
        found[f"tried:{row.trial}:{row.timing}:{row.actives}:{row.weed}"] = 1.0
        found[f"dose:{row.trial}:{row.actives}"] = rate
        found[f"again:{row.trial}:{row.actives}"] = found["repeats"]
    return {name: weight for name, weight in found.items() if weight}


@dataclass
class Fit:
    """Draws of every effect, ``[draw, effect]``, and of the spreads by name, ``[draw]``."""

    names: dict[str, int]
    draws: np.ndarray
    spread: dict[str, np.ndarray]
    rng: np.random.Generator = field(default_factory=lambda: np.random.default_rng(1))

    def effect(self, name: str) -> np.ndarray:
        """Draws of an effect; of one that was not fitted, from its population."""
        if name in self.names:
            return self.draws[:, self.names[name]]
        family = name.partition(":")[0]
        return self.spread[family] * self.rng.standard_normal(len(self.draws))

    def linear(self, weights: Mapping[str, float]) -> np.ndarray:
        """Draws of a weighted sum."""
        return sum((w * self.effect(n) for n, w in weights.items()), np.zeros(len(self.draws)))

    def new_trial(self, row: Row) -> np.ndarray:
        """Draws of the result of a trial like this one elsewhere."""
        other = self.rng.standard_normal(len(self.draws))
        return self.linear(terms(row, trial=False)) + self.around * other

    @property
    def around(self) -> np.ndarray:
        """Draws of the spread of a result of a treatment in another trial."""
        return np.sqrt(sum(self.spread[name] ** 2 for name in ("tried", "rest")))


def sample(rows: Sequence[Row], kept: int = KEPT, seed: int = 1) -> Fit:
    """Gibbs draws: latent results, all effects at once (Bhattacharya et al. 2016), the spreads."""
    rng = np.random.default_rng(seed)
    weights = [terms(row) for row in rows]
    names: dict[str, int] = {}
    for one in weights:
        for name in one:
            names.setdefault(name, len(names))
    x = np.zeros((len(rows), len(names)))
    for at, one in enumerate(weights):
        for name, weight in one.items():
            x[at, names[name]] = weight
    family = np.array(
        [SPREADS.index(n.partition(":")[0]) if ":" in n else -1 for n in names], dtype=int
    )
    prior_mean, prior_sd = np.zeros(len(names)), np.ones(len(names))
    for name, (mean, sd) in PRIORS.items():
        if name in names:
            prior_mean[names[name]], prior_sd[names[name]] = mean, sd
    low, high = np.array([row.between for row in rows]).T
    y = np.clip(np.nan_to_num((low + high) / 2, posinf=3, neginf=-3), -4, 4)
    spreads, rest = np.full(len(SPREADS), 0.7), REST
    fixed_at = [SPREADS.index(name) for name in ("trial", "chill")]
    spreads[fixed_at] = [TRIAL, CHILL]
    helper = np.ones(len(SPREADS))
    parts = np.array([x[:, family == f] @ x[:, family == f].T for f in range(len(SPREADS))])
    fixed = (x * np.where(family < 0, prior_sd, 0.0) ** 2) @ x.T
    found, kept_spreads = [], []
    for step in range(BURNT + kept):
        sd = np.where(family < 0, prior_sd, spreads[family])
        start = prior_mean + sd * rng.standard_normal(len(names))
        seen = x @ start + rest * rng.standard_normal(len(rows))
        spread_of_y = fixed + np.tensordot(spreads**2, parts, 1) + rest**2 * np.eye(len(rows))
        effects = start + sd**2 * (x.T @ cho_solve(cho_factor(spread_of_y), y - seen))
        mean = x @ effects
        y = mean + rest * _truncated((low - mean) / rest, (high - mean) / rest, rng)
        for index in range(len(SPREADS)):
            spreads[index], helper[index] = _spread(
                effects[family == index], helper[index], spreads[index], rng
            )
        spreads[fixed_at] = [TRIAL, CHILL]
        if step >= BURNT:
            found.append(effects)
            kept_spreads.append([*spreads, rest])
    by_name = dict(zip((*SPREADS, "rest"), np.array(kept_spreads).T, strict=True))
    return Fit(names, np.array(found), by_name)


def _spread(
    effects: np.ndarray, helper: float, last: float, rng: np.random.Generator
) -> tuple[float, float]:
    """A draw of a spread with a half-Cauchy prior of scale 1 (Makalic & Schmidt 2016)."""
    helper = (1 + last**-2) / rng.gamma(1.0)
    shape = (len(effects) + 1) / 2
    square = (effects @ effects / 2 + 1 / helper) / rng.gamma(shape)
    return float(np.sqrt(max(square, 1e-4))), helper


def _truncated(low: np.ndarray, high: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Standard normal draws between ends, taken in the tail where the distribution is exact."""
    flip = low > 0
    a, b = np.where(flip, -high, low), np.where(flip, -low, high)
    p, q = ndtr(a), ndtr(b)
    drawn = ndtri(np.clip(p + (q - p) * rng.random(len(a)), 1e-300, 1 - 1e-16))
    drawn = np.clip(drawn, np.maximum(a, -35), np.minimum(b, 35))
    return np.where(flip, -drawn, drawn)


@dataclass(frozen=True)
class Checked:
    """A left-out result beside what was expected of it; `ends` 10, 50, 90 % on the logit scale."""

    row: Row
    ends: tuple[float, float, float]
    plain: float  # percent: mean of the active in the other papers
    tested: bool  # whether another paper has the weed with the active

    @property
    def known(self) -> bool:
        """Whether the result is a mean or a range, and not only a bound."""
        return bool(np.isfinite([self.row.low, self.row.high]).all())

    @property
    def middle(self) -> float:
        """Percent."""
        return float(100 * expit(self.ends[1]))

    def interval(self, narrowed: float) -> tuple[float, float]:
        """80 % interval in percent, by a factor on the logit scale."""
        low, middle, high = self.ends
        ends = np.array([middle + narrowed * (low - middle), middle + narrowed * (high - middle)])
        return tuple(100 * expit(ends))

    def held(self, narrowed: float) -> bool:
        """Whether the interval meets a mean (of a range the middle), to `ROUNDED`, or a bound."""
        low, high = self.interval(narrowed)
        if not self.known:
            return bool(low <= self.row.high and self.row.low <= high)
        return low - ROUNDED <= self.row.middle <= high + ROUNDED

    def missed_by(self, said: float) -> float:
        """Percentage points between a number and the result; within its ends none."""
        low, high = max(self.row.low, 0), min(self.row.high, 100)
        return max(low - said, said - high, 0.0)


def leave_papers_out(rows: Sequence[Row]) -> list[Checked]:
    """Each result beside what a fit without its paper expects; none of an active not seen else."""
    found = []
    for number, paper in enumerate(sorted({row.paper for row in rows})):
        rest = [row for row in rows if row.paper != paper]
        seen = {(r.timing, r.actives) for r in rest}
        pairs = {(r.timing, r.actives, r.weed) for r in rest}
        out = [row for row in rows if row.paper == paper and (row.timing, row.actives) in seen]
        if not out:
            continue
        fit = sample(rest, LEFT_OUT, seed=number)
        for row in out:
            low, middle, high = map(float, np.quantile(fit.new_trial(row), [0.1, 0.5, 0.9]))
            same = [r.middle for r in rest if (r.timing, r.actives) == (row.timing, row.actives)]
            tested = (row.timing, row.actives, row.weed) in pairs
            found.append(Checked(row, (low, middle, high), float(np.mean(same)), tested))
    return found


def narrowing(checked: Sequence[Checked]) -> float:
    """The factor on the logit scale by which 80 % of the intervals hold.

    Bounds say how far a result lies at least, not at most, so that the spreads come out too large.
    """
    known = [one for one in checked if one.known]
    factors = np.arange(0.3, 1.501, 0.02)
    held = np.array([np.mean([one.held(factor) for one in known]) for factor in factors])
    return _rounded(factors[np.argmin(np.abs(held - 0.8))])


def report(checked: Sequence[Checked]) -> None:
    """Print how many intervals hold, and the errors.

    The intervals of each half of the papers go by the factor of the other half.
    """
    papers = sorted({one.row.paper for one in checked})
    halves = [[c for c in checked if papers.index(c.row.paper) % 2 == half] for half in (0, 1)]
    factor = {half: narrowing(halves[1 - half]) for half in (0, 1)}
    print(f"factors of the halves: {factor}; of all: {narrowing(checked)}")
    judged = [(c, factor[half]) for half in (0, 1) for c in halves[half]]
    for title, some in (
        ("weed and active in another paper", [j for j in judged if j[0].tested]),
        ("active in another paper", judged),
    ):
        for kind, part in (
            ("means and ranges", [j for j in some if j[0].known]),
            ("bounds", [j for j in some if not j[0].known]),
        ):
            held = 100 * np.mean([c.held(factor) for c, factor in part])
            width = np.median([np.diff(c.interval(factor))[0] for c, factor in part])
            errors = {
                name: np.array([c.missed_by(said(c)) for c, _ in part])
                for name, said in (("fit", lambda c: c.middle), ("mean", lambda c: c.plain))
            }
            papers = sorted({c.row.paper for c, _ in part})
            print(
                f"{title}, {kind}: {len(part)} results, {len(papers)} papers;"
                f" 80 % intervals hold {held:.0f} %, median width {width:.0f} points;"
                f" absolute error median {np.median(errors['fit']):.1f}"
                f" (plain mean {np.median(errors['mean']):.1f}),"
                f" mean {errors['fit'].mean():.1f} (plain mean {errors['mean'].mean():.1f}) points"
            )


def written(rows: Sequence[Row], fit: Fit, narrowed: float) -> str:
    """The fit as the lower part of the table."""
    around = np.sqrt(np.mean(fit.around**2))
    cold = fit.effect("cold") + fit.effect("chill:new")
    sections: dict[str, dict[str, Any]] = {
        "slope": {
            "narrowed": _ours(
                narrowed, "factor on the spread by which 80 % of left-out results hold"
            ),
            "new_trial": _ours(_rounded(around), "spread of a treatment in another trial"),
            "rate": _ours(
                _moments(fit.effect("rate") + fit.effect("dose:new")),
                "per ln of the share of the full rate",
            ),
            "cold": _ours(_moments(cold), "per 10 K; spread: of the slope and between trials"),
        },
        "resistant": {"any": _ours(_moments(_resisting(fit, "new")), "of an active not tried so")},
        "group": {},
        "full_rate": {},
        "kind": {},
    }
    for row in sorted(rows, key=lambda row: (row.timing, row.weed, row.actives)):
        single = PLUS not in row.actives
        if row.resistant:
            found = _ours(_moments(_resisting(fit, row.actives)))
            sections["resistant"][row.actives] = found
            seen = sections.setdefault(f"seen_resistant.{row.weed}", {})
            seen[row.actives] = _line(_most_seen(rows, row), "%", row.source, "published")
        if single:
            group = _line(row.groups[0], "1", "HRAC and WSSA list", "from memory")
            sections["group"][row.actives] = group
        if single and row.rate_kg_ha is not None and row.rate is not None:
            full = _rounded(row.rate_kg_ha / row.rate)
            sections["full_rate"][row.actives] = _line(
                full, "kg ha-1", "a full one in trials", "choice"
            )
        sections["kind"][row.weed] = _line(row.kind, "", "textbook knowledge", "from memory")
        cells = sections.setdefault(f"{row.timing}.{row.weed}", {})
        if row.actives not in cells:
            cells[row.actives] = _cell(rows, fit, row)
    return "\n".join(
        f"[{name}]\n" + "".join(f'"{key}" = {value}\n' for key, value in sorted(section.items()))
        for name, section in sections.items()
    )


def _cell(rows: Sequence[Row], fit: Fit, like: Row) -> str:
    """Level, its spread, slope of size, its spread, their covariance, and the number of trials."""
    key = (like.timing, like.weed, like.actives)
    some = [row for row in rows if (row.timing, row.weed, row.actives) == key]
    parts = {like.timing, "group", "active", "weed", "kind", "pair"}
    weights = terms(like, trial=False).items()
    level = fit.linear({name: w for name, w in weights if name.partition(":")[0] in parts})
    slope = fit.effect(f"size.{like.timing}") + fit.effect(f"size:{like.timing}:{like.actives}")
    together = _rounded(np.cov(level, slope)[0, 1])
    trials = len({row.trial for row in some})
    source = "; ".join(dict.fromkeys(row.source.replace(";", ",") for row in some))
    value = [*_moments(level), *_moments(slope), together, trials]
    return _line(value, "logit", source, "our fit")


def _most_seen(rows: Sequence[Row], like: Row) -> float:
    """The most control [%] seen of an active on a resistant population of a weed."""
    some = [r for r in rows if r.resistant and (r.weed, r.actives) == (like.weed, like.actives)]
    return max(min(row.high, 100.0) for row in some)


def _resisting(fit: Fit, actives: str) -> np.ndarray:
    return fit.effect("resistant") + fit.effect(f"resists:{actives}")


def _moments(draws: np.ndarray) -> list[float]:
    return [_rounded(np.mean(draws)), _rounded(np.std(draws))]


def _rounded(value: Any) -> float:
    return float(f"{float(value):.3g}")


def _ours(value: Any, note: str = "") -> str:
    return _line(value, "logit", "benchmarks/fit_efficacy.py", "our fit", note)


def _line(value: Any, unit: str, source: str, status: str, note: str = "") -> str:
    said = f'"{value}"' if isinstance(value, str) else value
    more = f', note = "{note}"' if note else ""
    return f'{{ value = {said}, unit = "{unit}", source = "{source}", status = "{status}"{more} }}'


def main() -> None:
    """Print the check; with ``--write`` also write the table."""
    rows = read_rows()
    checked = leave_papers_out(rows)
    report(checked)
    if "--write" in sys.argv:
        head, line, _ = TABLE.read_text("utf-8").partition("fit_efficacy.py --write ----\n")
        fitted = written(rows, sample(rows), narrowing(checked))
        TABLE.write_text(head + line + "\n" + fitted, "utf-8")


if __name__ == "__main__":
    main()
