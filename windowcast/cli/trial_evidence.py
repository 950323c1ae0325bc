"""``windowcast trial evidence``: what own trials change in the control to expect."""

from __future__ import annotations

from pathlib import Path

import click

from windowcast.cli.output import echo, lang_option, voice_in
from windowcast.core.errors import InputError


@click.command("evidence")
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@lang_option
def evidence(site_file: Path) -> None:
    """What the site's own trials say of control, beside published trials.

    The site file names them: own_trials = ["trials/fall2025.toml"]. Each counts as one more trial
    in the control that rank, plan and review expect; what does not count is named with the reason.
    """
    from windowcast.core.site import file_beside, load_site
    from windowcast.core.values import PACKAGED
    from windowcast.materials.actives import load_actives
    from windowcast.records.own_evidence import evidence_of
    from windowcast.report.own_evidence import evidence_lines

    site = load_site(site_file)
    if not site.own_trials:
        raise InputError(
            "is missing", path=site_file, field="own_trials",
            remedy='name your trials: own_trials = ["trial.toml"]',
        )  # fmt: skip
    materials = load_actives(file_beside(site_file, site.materials_file))
    found = evidence_of(site, PACKAGED, materials)
    echo(*evidence_lines(found, PACKAGED, voice_in(site.units, site)))
