"""A weather bundle: what is kept for one site, as one file to carry to a machine without a network.

A zip: ``manifest.json`` says what each member is, how long and with which SHA-256; answers are
named by that sum, so no name in the file says where anything is written. `Bundle` reads one and
refuses what is damaged, larger than it says, or not of this program.
"""

from __future__ import annotations

import hashlib
import json
import stat
import time
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from windowcast.core.atomic_files import atomic_path
from windowcast.core.errors import InputError
from windowcast.core.given_files import refuse_special
from windowcast.core.values import load
from windowcast.core.version import __version__
from windowcast.sources.cache import Cache

FORMAT: Final = "windowcast weather bundle"
VERSION: Final = 1
_MANIFEST = "manifest.json"
_RECORD = "record.jsonl"
_AGAIN = "copy it again, or export it anew"
_FOREIGN = "is no weather bundle"
_EXPORT = "make one with windowcast weather export SITE.toml"
_DAMAGED = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError)

Sum = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Seconds = Annotated[float, Field(ge=0, le=1e11, allow_inf_nan=False)]  # POSIX
Text = Annotated[str, Field(max_length=2000, pattern=r"^[^\x00-\x1f\x7f]*$")]
Size = Annotated[int, Field(ge=0, strict=True)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Content(_Part):
    """A member: its SHA-256 and its length [byte]."""

    sha256: Sum
    size: Size


class Before(Content):
    """The body that an answer replaced, and when it came and was last confirmed [POSIX s]."""

    fetched_at: Seconds
    checked_at: Seconds


class CarriedAnswer(_Part):
    """One kept answer, as `windowcast.sources.cache.Entry`; `body` None where nothing is there."""

    url: Annotated[str, Field(max_length=4000, pattern=r"^https?://[^\s\x00-\x1f\x7f]+$")]
    source: Annotated[str, Field(pattern=r"^[\w.:-]{1,60}$")]
    body: Content | None
    etag: Text = ""
    last_modified: Text = ""
    fetched_at: Seconds
    checked_at: Seconds
    expires_at: Seconds
    before: Before | None = None


class OwnFile(Content):
    """A file of the user's, by its path below the folder of the site file."""

    path: Text


class Credit(_Part):
    """Whose data a site's weather is made of, under which licence, and when it was fetched."""

    source: Text
    what: Text
    licence: Text
    fetched: Text


class At(_Part):
    """The place of the site: degrees."""

    name: Text
    latitude: Annotated[float, Field(ge=-90, le=90)]
    longitude: Annotated[float, Field(ge=-180, le=180)]


class Manifest(_Part):
    """What a bundle holds.

    Attributes
    ----------
    program
        Version of the program that wrote it.
    made
        When it was written [POSIX s].
    record
        The site's record of forecasts; None where there is none.
    """

    format: Literal["windowcast weather bundle"] = FORMAT
    version: Literal[1] = VERSION
    program: Text = __version__
    made: Seconds
    site: At
    answers: tuple[CarriedAnswer, ...] = ()
    record: Content | None = None
    files: tuple[OwnFile, ...] = ()
    credits: tuple[Credit, ...] = ()

    def members(self) -> Iterator[tuple[str, Content]]:
        """The name of each member but the manifest, and what is said of it."""
        for answer in self.answers:
            for held in filter(None, (answer.body, answer.before)):
                yield answer_name(held), held
        if self.record is not None:
            yield _RECORD, self.record
        for file in self.files:
            yield file_name(file), file


def answer_name(held: Content) -> str:
    """The member that holds an answer's body."""
    return f"answers/{held.sha256}"


def file_name(file: OwnFile) -> str:
    """The member that holds a file of the user's."""
    return f"files/{file.path}"


# ---- writing ----


def write_bundle(
    target: Path,
    cache: Cache,
    urls: Sequence[str],
    at: At,
    *,
    record: bytes = b"",
    files: Sequence[tuple[str, bytes]] = (),
    origins: Sequence[Credit] = (),
) -> Manifest:
    """Write what the cache keeps at addresses, whole or not at all.

    Raises
    ------
    InputError
        The file cannot be written, or the cache not be read.
    """
    now = time.time()
    with atomic_path(target) as temporary, zipfile.ZipFile(temporary, "w") as packed:
        there: set[str] = set()

        def put(name: str, body: bytes) -> None:
            if name not in there:
                there.add(name)
                member = zipfile.ZipInfo(name, time.gmtime(now)[:6])
                member.external_attr = (stat.S_IFREG | 0o644) << 16
                packed.writestr(member, body, zipfile.ZIP_DEFLATED)

        def put_answer(body: bytes) -> dict[str, Any]:
            held = _said(body)
            put(answer_name(Content(**held)), body)
            return held

        answers = []
        for url in sorted(urls):
            entry, body, before = cache.entry(url), cache.body(url), cache.former_entry(url)
            if entry is None or (body is None) != (entry.status == 404):
                continue
            former = cache.former(url) if before else None
            answers.append(
                CarriedAnswer(
                    url=url,
                    source=entry.source,
                    body=None if body is None else Content(**put_answer(body)),
                    etag=entry.etag,
                    last_modified=entry.last_modified,
                    fetched_at=entry.fetched_at,
                    checked_at=entry.checked_at,
                    expires_at=max(entry.expires_at, 0.0),
                    before=None
                    if before is None or former is None
                    else Before(**put_answer(former), fetched_at=before[0], checked_at=before[1]),
                )
            )
        if record:
            put(_RECORD, record)
        for name, body in files:
            put(f"files/{name}", body)
        manifest = Manifest(
            made=now,
            site=at,
            answers=tuple(answers),
            record=Content(**_said(record)) if record else None,
            files=tuple(OwnFile(path=name, **_said(body)) for name, body in files),
            credits=tuple(origins),
        )
        put(_MANIFEST, json.dumps(manifest.model_dump(), indent=1, ensure_ascii=False).encode())
    return manifest


def _said(body: bytes) -> dict[str, Any]:
    """What the list of contents says of a member."""
    return {"sha256": hashlib.sha256(body).hexdigest(), "size": len(body)}


# ---- reading ----


class Bundle:
    """An opened bundle whose members are those that its manifest names, none larger."""

    def __init__(self, path: Path, packed: zipfile.ZipFile) -> None:
        self.path = path
        self._packed = packed
        limits = load("sources").table("bundle")
        self._largest, self._most = int(limits.number("member")), int(limits.number("total"))
        members = packed.infolist()
        self._members = {member.filename: member for member in members}
        if len(members) > int(limits.number("members")):
            raise InputError("holds more than a site's weather", path=self.path, remedy=_EXPORT)
        if len(self._members) != len(members) or _MANIFEST not in self._members:
            raise InputError(_FOREIGN, path=self.path, remedy=_EXPORT)
        self.manifest = self._read_manifest()
        self._compare()

    def _read_manifest(self) -> Manifest:
        try:
            raw = json.loads(self._bytes(_MANIFEST, self._largest))
        except (ValueError, RecursionError):
            raise InputError(_FOREIGN, path=self.path, remedy=_EXPORT) from None
        if not isinstance(raw, dict) or raw.get("format") != FORMAT:
            raise InputError(_FOREIGN, path=self.path, remedy=_EXPORT)
        if raw.get("version") != VERSION:
            raise InputError(
                f"is a weather bundle of form {str(raw.get('version'))[:20]}, this program knows"
                f" {VERSION}",
                path=self.path,
                remedy="bring both machines to the same version of the program",
            )
        try:
            return Manifest.model_validate(raw)
        except ValidationError:
            raise InputError(
                "has a list of contents that is not as this program writes it",
                path=self.path,
                remedy=_EXPORT,
            ) from None

    def _compare(self) -> None:
        """Refuse members that nobody announced, or that are not as announced."""
        said = dict(self.manifest.members())
        if set(said) | {_MANIFEST} != set(self._members):
            raise InputError(
                "does not hold what its list of contents says", path=self.path, remedy=_AGAIN
            )
        if sum(held.size for held in said.values()) > self._most:
            raise InputError("holds more than a site's weather", path=self.path, remedy=_EXPORT)
        for name, held in said.items():
            if held.size > self._largest or self._members[name].file_size != held.size:
                raise InputError(
                    "does not hold what its list of contents says", path=self.path, remedy=_AGAIN
                )

    def _bytes(self, name: str, most: int) -> bytes:
        """A member, one byte more than `most` [byte] where it is larger."""
        try:
            with self._packed.open(name) as stream:
                return stream.read(most + 1)
        except _DAMAGED:
            raise InputError("is damaged", path=self.path, remedy=_AGAIN) from None

    def body(self, name: str, held: Content) -> bytes:
        """The contents of a member.

        Raises
        ------
        InputError
            It is damaged: its length or its sum is another.
        """
        found = self._bytes(name, held.size)
        if len(found) != held.size or hashlib.sha256(found).hexdigest() != held.sha256:
            raise InputError("is damaged", path=self.path, remedy=_AGAIN)
        return found

    def answer(self, held: Content) -> bytes:
        """The body of an answer; raises as `body`."""
        return self.body(answer_name(held), held)

    def record(self) -> bytes:
        """The record of forecasts, empty where there is none; raises as `body`."""
        return b"" if (held := self.manifest.record) is None else self.body(_RECORD, held)


@contextmanager
def opened(path: Path) -> Iterator[Bundle]:
    """A bundle to read from.

    Raises
    ------
    InputError
        It is missing, damaged, none of this program, or of another version.
    """
    try:
        if path.is_dir():
            raise InputError("is a folder", path=path, remedy="name a file")
        refuse_special(path)
        if path.stat().st_size > load("sources").number("bundle.total"):
            raise InputError("holds more than a site's weather", path=path, remedy=_EXPORT)
        packed = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, ValueError, NotImplementedError, EOFError):
        raise InputError("is no weather bundle, or is damaged", path=path, remedy=_AGAIN) from None
    except OSError as error:
        raise InputError(
            f"cannot be read ({error.strerror or error})", path=path, remedy="name another file"
        ) from None
    with packed:
        yield Bundle(path, packed)
