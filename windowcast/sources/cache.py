"""The weather cache: one SQLite file with packed bodies, validators, and when each was fetched.

Several processes may use it at once (write-ahead log, short transactions), and a process killed
at any point leaves it readable. It holds public weather data, and what was derived from weather
under keys that name no site.
"""

from __future__ import annotations

import hashlib
import sqlite3
import threading
import time
import zlib
from collections.abc import Callable, Iterable, Iterator, Set
from contextlib import contextmanager
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self

from windowcast.core.errors import InputError
from windowcast.core.values import load
from windowcast.sources.cache_file import FILE, damaged, folder, opened


@dataclass(frozen=True, slots=True)
class Entry:
    """What is known of one kept answer, without its body. Times are POSIX seconds."""

    url: str
    source: str
    status: int  # 200, or 404 for a kept "not there"
    digest: str  # of the unpacked body
    etag: str
    last_modified: str
    fetched_at: float  # when the body came
    checked_at: float  # when the source last said that it still holds
    expires_at: float


_KNOWN = ", ".join(field.name for field in fields(Entry))  # as columns


@dataclass(frozen=True, slots=True)
class Carried:
    """An answer of another cache; `before` is the body that it replaced, fetched and checked."""

    entry: Entry
    body: bytes | None
    before: tuple[bytes, float, float] | None = None


@dataclass(frozen=True, slots=True)
class Holding:
    """What the cache holds of one source. Times are POSIX seconds."""

    source: str
    entries: int
    bytes: int
    oldest: float  # by the last check with the source
    newest: float
    fresh: int  # entries not yet expired


