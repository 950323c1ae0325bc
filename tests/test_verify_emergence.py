"""The figures of `verify.emergence`, on stations and seasons not used for the curves."""

import numpy as np
from uscrn_sites import DEEP_SOUTH, FOLDER, MID_ATLANTIC, MID_SOUTH, record

from windowcast.verify.emergence import Check, checks


def by_name(found: tuple[Check, ...]) -> dict[str, Check]:
    return {check.name: check for check in found}


def test_which_figures_apply_where():
    found = checks([record(MID_ATLANTIC), record(MID_SOUTH), record(DEEP_SOUTH)])
    stations = {(c.station, c.name) for c in found}
    names = [name for _, name in stations]
    assert names.count("bluegrass_november") == 1
    assert names.count("bluegrass_fastest_week") == 1
    assert names.count("crabgrass_first_soil") == 2
    assert all(c.source and c.found for c in found)


def test_mid_atlantic():
    found = by_name(checks([record(MID_ATLANTIC)]))
    soil = found["crabgrass_first_soil"]  # Fidanza et al. 1996
    assert soil.published == (13.9, 17.5)
    assert soil.published[0] <= soil.median <= soil.published[1]
    assert soil.inside >= 0.7
    november = found["bluegrass_november"]  # Kaminski & Dernoeden 2007, held-back seasons
    held_back = [v for v, odd in zip(november.found, november.odd, strict=True) if odd]
    assert abs(np.mean(held_back) - 0.76) < 0.06


def test_mid_south():
    weeks = by_name(checks([record(MID_SOUTH)]))["bluegrass_fastest_week"]  # Taylor et al. 2021
    assert 40 <= weeks.median <= 43
    assert all(39 <= week <= 44 for week in weeks.found)


def test_command():
    import json

    from click.testing import CliRunner

    from windowcast.cli.verify_models import emergence as command
    from windowcast.core.errors import InputError

    station = str(FOLDER / f"{MID_SOUTH}.txt.gz")
    table = CliRunner().invoke(command, [station])
    assert table.exit_code == 0, table.output
    assert "Taylor et al. 2021" in table.output
    rows = json.loads(CliRunner().invoke(command, [station, "--format", "json"]).output)
    assert {row["name"] for row in rows} == {"crabgrass_first_soil", "bluegrass_fastest_week"}
    south = CliRunner().invoke(command, [str(FOLDER / f"{DEEP_SOUTH}.txt.gz")])
    assert isinstance(south.exception, InputError)
