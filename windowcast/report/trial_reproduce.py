"""Work the means of a trial out again with plain statsmodels, from the tables beside this file.

Run it where ratings.csv, rounds.csv and means.csv lie: python reproduce.py. It needs pandas and
statsmodels, and nothing of windowcast. Plain statsmodels has no mixed model for percentages and
counts, so this fits the nearest it has: sites and blocks as fixed effects, with the spread that
such values have (quasi-binomial, quasi-Poisson, Tweedie, even). For each treatment it prints the
mean that was reported, its own, and the bare mean of the plots.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import statsmodels.api as sm

HERE = Path(__file__).parent
FAMILIES = {
    "percent": sm.families.Binomial(),
    "ordinal": sm.families.Binomial(),
    "count": sm.families.Poisson(),
    "biomass": sm.families.Tweedie(sm.families.links.Log(), var_power=1.5),
    "amount": sm.families.Gaussian(),
}


def refitted(plots: pd.DataFrame, kind: str, low: float, high: float) -> dict[str, float]:
    """Mean of each treatment over all sites and blocks, in the unit of the measure.

    Treatments whose plots all lie at one end of the scale have no place in such a model: they keep
    their bare mean, and so do all where there is too little to fit.
    """
    scaled = kind in {"percent", "ordinal"}
    start, span = (low, high - low) if scaled else (0.0, 1.0)
    shares = (plots["value"] - start) / span
    bare = shares.groupby(plots["treatment"]).mean()
    ends = shares.groupby(plots["treatment"]).agg(["min", "max"])
    at_end = (ends["max"] == 0) | ((ends["min"] == 1) & scaled)
    if kind == "amount":
        at_end[:] = False
    fitted = [name for name in bare.index if not at_end[name]]
    inside = plots["treatment"].isin(fitted)
    found = bare.to_dict()
    if len(fitted) > 1:
        part = plots[inside]
        places = part["site"].astype(str) + "/" + part["block"].astype(str)
        design = pd.get_dummies(part["treatment"], dtype=float)[fitted]
        dummies = pd.get_dummies(places, dtype=float)
        for name in dummies.columns[1:]:  # effects of places that sum to zero
            design[f"place {name}"] = dummies[name] - dummies[dummies.columns[0]]
        if len(part) > design.shape[1]:
            family = FAMILIES[kind]
            fit = sm.GLM(shares[inside], design, family=family).fit(scale="X2")
            at_places = np.unique(design.drop(columns=fitted).to_numpy(), axis=0)
            for name in fitted:  # what the plots of all places would give, each place once
                linear = fit.params[name] + at_places @ fit.params.drop(fitted).to_numpy()
                found[name] = float(np.mean(family.fitted(linear)))
    return {str(name): start + span * float(value) for name, value in found.items()}


def comparison() -> pd.DataFrame:
    """Round, treatment, mean as reported, refitted and bare."""
    ratings = pd.read_csv(HERE / "ratings.csv", dtype={"plot": str, "block": str}).fillna(
        {"site": "", "block": "", "before": False}
    )
    over_days = pd.DataFrame(columns=["round"])
    if (HERE / "over_days.csv").exists():
        over_days = pd.read_csv(HERE / "over_days.csv", dtype={"plot": str, "block": str})
        over_days = over_days.fillna({"site": "", "block": ""})
    rounds = pd.read_csv(HERE / "rounds.csv").set_index("round").to_dict("index")
    means = pd.read_csv(HERE / "means.csv")
    rows = []
    for key, reported in means.groupby("round", sort=False):
        about = rounds[key]
        values = ratings[(ratings["round"] == key) & ~ratings["before"].astype(bool)]
        keys = ["site", "block", "plot", "treatment"]
        if len(values) == 0:  # a mean over days
            values = over_days[over_days["round"] == key].dropna(subset=["value"])
        plots = values.groupby(keys)["value"].mean().reset_index()
        again = refitted(plots, about["kind"], about["low"], about["high"])
        bare = plots.groupby("treatment")["value"].mean()
        for name, mean in zip(reported["treatment"], reported["mean"], strict=True):
            rows.append((key, name, mean, again.get(name, np.nan), bare.get(name, np.nan)))
    return pd.DataFrame(rows, columns=["round", "treatment", "reported", "refitted", "bare"])


if __name__ == "__main__":
    print(comparison().round(2).to_string(index=False))
