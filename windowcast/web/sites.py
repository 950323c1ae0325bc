"""The sites a server shows: one site file, or a folder of them, or the sample when there is none.

A name from an address is only ever looked up in the list of what the folder holds; no path is
made of it.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.core.given_files import file_state, is_device
from windowcast.core.site import MAX_SITE_BYTES, Site, file_beside, load_site, log_beside

SAMPLE_SLUG = "sample"
MOST_SITES = 500


@dataclass(frozen=True)
class KnownSite:
    """A site as the server knows it; `site` is None when its file has a problem."""

    slug: str
    site: Site | None
    path: Path | None  # None for the sample
    problem: InputError | None = None

    @property
    def sample(self) -> bool:
        """Whether this is the packaged sample, which keeps no log."""
        return self.path is None

    @property
    def name(self) -> str:
        """The site's name, or its file's."""
        if self.site is not None:
            return self.site.name
        return self.path.stem if self.path else "sample"

    @property
    def log_path(self) -> Path | None:
        """Where its season log lies; None for the sample."""
        if self.path is None:
            return None
        if self.site is None:
            return self.path.with_suffix(".log.sqlite")
        return log_beside(self.site, self.path)

    def beside(self, name: str) -> Path | None:
        """A file named in the site file, taken relative to it; None when none is named."""
        return file_beside(self.path, name) if self.path is not None else None


class SiteBook:
    """The site files of one folder (or one file alone)."""

    def __init__(self, place: Path) -> None:
        """`place` is a site file or a folder; a folder that is not there yet is made on saving."""
        self.only = place if place.suffix == ".toml" else None
        self.folder = place.parent if self.only else place

    def all(self) -> list[KnownSite]:
        """Every site in the order of its name; the sample alone when there is none."""
        known: dict[str, KnownSite] = {}
        for file in self._files():
            if is_trial(file, *file_state(file)):
                continue
            slug = _free(slug_of(file.stem), known)
            site, problem = _read(file, *file_state(file))
            known[slug] = KnownSite(slug, site, file, problem)
        if not known:
            return [sample()]
        return sorted(known.values(), key=lambda site: (site.name.lower(), site.slug))

    def _files(self) -> list[Path]:
        return [self.only] if self.only else sorted(self.folder.glob("*.toml"))[:MOST_SITES]

    def trials(self) -> dict[str, Path]:
        """The trial files that are served by the part of the address that names them."""
        found: dict[str, Path] = {}
        for file in self._files():
            if is_trial(file, *file_state(file)):
                found[_free(slug_of(file.stem), found)] = file
        return found

    def find(self, slug: str) -> KnownSite | None:
        """The site of an address, or None."""
        return next((site for site in self.all() if site.slug == slug), None)

    def save(self, text: str, *, name: str, replacing: KnownSite | None = None) -> str:
        """Write a site file; the slug it is now found under.

        Raises
        ------
        InputError
            The file cannot be written, or one site alone is served and this is another.
        """
        if replacing is not None and replacing.path is not None:
            write_atomic(replacing.path, text)
            return replacing.slug
        if self.only is not None:
            raise InputError(
                "this server shows one site file only",
                remedy="start windowcast serve with a folder to keep several",
            )
        made_folder(self.folder)
        # also trials, and what a system that knows no capitals takes for the same
        known = {site.slug for site in self.all()} | {
            slug_of(file.stem) for file in self.folder.glob("*.toml")
        }
        slug = _free(slug_of(name), known)
        write_atomic(self.folder / f"{slug}.toml", text)
        return slug


def slug_of(name: str) -> str:
    """A name as part of an address: lower-case ASCII letters, digits and hyphens."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:60]
    return slug if slug and slug != SAMPLE_SLUG and not is_device(slug) else "site"


def _free(slug: str, taken: Container[str]) -> str:
    number, free = 2, slug
    while free in taken or free == SAMPLE_SLUG:
        free, number = f"{slug}-{number}", number + 1
    return free


@cache
def sample() -> KnownSite:
    """The packaged sample, shown where there is no site yet."""
    from windowcast.weather.sample import sample_site

    return KnownSite(SAMPLE_SLUG, sample_site(), None)


@lru_cache(maxsize=MOST_SITES)
def is_trial(file: Path, changed_ns: int, size: int) -> bool:
    """Whether a file holds a trial, which has treatments, and not a site; read when changed."""
    if size > MAX_SITE_BYTES:
        return False
    try:
        text = file.read_text("utf-8", "replace")
    except OSError:
        return False
    return re.search(r"^\s*\[\[treatment\]\]", text, re.MULTILINE) is not None


@lru_cache(maxsize=MOST_SITES)
def _read(file: Path, changed_ns: int, size: int) -> tuple[Site | None, InputError | None]:
    """The site of a file, or what is wrong with it without naming folders; read when changed."""
    try:
        return load_site(file), None
    except InputError as error:
        return None, error.at(path=file.name)
