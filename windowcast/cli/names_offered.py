"""Names that the shell offers to complete: areas, sprayers and products of the site file."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.core.errors import WindowcastError

if TYPE_CHECKING:
    from windowcast.core.site import Site


def areas_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Areas that begin so; after a comma the next one."""
    before, comma, last = incomplete.rpartition(",")
    head = f"{before}, " if comma else ""
    names = _of_site(ctx, lambda site, _: (area.name for area in site.area))
    return [f"{head}{name}" for name in _beginning(names, last.strip())]


def sprayers_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Sprayers that begin so."""
    return _beginning(_of_site(ctx, lambda site, _: (s.name for s in site.sprayer)), incomplete)


def products_offered(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[str]:
    """Products of the materials file that begin so."""
    return _beginning(_of_site(ctx, _products), incomplete)


def _products(site: Site, file: Path) -> Iterable[str]:
    from windowcast.core.site import file_beside
    from windowcast.materials.actives import load_actives
    from windowcast.materials.products import load_products

    labels = file_beside(file, site.materials_file)
    return load_products(labels, load_actives(labels))


def _of_site(ctx: click.Context, names: Callable[[Site, Path], Iterable[str]]) -> list[str]:
    """Names from the site file on the command line; none where it cannot be read."""
    from windowcast.core.site import load_site

    # while the last option lacks its value, click has not yet told arguments from options
    file = ctx.params.get("site_file") or next((w for w in ctx.args if w.endswith(".toml")), None)
    if file is None:
        return []
    with suppress(WindowcastError):
        return list(names(load_site(file), Path(file)))
    return []


def _beginning(names: Iterable[str], incomplete: str) -> list[str]:
    return [name for name in names if name.casefold().startswith(incomplete.casefold())]
