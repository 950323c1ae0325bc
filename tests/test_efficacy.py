"""Control to expect: what trials published, what is not known, and resistance."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from windowcast.core.values import load
from windowcast.materials.efficacy import PLUS, Control, expected_control, rate_share_of
from windowcast.materials.own_evidence import OwnResult, with_own

TABLE = load("efficacy")
TRIALS = Path(__file__).parent.parent / "benchmarks/efficacy_trials.csv"
CELLS = [
    (timing, weed, mixture)
    for timing in ("pre", "post")
    for weed in TABLE.table(timing)
    for mixture in TABLE.table(timing).table(weed)
]
STAGES = st.floats(0, 60)
RATES = st.floats(0, 5)
AIR = st.floats(-10, 40)


def _expected(
    weed: str, actives: str, *, timing: str = "post", stage: float | None = 21, **more: object
) -> Control:
    meets = {"stage_bbch": stage, "rate_share": 1.0, "air_c": 12.0, **more}
    found = expected_control(weed, actives.split(PLUS), timing=timing, table=TABLE, **meets)  # type: ignore[arg-type]
    assert found is not None
    return found


def _middles(weed: str, actives: str, timing: str, stages: tuple[float, ...]) -> list[float]:
    return [_expected(weed, actives, timing=timing, stage=stage).middle for stage in stages]


def test_mesotrione_falls_with_size() -> None:
    # Yu & McCullough 2016, Weed Technology 30(2): 54, 33 and 11 % at 3-5 leaves, one tiller,
    # five to seven tillers, 1 : 0.61 : 0.20; the fit draws it towards the others
    small, tiller, large = _middles("POAAN", "mesotrione", "post", (14, 21, 26))
    assert small > tiller > large
    assert tiller / small == pytest.approx(0.61, abs=0.2)
    assert large / small == pytest.approx(0.20, abs=0.2)


def test_flumioxazin_is_lost_beyond_two_tillers() -> None:
    # Flessner et al. 2013, Weed Technology 27(3), and 2011, ASA abstract 330-3: 90 % and more in
    # November, 70 % and more in December, from January on, over two tillers, not acceptable
    november, december, march, april = _middles("POAAN", "flumioxazin", "post", (14, 21, 28, 30))
    assert november >= 0.9
    assert december >= 0.7
    assert april < march < 0.7


def test_december_and_february_on_dormant_bermudagrass() -> None:
    # Toler et al. 2007, HortScience 42(3):670: glyphosate alone 72 and 93 %; simazine and imazaquin
    # over 85 and under 80 %; plants have tillered by February
    december, february = _middles("POAAN", "glyphosate", "post", (21, 24))
    assert december < february
    for active in ("simazine", "imazaquin"):
        december, february = _middles("POAAN", active, "post", (21, 24))
        assert february < min(december, 0.8)


def test_a_pre_emergent_that_comes_late() -> None:
    # Brosnan et al. 2012, Weed Technology 26(1): indaziflam 8 weeks late 51-71 % in Georgia,
    # 88-100 % in the mid-South, against 96-100 % in time
    in_time, four, eight, twelve = _middles("POAAN", "indaziflam", "pre", (0, 12, 21, 23))
    assert in_time > four > eight > twelve
    assert in_time > 0.96
    late = _expected("POAAN", "indaziflam", timing="pre")
    assert late.low < 0.88 < late.middle < late.high
    # Reicher et al. 1999, Weed Technology 13(2):253: dithiopyr holds young crabgrass, not mature
    young, mature = _middles("DIGSA", "dithiopyr", "pre", (10, 39))
    assert young > 0.5
    assert mature < 0.1


def test_goosegrass_that_resists_prodiamine() -> None:
    # Breeden SM et al. 2017, Weed Technology 31(6): under 20 % with Thr-239-Ile; topramezone of
    # another group 72-89 %
    found = _expected("ELEIN", "prodiamine", timing="pre", stage=0, resistant_groups=(3,))
    assert found.middle <= 0.20
    assert _expected("ELEIN", "prodiamine", timing="pre", stage=0).middle > 0.8
    other = _expected("ELEIN", "topramezone", air_c=25.0, resistant_groups=(3,))
    assert other == _expected("ELEIN", "topramezone", air_c=25.0)
    assert other.low < 0.89 < other.high


def test_a_group_5_failure_of_simazine_is_one_of_amicarbazone() -> None:
    # Perry et al. 2012, Weed Science 60: no injury at all with Ser-264-Gly
    assert _expected("POAAN", "amicarbazone", resistant_groups=(5,)).middle == 0


def test_less_than_the_full_rate() -> None:
    # McCullough et al. 2012, Weed Technology 26: pronamide 67, 90 and 98 % from 0.84, 1.68, 3.36
    # kg/ha; more than the full rate is not promised more
    shares = [rate_share_of("propyzamide", kg_ha, TABLE) for kg_ha in (0.29, 0.58, 1.16, 3.36)]
    assert shares == pytest.approx([0.25, 0.5, 1.0, 2.9], abs=0.01)
    found = [_expected("POAAN", "propyzamide", stage=26, rate_share=s).middle for s in shares]
    assert found[0] < found[1] < found[2] == found[3]
    assert rate_share_of("propyzamide", None, TABLE) is None
    assert rate_share_of("water", 1.0, TABLE) is None


def test_cold_takes_from_what_is_sprayed_and_warmth_adds_nothing() -> None:
    # McCullough & Hart 2006, Weed Technology 20(3): bispyribac needs 85 g/ha at 10 °C for what 31
    # do at 30; Yelverton 2020, NC State: glyphosate on tall fescue 0, 59, 92 % in the 50s, 60s, 70s
    cold, usual, warm = (_expected("POAAN", "bispyribac", air_c=air) for air in (2.0, 12.0, 25.0))
    assert cold.middle < usual.middle == warm.middle
    soil = {"timing": "pre", "stage": 0}
    assert _expected("POAAN", "indaziflam", air_c=2.0, **soil) == _expected(
        "POAAN", "indaziflam", **soil
    )


def test_no_figure_without_a_trial() -> None:
    for weed, actives, timing in (
        ("POAAN", ["oxadiazon"], "pre"),
        ("POAAN", ["simazine"], "pre"),  # was tried only on plants
        ("XXXXX", ["glyphosate"], "post"),
        ("POAAN", [], "post"),
    ):
        found = expected_control(
            weed, actives, timing=timing, stage_bbch=21, rate_share=1, air_c=12, table=TABLE
        )
        assert found is None


def test_mixtures() -> None:
    # one that was tried has its own figure (Toler et al. 2007: 87 % and more)
    tried = _expected("POAAN", "glyphosate + diquat")
    assert tried.middle > 0.87
    # of another the best part counts; only the upper end is that of independent action
    parts = [_expected("POAAN", name) for name in ("glyphosate", "simazine")]
    both = _expected("POAAN", "simazine + glyphosate")
    best = max(parts, key=lambda part: part.middle)
    assert (both.middle, both.trials, both.sources) == (best.middle, best.trials, best.sources)
    assert both.high == pytest.approx(1 - math.prod(1 - part.high for part in parts))
    # one that was not tried adds nothing
    assert _expected("POAAN", "oxadiazon + glyphosate") == parts[0]
    # what stands where a part fails is what the other does
    assert _expected("POAAN", "simazine + glyphosate", resistant_groups=(9,)).middle == (
        parts[1].middle
    )


def test_a_mixture_whose_parts_all_fail_promises_no_more_than_was_seen_of_them() -> None:
    """Both were seen to control nothing of a resistant population, whatever an own trial found."""
    mine = OwnResult("Here", "POAAN", ("atrazine", "simazine"), "post", 4.0, 0.5, 21.0, 1.0)
    own = with_own(TABLE, [mine])
    meets = {"stage_bbch": 21, "rate_share": 1.0, "air_c": 12.0, "table": own}
    found = expected_control(
        "POAAN", ["atrazine", "simazine"], timing="post", resistant_groups={5}, **meets
    )
    assert found is not None
    assert (found.middle, found.low) == (0.0, 0.0)


@example(("pre", "CCHPA", "pendimethalin"), (0.0, 0.5, 0.0), (True, False, False), set(), set())
@example(("post", "VERPE", "glyphosate + simazine"), (21.0, 1.0, 10.0), (True,) * 3, {5}, {9})
@given(
    cell=st.sampled_from(CELLS),
    known=st.tuples(STAGES, RATES, AIR),
    kept=st.tuples(st.booleans(), st.booleans(), st.booleans()),
    groups=st.sets(st.sampled_from([2, 3, 4, 5, 9, 14])),
    more=st.sets(st.sampled_from([2, 3, 4, 5, 9, 14, 27])),
)
@settings(max_examples=40)
def test_knowing_less_never_promises_more(
    cell: tuple[str, str, str],
    known: tuple[float, float, float],
    kept: tuple[bool, bool, bool],
    groups: set[int],
    more: set[int],
) -> None:
    timing, weed, mixture = cell

    def control(values: tuple[float | None, ...], resistant: set[int]) -> Control:
        stage, rate, air = values
        return _expected(
            *(weed, mixture),
            timing=timing,
            stage=stage,
            rate_share=rate,
            air_c=air,
            resistant_groups=resistant,
        )

    full = control(known, groups)
    assert 0 <= full.low <= full.middle <= full.high <= 1
    assert full.trials >= 1
    assert full.sources
    some = tuple(value if keep else None for value, keep in zip(known, kept, strict=True))
    for less in (control(some, groups), control(known, groups | more)):
        assert less.middle <= full.middle
        assert less.low <= full.low
        assert less.high <= full.high


def test_every_figure_has_its_rows() -> None:
    with TRIALS.open(newline="") as file:
        rows = list(csv.DictReader(file))
    found = {(row["timing"], row["weed"], row["actives"]) for row in rows}
    assert found == set(CELLS)
    for row in rows:
        assert row["source"].strip(), row
        assert row["low_pct"] or row["high_pct"], row
        assert row["sign"] in ("=", "range", ">=", ">", "<=", "<")
    for timing, weed, mixture in CELLS:
        cells = TABLE.table(timing).table(weed)
        trials = {
            r["trial"]
            for r in rows
            if (r["timing"], r["weed"], r["actives"]) == (timing, weed, mixture)
        }
        assert cells.value(mixture).value[5] == len(trials)
