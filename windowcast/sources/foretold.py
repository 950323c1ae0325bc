"""What was foretold for a place, by whom and when, and what came of it: the program's own record.

Tables beside the answers in the cache's database: rows are added and never changed, and go after
13 months or when there are too many (``record`` in ``sources.toml``). Several processes may write;
each call is one short transaction, so a process killed at any point leaves whole ones. A database
that is locked, full or damaged costs the record and never the answer: `InputError` says so, and
who calls turns it into a remark.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import astuple, dataclass
from pathlib import Path
from typing import Any

from windowcast.core.digest import digest_of
from windowcast.core.errors import InputError
from windowcast.core.record import Place
from windowcast.core.values import load
from windowcast.core.version import __version__
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE, folder
from windowcast.sources.foretold_tables import TABLES, as_made, insert, made_ready

DAY_S = 86_400
NIGHT_LOW = "night_low_c"


@dataclass(frozen=True, slots=True)
class Issue:
    """One forecast, or one answer.

    Attributes
    ----------
    ground
        Which ground and question an answer is of (`ground_key`); "" for a forecast.
    source
        Of a forecast its source's name, of an answer "windowcast".
    issued, made
        When the forecast was issued, and when it was fetched or the answer given [POSIX s].
    digest
        Of the raw answer of the source: the same answer asked for again is no second case.
    """

    ground: str
    source: str
    issued: int
    made: int
    digest: str


@dataclass(frozen=True, slots=True)
class Said:
    """One value foretold.

    Attributes
    ----------
    element
        A daily variable of the schema, or `NIGHT_LOW`.
    start, stop
        Between what times it holds [POSIX s].
    value, low, high
        As issued, and its 10 and 90 % points; in the unit of the element, None where not told.
    chance
        Of any rain, 0..1.
    """

    element: str
    start: int
    stop: int
    value: float | None
    low: float | None = None
    high: float | None = None
    chance: float | None = None


@dataclass(frozen=True, slots=True)
class Announced:
    """One window announced; times POSIX s, score 0..100, odds 0..1 with 10 and 90 %."""

    purpose: str
    start: int
    stop: int
    verdict: str
    score: float | None
    share: float | None
    low: float | None
    high: float | None
    futures: int
    basis: str
    actives: str


@dataclass(frozen=True, slots=True)
class SaidOnce:
    """A value foretold, with who told it and when; `lead_h` from the issue to the start."""

    ground: str
    source: str
    issued: int
    made: int
    lead_h: float
    said: Said


@dataclass(frozen=True, slots=True)
class AnnouncedOnce:
    """A window announced, with when; `lead_h` from the answer to the window."""

    ground: str
    made: int
    lead_h: float
    window: Announced


@dataclass(frozen=True, slots=True)
class Came:
    """One value measured, as `Said`."""

    element: str
    start: int
    stop: int
    value: float


@dataclass(frozen=True, slots=True)
class HeldWindow:
    """What came of a window: True held, False not, None cannot be told for want of `unknown`."""

    ground: str
    purpose: str
    start: int
    stop: int
    actives: str
    held: bool | None
    unknown: tuple[str, ...]


def ground_key(*what: object) -> str:
    """A short key of the ground and the question, which names neither."""
    return digest_of(*map(str, what))[:12]


class Foretold:
    """The record of one cache.

    Parameters
    ----------
    path
        The cache's database; by default the user's own. It is made at the first writing.
    clock
        POSIX seconds.
    """

    def __init__(self, path: Path | None = None, clock: Callable[[], float] = time.time) -> None:
        self.path = path if path is not None else folder() / FILE
        self.clock = clock
        self._values = load("sources").table("record")

    # ---- writing ----

    def keep(
        self,
        place: Place,
        issue: Issue,
        said: Sequence[Said] = (),
        announced: Sequence[Announced] = (),
    ) -> bool:
        """Keep a forecast or an answer; False where it is kept already.

        Raises
        ------
        InputError
            The database cannot be written.
        """
        head = (*at_place(place), *astuple(issue), __version__, len(said) + len(announced))
        with self._writing() as db:
            done = db.execute(
                "INSERT OR IGNORE INTO told_issue"
                " (lat, lon, ground, source, issued, made, digest, program, count)"
                " VALUES (?,?,?,?,?,?,?,?,?)",
                head,
            )
            if not done.rowcount:
                return False
            number = done.lastrowid
            insert(db, "told", [
                (number, s.element, s.start, s.stop, (s.start - issue.issued) / 3600,
                 s.value, s.low, s.high, s.chance) for s in said
            ])  # fmt: skip
            insert(db, "told_window", [
                (number, w.purpose, w.start, w.stop, (w.start - issue.made) / 3600,
                 *astuple(w)[3:]) for w in announced
            ])  # fmt: skip
            self._prune(db)
        return True

    def keep_came(self, place: Place, came: Sequence[Came]) -> None:
        """Keep what was measured; a time that has a value keeps it. `InputError` as `keep`."""
        now = int(self.clock())
        self._add("came", [(*at_place(place), *astuple(c), now) for c in came])

    def keep_held(self, place: Place, windows: Sequence[HeldWindow]) -> None:
        """Keep what came of windows, as judged first. `InputError` as `keep`."""
        now = int(self.clock())
        rows = [
            (*at_place(place), w.ground, w.purpose, w.start, w.stop, w.actives,
             None if w.held is None else int(w.held), " ".join(w.unknown), __version__, now)
            for w in windows
        ]  # fmt: skip
        self._add("came_window", rows)

    # ---- reading: `InputError` where the database cannot be read ----

    def said(
        self, place: Place, since: float, *, element: str = "", ground: str = "", source: str = ""
    ) -> list[SaidOnce]:
        """What was foretold of times from `since` on [POSIX s], by issue.

        Only what was issued, and for an answer given, before the time that it speaks of.
        """
        rows = self.read(
            "SELECT i.ground, i.source, i.issued, i.made, t.lead_h,"
            " t.element, t.start, t.stop, t.value, t.low, t.high, t.chance"
            " FROM told_issue i JOIN told t ON t.issue = i.id"
            " WHERE i.lat = ? AND i.lon = ? AND i.ground = ? AND t.start >= ?"
            " AND (? = '' OR t.element = ?) AND (? = '' OR i.source = ?)"
            " AND i.issued <= t.start AND (i.ground = '' OR i.made <= t.start)"
            " ORDER BY i.issued, i.id",
            (*at_place(place), ground, since, element, element, source, source),
        )
        return [
            SaidOnce(ground, source, issued, made, lead_h, Said(*said))
            for ground, source, issued, made, lead_h, *said in rows
        ]

    def announced(self, place: Place, since: float) -> list[AnnouncedOnce]:
        """Windows that begin from `since` on, announced before they began, by answer."""
        rows = self.read(
            "SELECT i.ground, i.made, w.lead_h, w.purpose, w.start, w.stop, w.verdict, w.score,"
            " w.share, w.low, w.high, w.futures, w.basis, w.actives"
            " FROM told_issue i JOIN told_window w ON w.issue = i.id"
            " WHERE i.lat = ? AND i.lon = ? AND w.start >= ?"
            " AND i.made <= w.start ORDER BY i.made, i.id",
            (*at_place(place), since),
        )
        return [
            AnnouncedOnce(ground, made, lead_h, Announced(*window))
            for ground, made, lead_h, *window in rows
        ]

    def came(self, place: Place, since: float) -> list[Came]:
        """What was measured from `since` on."""
        rows = self.read(
            "SELECT element, start, stop, value FROM came"
            " WHERE lat = ? AND lon = ? AND start >= ? ORDER BY start",
            (*at_place(place), since),
        )
        return [Came(*row) for row in rows]

    def held(self, place: Place, since: float) -> list[HeldWindow]:
        """What came of the windows that begin from `since` on."""
        rows = self.read(
            "SELECT ground, purpose, start, stop, actives, held, unknown FROM came_window"
            " WHERE lat = ? AND lon = ? AND start >= ? ORDER BY start",
            (*at_place(place), since),
        )
        return [
            HeldWindow(
                ground, purpose, start, stop, actives,
                None if held is None else bool(held), tuple(unknown.split()),
            )
            for ground, purpose, start, stop, actives, held, unknown in rows
        ]  # fmt: skip

    def count(self, place: Place) -> int:
        """How many forecasts and answers for a place are kept."""
        where = "WHERE lat = ? AND lon = ?"
        rows = self.read(f"SELECT count(*) FROM told_issue {where}", at_place(place))
        return int(rows[0][0]) if rows else 0

    def problem(self) -> str:
        """What is wrong with the tables, as a clause; "" where they are whole or not there."""
        try:
            for name in TABLES:
                self.read(f"SELECT * FROM {name} ORDER BY 1", ())
        except InputError as error:
            return error.problem
        return ""

    # ---- inside ----

    @contextmanager
    def _plain_errors(self, doing: str) -> Iterator[None]:
        try:
            yield
        except (sqlite3.Error, OSError) as error:
            raise InputError(
                f"the record of forecasts cannot be {doing} ({error})",
                remedy="see windowcast weather doctor",
            ) from None

    def _connect(self) -> sqlite3.Connection:
        db = sqlite3.connect(self.path, timeout=self._values.number("busy"), isolation_level=None)
        db.execute("PRAGMA synchronous = NORMAL")
        return db

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, whole or not at all."""
        with self._plain_errors("written"):
            if not self.path.exists():
                with Cache(self.path) as cache:
                    cache.size()  # makes the file
            db = self._connect()
            try:
                db.execute("BEGIN IMMEDIATE")
                made_ready(db)
                yield db
                db.execute("COMMIT")
            except BaseException:
                with suppress(sqlite3.Error):
                    db.execute("ROLLBACK")
                raise
            finally:
                db.close()

    def read(self, sql: str, args: Sequence[object]) -> list[Any]:
        """Rows of the record; none where it is not there, or in another form."""
        if not self.path.exists():
            return []
        with self._plain_errors("read"):
            db = self._connect()
            try:
                if not all(as_made(db, name) for name in TABLES):
                    return []
                return db.execute(sql, args).fetchall()
            finally:
                db.close()

    def _prune(self, db: sqlite3.Connection) -> None:
        """Let go of what is too old, and of the oldest where there is too much."""
        oldest = self._oldest
        most = int(self._values.number("max_rows"))
        (first,) = db.execute("SELECT min(made) FROM told_issue").fetchone()
        (rows,) = db.execute("SELECT total(count) FROM told_issue").fetchone()
        if first >= oldest and rows <= most:
            return
        over, gone = (rows - 0.95 * most if rows > most else 0), []
        for number, made, count in db.execute("SELECT id, made, count FROM told_issue ORDER BY id"):
            if made >= oldest and over <= 0:
                continue
            gone.append((number,))
            over -= count
        for table, column in (("told", "issue"), ("told_window", "issue"), ("told_issue", "id")):
            db.executemany(f"DELETE FROM {table} WHERE {column} = ?", gone)

    @property
    def _oldest(self) -> int:
        return int(self.clock() - self._values.number("max_days") * DAY_S)

    def _add(self, table: str, rows: Sequence[tuple[object, ...]]) -> None:
        """Add rows to what came, and let go of old ones."""
        if rows:
            with self._writing() as db:
                insert(db, table, rows)
                db.execute(f"DELETE FROM {table} WHERE stop < ?", (self._oldest,))


def at_place(place: Place) -> tuple[int, int]:
    """A place to about 100 m, as the sources are asked."""
    return round(place.latitude_deg * 1000), round(place.longitude_deg * 1000)