class Cache:
    """Answers kept by address, and arrays derived from them kept by key and digest.

    The file is opened at first use; then each method may raise `InputError` when the folder
    cannot be written, or the file is damaged or of a newer version of the program.
    """

    def __init__(
        self,
        path: Path | None = None,
        *,
        max_bytes: int | None = None,
        clock: Callable[[], float] = time.time,
    ) -> None:
        settings = load("sources").table("cache")
        self.path = path if path is not None else folder() / FILE
        self._max_bytes = int(settings.number("max_bytes")) if max_bytes is None else max_bytes
        self._evict_to = settings.number("evict_to")
        self._used_step = settings.number("used_step")
        self._clock = clock
        self._lock = threading.RLock()
        self._opened: sqlite3.Connection | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Release the file."""
        with self._lock:
            if self._opened is not None:
                self._opened.close()
                self._opened = None

    # ---- opening ----

    @property
    def _db(self) -> sqlite3.Connection:
        with self._lock:
            if self._opened is None:
                self._opened = opened(self.path)
            return self._opened

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One short transaction; nothing of it stays when it fails or the process dies."""
        with self._lock:
            try:
                self._db.execute("BEGIN IMMEDIATE")
                yield self._db
                self._db.execute("COMMIT")
            except sqlite3.OperationalError as error:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                raise InputError(
                    f"the weather cache cannot be written ({error})",
                    remedy="free some disk, or name another folder in WINDOWCAST_CACHE",
                ) from None
            except BaseException as error:
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
                if isinstance(error, sqlite3.DatabaseError):
                    raise damaged(error) from None
                raise

    def _read(self, sql: str, *args: object) -> list[Any]:
        with self._lock:
            try:
                return self._db.execute(sql, args).fetchall()
            except sqlite3.DatabaseError as error:
                raise damaged(error) from None

    # ---- answers ----

    def entry(self, url: str) -> Entry | None:
        """What is known of a kept answer."""
        rows = self._read(f"SELECT {_KNOWN}, used_at FROM entry WHERE url = ?", url)
        if not rows:
            return None
        self._note_use("entry", "url", url, rows[0][-1])
        return Entry(*rows[0][:-1])

    def body(self, url: str) -> bytes | None:
        """The unpacked body of a kept answer; None when there is none."""
        rows = self._read("SELECT body FROM entry WHERE url = ? AND body IS NOT NULL", url)
        return _unpack(rows[0][0]) if rows else None

    def put(
        self,
        url: str,
        source: str,
        body: bytes | None,
        *,
        fresh_s: float,
        etag: str = "",
        last_modified: str = "",
    ) -> Entry:
        """Keep an answer; `body` None keeps that there is nothing at the address."""
        now = self._clock()
        status, digest = (404, "") if body is None else (200, digest_of(body))
        entry = Entry(url, source, status, digest, etag, last_modified, now, now, now + fresh_s)
        with self.writing() as db:
            self._keep(db, entry, body)
            self._evict(db, {url})
        return entry

    def _keep(self, db: sqlite3.Connection, entry: Entry, body: bytes | None) -> None:
        """Put an answer in; another body that it replaces stays beside."""
        packed = None if body is None else zlib.compress(body, 6)
        size = len(packed or b"") + len(entry.url)
        db.execute(
            "INSERT OR REPLACE INTO former SELECT url, source, body, digest, fetched_at,"
            " checked_at, used_at, size FROM entry"
            " WHERE url = ? AND status = 200 AND digest != ?",
            (entry.url, entry.digest),
        )
        db.execute(
            f"INSERT OR REPLACE INTO entry VALUES ({','.join('?' * 12)})",
            (
                entry.url, entry.source, entry.status, packed, entry.digest, entry.etag,
                entry.last_modified, entry.fetched_at, entry.checked_at, entry.expires_at,
                self._clock(), size,
            ),
        )  # fmt: skip

    def take(self, db: sqlite3.Connection, carried: Iterable[Carried]) -> int:
        """Put in answers of another cache, as old as they are, within a transaction.

        Where what is kept here is as new or newer it stays. Returns how many were put in.
        """
        taken = set()
        for answer in carried:
            entry = answer.entry
            stays = "url = ? AND (checked_at >= ? OR (status = 200 AND ? = 404))"
            asked = entry.url, entry.checked_at, entry.status
            if db.execute(f"SELECT 1 FROM entry WHERE {stays}", asked).fetchone():
                continue
            self._keep(db, entry, answer.body)
            self._keep_before(db, answer)
            taken.add(entry.url)
        self._evict(db, taken)
        return len(taken)

    def _keep_before(self, db: sqlite3.Connection, answer: Carried) -> None:
        """Keep the body that an answer replaced elsewhere, unless a newer one is beside it here."""
        if answer.before is None:
            return
        body, fetched_at, checked_at = answer.before
        packed, url = zlib.compress(body, 6), answer.entry.url
        db.execute(
            "INSERT OR REPLACE INTO former SELECT ?1,?2,?3,?4,?5,?6,?7,?8 WHERE NOT EXISTS"
            " (SELECT 1 FROM former WHERE url = ?1 AND checked_at >= ?6)",
            (
                url, answer.entry.source, packed, digest_of(body), fetched_at, checked_at,
                self._clock(), len(packed) + len(url),
            ),
        )  # fmt: skip

    def confirm(self, url: str, *, fresh_s: float) -> None:
        """Note that the source said a kept answer still holds."""
        now = self._clock()
        with self.writing() as db:
            db.execute(
                "UPDATE entry SET checked_at = ?, expires_at = ?, used_at = ? WHERE url = ?",
                (now, now + fresh_s, now, url),
            )

    def ask_again(self, url: str, *, in_s: float) -> None:
        """Ask for a kept answer again after so many seconds at the latest; it stays until then."""
        now = self._clock()
        with self.writing() as db:
            db.execute(
                "UPDATE entry SET expires_at = min(expires_at, ?) WHERE url = ?", (now + in_s, url)
            )

    def remove(self, url: str) -> None:
        """Forget an answer; the one before it stays beside."""
        with self.writing() as db:
            db.execute("DELETE FROM entry WHERE url = ?", (url,))

    def former(self, url: str) -> bytes | None:
        """The unpacked body that the kept answer replaced; None when there is none."""
        rows = self._read("SELECT body FROM former WHERE url = ?", url)
        return _unpack(rows[0][0]) if rows else None

    def former_entry(self, url: str) -> tuple[float, float] | None:
        """When the body that was replaced came, and was last confirmed [POSIX s]; None: no body."""
        rows = self._read("SELECT fetched_at, checked_at FROM former WHERE url = ?", url)
        return tuple(rows[0]) if rows else None

    def restore(self, url: str) -> None:
        """Put the answer before in the place of the kept one; it is asked again at the next use."""
        with self.writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO entry SELECT url, source, 200, body, digest, '', '',"
                " fetched_at, checked_at, 0, used_at, size FROM former WHERE url = ?",
                (url,),
            )
            db.execute("DELETE FROM former WHERE url = ?", (url,))

    def set_back(self, source: str, *, younger_than_s: float, fresh_s: float) -> int:
        """Put a source's former answers in place of what is in doubt; how many there were.

        Only those that their source confirmed within `younger_than_s`. All that the source gave is
        asked for again after `fresh_s` at the latest.
        """
        now = self._clock()
        args = (now + fresh_s, source, now - younger_than_s)
        with self.writing() as db:
            db.execute(
                "UPDATE entry SET expires_at = min(expires_at, ?) WHERE source = ?", args[:2]
            )
            count = db.execute(
                "INSERT OR REPLACE INTO entry SELECT url, source, 200, body, digest, '', '',"
                " fetched_at, checked_at, ?, used_at, size FROM former"
                " WHERE source = ? AND checked_at > ?",
                args,
            ).rowcount
            db.execute("DELETE FROM former WHERE source = ? AND checked_at > ?", args[1:])
        return count

    def entries(self) -> list[Entry]:
        """What is known of every kept answer, by address."""
        return [Entry(*row) for row in self._read(f"SELECT {_KNOWN} FROM entry ORDER BY url")]

    # ---- derived arrays ----

    def derived(self, key: str, digest: str) -> bytes | None:
        """What was derived under `key` from bodies of this digest; None when there is none."""
        rows = self._read(
            "SELECT body, used_at FROM derived WHERE key = ? AND digest = ?", key, digest
        )
        if not rows:
            return None
        self._note_use("derived", "key", key, rows[0][1])
        return _unpack(rows[0][0])

    def put_derived(self, key: str, source: str, digest: str, body: bytes) -> None:
        """Keep something computed from bodies of this digest, replacing what the key had."""
        packed = zlib.compress(body, 1)
        with self.writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO derived VALUES (?,?,?,?,?,?)",
                (key, source, digest, packed, self._clock(), len(packed) + len(key)),
            )
            self._evict(db, {key})

    # ---- housekeeping ----

    def _note_use(self, table: str, column: str, key: str, used_at: float) -> None:
        now = self._clock()
        if now - used_at > self._used_step:
            with self.writing() as db:
                db.execute(f"UPDATE {table} SET used_at = ? WHERE {column} = ?", (now, key))

    def _evict(self, db: sqlite3.Connection, keep: Set[str]) -> None:
        """Remove what was used longest ago until the size bound holds; never what just came."""
        total = self._size(db)
        if total <= self._max_bytes:
            return
        rows = db.execute(
            "SELECT 'former', url, size, 0.0 AS used_at FROM former"
            " UNION ALL SELECT 'derived', key, size, used_at FROM derived"
            " UNION ALL SELECT 'entry', url, size, used_at FROM entry"
            " ORDER BY used_at, size DESC"
        ).fetchall()
        for table, key, size, _ in rows:
            if total <= self._max_bytes * self._evict_to:
                break
            if table != "former" and key in keep:
                continue
            column = "key" if table == "derived" else "url"
            db.execute(f"DELETE FROM {table} WHERE {column} = ?", (key,))
            total -= size
        db.execute("PRAGMA incremental_vacuum")

    @staticmethod
    def _size(db: sqlite3.Connection) -> int:
        row = db.execute(
            "SELECT (SELECT total(size) FROM entry) + (SELECT total(size) FROM former)"
            " + (SELECT total(size) FROM derived)"
        ).fetchone()
        return int(row[0])

    def size(self) -> int:
        """Bytes kept, packed."""
        with self._lock:
            return self._size(self._db)

    def holdings(self) -> list[Holding]:
        """What is kept of each source, by name; derived arrays count as bytes of their source."""
        rows = self._read(
            "SELECT source, count(*), total(size) + (SELECT total(size) FROM derived d"
            " WHERE d.source = e.source), min(checked_at), max(checked_at),"
            " sum(expires_at > ?) FROM entry e GROUP BY source ORDER BY source",
            self._clock(),
        )
        return [Holding(name, count, int(size), *more) for name, count, size, *more in rows]

    def clear(self, source: str | None = None) -> int:
        """Remove everything, or one source; returns the number of answers removed."""
        where, args = ("", ()) if source is None else (" WHERE source = ?", (source,))
        with self.writing() as db:
            count = db.execute(f"DELETE FROM entry{where}", args).rowcount
            for table in ("former", "derived"):
                db.execute(f"DELETE FROM {table}{where}", args)
        with self._lock:
            self._db.execute("PRAGMA incremental_vacuum").fetchall()
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        return count

    def sound(self) -> bool:
        """Whether SQLite finds the file whole and every body unpacks to its digest."""
        if self._read("PRAGMA integrity_check") != [("ok",)]:
            return False
        return all(
            digest_of(_unpack(body)) == digest
            for body, digest in self._read("SELECT body, digest FROM entry WHERE status = 200")
        )


def digest_of(body: bytes) -> str:
    """The digest under which a body is kept."""
    return hashlib.blake2b(body, digest_size=16).hexdigest()


def _unpack(packed: bytes) -> bytes:
    try:
        return zlib.decompress(packed)
    except zlib.error as error:
        raise damaged(error) from None
