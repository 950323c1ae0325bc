"""Taking a weather bundle into a cache, whole or not at all; what is newer there stays."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from windowcast.core.atomic_files import made_folder, write_atomic
from windowcast.core.errors import InputError
from windowcast.core.given_files import read_regular
from windowcast.core.record import Place
from windowcast.core.values import load
from windowcast.sources.bundle import Bundle, CarriedAnswer, OwnFile, file_name
from windowcast.sources.cache import Cache, Carried, Entry, digest_of
from windowcast.sources.doctor import kind_of
from windowcast.sources.foretold_carried import add_lines, checked_lines, times_noted

_FOR_WINDOWS = set('<>:"\\|?*')  # no name of a file there


@dataclass(frozen=True)
class Taken:
    """What came of an import: answers taken in and left as they were, issues new on record."""

    answers: int
    left: int
    issues: int
    files: tuple[Path, ...]


def take_in(bundle: Bundle, cache: Cache, now: float, folder: Path | None = None) -> Taken:
    """Take a bundle's answers and record into a cache, and its files into a folder.

    Everything is read and checked before anything is written; the answers and the record are one
    transaction.

    Parameters
    ----------
    now
        POSIX seconds by this clock.
    folder
        Where the user's own files go; None leaves them in the bundle.

    Raises
    ------
    InputError
        A member is damaged or cannot be used, this clock is behind, a file of the folder is
        another one, or something cannot be written. Then nothing has changed.
    """
    for answer in bundle.manifest.answers:
        _check(bundle, cache, answer)
    try:
        lines = checked_lines(bundle.record())
    except InputError as error:
        raise error.at(path=bundle.path) from None
    _refuse_ahead(bundle, lines, now)
    files = [] if folder is None else _to_write(bundle, folder)
    place = bundle.manifest.site
    at = Place(place.name, place.latitude, place.longitude)
    longest = load("sources").number("age.archive_past_fresh")
    written: list[Path] = []
    try:
        with cache.writing() as db:
            answers = bundle.manifest.answers
            done = cache.take(db, (_carried(bundle, each, longest) for each in answers))
            issues = add_lines(db, at, lines)
            for target, body in files:
                made_folder(target.parent)
                write_atomic(target, body)
                written.append(target)
    except BaseException:
        for target in written:
            with suppress(OSError):
                target.unlink()
        raise
    return Taken(done, len(answers) - done, issues, tuple(written))


def _refuse_ahead(bundle: Bundle, lines: Sequence[dict[str, Any]], now: float) -> None:
    """Refuse what comes from the future by this clock: every age would be told too young."""
    manifest = bundle.manifest
    held = [each for a in manifest.answers for each in (a, a.before) if each is not None]
    came = [at for each in held for at in (each.fetched_at, each.checked_at)]
    newest = max([manifest.made, *came, *times_noted(lines)])
    if newest > now + load("sources").number("http.clock_skew_max"):
        raise InputError(
            f"was fetched {(newest - now) / 3600:.1f} h from now by this machine's clock",
            path=bundle.path,
            remedy="set the clock, then import it again",
        )


def _check(bundle: Bundle, cache: Cache, answer: CarriedAnswer) -> None:
    """Refuse an answer whose sum is another, or that its source's reader does not understand."""
    what, problem, _ = kind_of(answer.url, cache)
    for held in filter(None, (answer.body, answer.before)):
        if why := problem(bundle.answer(held)):
            raise InputError(
                f"its answer for {what} is no use: {why}",
                path=bundle.path,
                remedy="export it anew, after windowcast weather doctor --mend there",
            )


def _carried(bundle: Bundle, answer: CarriedAnswer, longest_s: float) -> Carried:
    """An answer as the cache takes it; it is fresh for no longer than any may be."""
    body = None if answer.body is None else bundle.answer(answer.body)
    before = answer.before
    return Carried(
        Entry(
            answer.url, answer.source, 404 if body is None else 200,
            "" if body is None else digest_of(body), answer.etag, answer.last_modified,
            answer.fetched_at, answer.checked_at,
            min(answer.expires_at, answer.checked_at + longest_s),
        ),
        body,
        None if before is None
        else (bundle.answer(before), before.fetched_at, before.checked_at),
    )  # fmt: skip


def _to_write(bundle: Bundle, folder: Path) -> list[tuple[Path, bytes]]:
    """The user's own files that are not in the folder yet, with where they go."""
    found, names = [], set()
    for file in bundle.manifest.files:
        target, name = folder / file.path, file.path.casefold()
        plain = _stays_below(file) and name not in names
        if not plain or not target.resolve().is_relative_to(folder.resolve()):
            raise InputError(
                f"names a file that may not be written: {file.path!r}",
                path=bundle.path,
                remedy="import it without --files-to",
            )
        names.add(name)
        body = bundle.body(file_name(file), file)
        try:
            same = read_regular(target, len(body)) == body
        except FileNotFoundError:
            found.append((target, body))
            continue
        except OSError as error:
            raise InputError(
                f"cannot be read ({error.strerror or error})", path=target,
                remedy="name an empty folder",
            ) from None  # fmt: skip
        if not same:
            raise InputError(
                "is there already, and is another one", path=target, remedy="name an empty folder"
            )
    return found


def _stays_below(file: OwnFile) -> bool:
    """Whether a path is plain: no root, no step up, nothing that a system reads another way."""
    parts = file.path.split("/")
    odd = any(
        p in ("", ".", "..") or p.endswith((" ", ".")) or set(p) & _FOR_WINDOWS for p in parts
    )
    return not odd and not PurePosixPath(file.path).is_absolute()
