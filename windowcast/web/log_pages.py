"""A long season log in pages: what is kept of each log, and the entries an address asks for."""

from __future__ import annotations

import json
import threading
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from windowcast.core.season_calendar import season_name
from windowcast.records.log_mirror import LogMirror, LogNow
from windowcast.records.model import kind_of
from windowcast.records.stored import Stored

PAGE = 100  # entries
_season = lru_cache(maxsize=20_000)(season_name)


class LogShelf:
    """The logs of a server's sites in memory, with the JSON of their entries."""

    def __init__(self) -> None:
        self._mirrors: dict[Path, LogMirror] = {}
        self._texts: dict[Path, dict[str, tuple[Stored[Any], str]]] = {}
        self._lock = threading.Lock()

    def now(self, path: Path) -> LogNow:
        """What a log says now; nothing where there is no file yet.

        Raises
        ------
        InputError
            The file cannot be read, or is not a season log.
        """
        if not path.exists():
            return LogNow(0, (), ())
        with self._lock:
            mirror = self._mirrors.setdefault(path, LogMirror(path))
        return mirror.now()

    def as_json(self, path: Path, kind: str | None, plain: Callable[[Stored[Any]], Any]) -> str:
        """The entries of a kind or all as a JSON array; each is written once a version."""
        before, texts = self._texts.get(path, {}), {}
        entries = self.now(path).entries
        for stored in entries:
            known = before.get(stored.id)
            if known is None or known[0] is not stored:
                text = json.dumps(
                    plain(stored), ensure_ascii=False, allow_nan=False, separators=(",", ":")
                )
                known = stored, text
            texts[stored.id] = known
        self._texts[path] = texts
        wanted = (s for s in entries if kind is None or kind_of(s.entry) == kind)
        return f"[{','.join(texts[stored.id][1] for stored in wanted)}]"


@dataclass(frozen=True)
class LogPage:
    """One page of a log, newest entries first.

    Attributes
    ----------
    entries
        Of the page.
    first, count
        Number of the page's first entry, from 1, and of all that were asked for.
    page, pages
        Which page, from 1, of how many; at least one.
    season, kind
        What was asked for; "" for all.
    seasons, kinds
        Number of entries of each season, latest first, and of each kind, whatever was asked for.
    """

    entries: Sequence[Stored[Any]]
    first: int
    count: int
    page: int
    pages: int
    season: str
    kind: str
    seasons: Mapping[str, int]
    kinds: Mapping[str, int]

    @property
    def last(self) -> int:
        """Number of the page's last entry."""
        return self.first + len(self.entries) - 1

    @property
    def total(self) -> int:
        """Number of all entries of the log."""
        return sum(self.kinds.values())

    def query(self, page: int) -> str:
        """The part of the address that asks for another page of the same entries."""
        said = {"season": self.season, "kind": self.kind, "page": str(page) if page > 1 else ""}
        return urlencode({name: value for name, value in said.items() if value})


def log_page(
    entries: Sequence[Stored[Any]], asked: Mapping[str, str], *, southern: bool
) -> LogPage:
    """The page that an address asks for; what it asks wrongly is taken as not asked."""
    of_season = [_season(stored.entry.date, southern) for stored in entries]
    of_kind = [kind_of(stored.entry) for stored in entries]
    seasons, kinds = Counter(of_season), Counter(of_kind)
    season, kind = asked.get("season", ""), asked.get("kind", "")
    season, kind = season if season in seasons else "", kind if kind in kinds else ""
    found = [
        stored
        for stored, own_season, own_kind in zip(entries, of_season, of_kind, strict=True)
        if season in ("", own_season) and kind in ("", own_kind)
    ][::-1]
    pages = max(1, -(-len(found) // PAGE))
    number = asked.get("page", "")
    plain = number.isascii() and number.isdigit() and len(number) < 10
    page = min(max(int(number), 1), pages) if plain else 1
    start = (page - 1) * PAGE
    return LogPage(
        found[start : start + PAGE],
        min(start + 1, len(found)),
        len(found),
        page,
        pages,
        season,
        kind,
        dict(sorted(seasons.items(), reverse=True)),
        kinds,
    )
