"""Fit percent control anew without each paper that tried several dates: what others let expect.

    python benchmarks/fit_efficacy_left_out.py    # writes windowcast/data/efficacy_left_out.toml

The fit is that of ``benchmarks/fit_efficacy.py``. For each paper of ``trials_by_date.csv`` it is
repeated on the results of all others, and what it then says of the weeds and actives that the paper
tried is kept: `advice_seen` scores the paper's dates by it. An active that no
other paper tried is drawn from its group and the actives at large.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from fit_efficacy import PLUS, Row, _cell, _line, _moments, _rounded, read_rows, sample

HERE = Path(__file__).parent
BY_DATE = HERE / "trials_by_date.csv"
TABLE = HERE.parent / "windowcast/data/efficacy_left_out.toml"
KEPT = 2000
HEAD = """\
# What trials let expect of a paper's weeds and actives when the paper itself is left out of the
# fit (benchmarks/fit_efficacy_left_out.py): paper, then as in efficacy.toml. Scores of advice
# against what was seen go by it (benchmarks/advice_seen.py). Written by the script.

"""


def tried(paper: str) -> set[tuple[str, frozenset[str]]]:
    """Weeds and actives of a paper."""
    with BY_DATE.open(encoding="utf-8", newline="") as file:
        return {
            (row["weed"], frozenset(row["actives"].split(PLUS)))
            for row in csv.DictReader(file)
            if row["paper"] == paper
        }


def papers() -> list[str]:
    """In the order of the file."""
    with BY_DATE.open(encoding="utf-8", newline="") as file:
        return list(dict.fromkeys(row["paper"] for row in csv.DictReader(file)))


def sections(paper: str, rows: list[Row]) -> str:
    """The tables of a paper."""
    rest = [row for row in rows if row.paper != paper]
    fit = sample(rest, KEPT)
    by = f"benchmarks/fit_efficacy_left_out.py, without {paper}"
    cells: dict[tuple[str, str], dict[str, str]] = {}
    for row in rows:
        members = set(row.actives.split(PLUS))
        if not any(row.weed == weed and members <= tank for weed, tank in tried(paper)):
            continue
        found = cells.setdefault((row.timing, row.weed), {})
        if row.actives not in found:
            value = _cell(rest, fit, row).split("unit = ")[0]
            found[row.actives] = f'{value}unit = "logit", source = "{by}", status = "our fit" }}'
    slopes = {
        "new_trial": _rounded(np.sqrt(np.mean(fit.around**2))),
        "rate": _moments(fit.effect("rate") + fit.effect("dose:new")),
        "cold": _moments(fit.effect("cold") + fit.effect("chill:new")),
    }
    own = {name: _line(value, "logit", by, "our fit") for name, value in slopes.items()}
    tables = {f"{paper}.slope": own}
    tables |= {f"{paper}.{timing}.{weed}": found for (timing, weed), found in sorted(cells.items())}
    return "\n".join(
        f"[{name}]\n" + "".join(f'"{key}" = {value}\n' for key, value in sorted(table.items()))
        for name, table in tables.items()
    )


def main() -> None:
    """Write the table."""
    rows = read_rows()
    known = {row.paper for row in rows}
    found = [sections(paper, rows) for paper in papers() if paper in known]
    TABLE.write_text(HEAD + "\n".join(found), "utf-8")


if __name__ == "__main__":
    main()
