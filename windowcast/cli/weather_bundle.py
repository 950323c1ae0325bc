"""``windowcast weather export`` and ``import``: a site's weather on a stick."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from windowcast.cli.options import format_option
from windowcast.cli.output import echo, lang_option, print_json, print_table, voice_in
from windowcast.core.errors import InputError, SourceUnreachableError

if TYPE_CHECKING:
    from windowcast.core.site import Site
    from windowcast.report.catalogue import Voice
    from windowcast.sources.bundle import CarriedAnswer, Manifest

_FORMAT = format_option("table", "json")
_MOST_BYTES = 250_000_000  # of a file of the user's


@click.command()
@click.argument("site_file", metavar="SITE.toml", type=click.Path(path_type=Path))
@click.option(
    "--out", type=click.Path(path_type=Path), metavar="FILE", help="[default: SITE.weather.zip]"
)
@click.option(
    "--files", "with_files", is_flag=True,
    help="Also the site file, its season log and the files that it names.",
)  # fmt: skip
@lang_option
@_FORMAT
def export(site_file: Path, out: Path | None, with_files: bool, format_: str) -> None:
    """Write what is kept for a site into one file, for a machine without a network.

    The archive's record, forecasts as last fetched, soil nearby and the record of forecasts, with
    the time of each. Nobody is asked: fetch before you go.
    """
    from windowcast.core.site import load_site
    from windowcast.sources.bundle import At, write_bundle
    from windowcast.sources.cache import Cache
    from windowcast.sources.foretold import Foretold
    from windowcast.sources.foretold_carried import lines_of
    from windowcast.weather.carried import rests_on

    site = load_site(site_file)
    target = out or Path(f"{site_file.stem}.weather.zip")
    _refuse_another(target)
    with Cache() as cache:
        try:
            urls, origins = rests_on(site, cache.path) if cache.path.exists() else ([], ())
        except SourceUnreachableError:
            urls, origins = [], ()
        if not urls:
            raise SourceUnreachableError(
                "no weather is kept for this site; fetch it first: windowcast weather fetch"
                f" {site_file}"
            )
        place = site.place
        manifest = write_bundle(
            target,
            cache,
            urls,
            At(name=site.name, latitude=place.latitude_deg, longitude=place.longitude_deg),
            record=b"".join(lines_of(Foretold(cache.path), place)),
            files=list(_own_files(site, site_file)) if with_files else (),
            origins=origins,
        )
    voice = voice_in(site.units, site)
    if format_ == "json":
        _print_json(manifest, {"file": str(target), "bytes": target.stat().st_size})
        return
    size = max(target.stat().st_size / 1e6, 0.1)
    echo(voice.say("cli.bundle_written", file=str(target), size=f"{size:.1f} MB"))
    _show(manifest, voice)
    echo(voice.say("cli.bundle_next", file=target.name))


@click.command("import")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--files-to", "folder", type=click.Path(path_type=Path), metavar="FOLDER",
    help="Also write the files that are in it there.",
)  # fmt: skip
@lang_option
@_FORMAT
def import_(file: Path, folder: Path | None, format_: str) -> None:
    """Take in what `weather export` wrote on another machine.

    Every checksum is verified first. All of it is taken in, or nothing; what is newer here stays.
    """
    from windowcast.sources.bundle import opened
    from windowcast.sources.bundle_import import take_in
    from windowcast.sources.cache import Cache

    with opened(file) as bundle, Cache() as cache:
        done = take_in(bundle, cache, time.time(), folder)
    manifest, voice = bundle.manifest, voice_in("metric")
    if format_ == "json":
        _print_json(
            manifest,
            {
                "file": str(file), "taken_in": done.answers, "left": done.left,
                "forecasts_on_record": done.issues, "files_written": [str(f) for f in done.files],
            },
        )  # fmt: skip
        return
    echo(voice.say("cli.bundle_taken", count=done.answers, site=manifest.site.name))
    if done.left:
        echo(voice.say("cli.bundle_left", count=done.left))
    _show(manifest, voice)
    if done.files:
        echo(voice.say("cli.bundle_files", count=len(done.files), folder=str(folder)))
    elif manifest.files and folder is None:
        echo(voice.say("cli.bundle_files_there", count=len(manifest.files)))


def _show(manifest: Manifest, voice: Voice) -> None:
    """How many answers each source has, and how old they are."""
    from windowcast.sources.fetch import age_text

    now = time.time()
    by_source: dict[str, list[CarriedAnswer]] = {}
    for answer in manifest.answers:
        by_source.setdefault(answer.source, []).append(answer)
    rows = []
    for source, answers in sorted(by_source.items()):
        times = [answer.checked_at for answer in answers]
        ages = [age_text(now - at) for at in (max(times), min(times))]
        rows.append([source, str(len(answers)), *ages])
    print_table(("source", "answers", "newest", "oldest"), rows, voice)


def _print_json(manifest: Manifest, more: dict[str, object]) -> None:
    about = manifest.model_dump(include={"version", "program", "made", "site", "credits"})
    about["answers"] = len(manifest.answers)
    about["files"] = [file.path for file in manifest.files]
    print_json({**more, "bundle": about}, indent=2)


def _refuse_another(target: Path) -> None:
    """Write over no file but a bundle: not over a site file by a slip of ``--out``."""
    from windowcast.sources.bundle import opened

    if not target.is_file():
        return
    try:
        with opened(target):
            return
    except InputError:
        raise InputError(
            "is there already, and is no weather bundle", path=target, remedy="name another file"
        ) from None


def _own_files(site: Site, site_file: Path) -> Iterator[tuple[str, bytes]]:
    """The site file and what it names: path below its folder, contents."""
    from windowcast.core.given_files import read_regular

    top = site_file.parent.resolve()
    for path in dict.fromkeys(_named(site, site_file)):
        try:
            name = path.resolve().relative_to(top).as_posix()
        except ValueError:
            raise InputError(
                "does not lie below the folder of the site file", path=path,
                remedy="copy it there, or leave out --files",
            ) from None  # fmt: skip
        try:
            body = _log_copy(path) if path.suffix == ".sqlite" else read_regular(path, _MOST_BYTES)
        except OSError as error:
            raise InputError(
                f"cannot be read ({error.strerror or error})", path=path, remedy="name another file"
            ) from None
        if len(body) > _MOST_BYTES:
            raise InputError(
                f"is too large (more than {_MOST_BYTES:,} bytes)", path=path,
                remedy="leave out --files",
            )  # fmt: skip
        yield name, body


def _named(site: Site, site_file: Path) -> Iterable[Path]:
    from windowcast.core.site import file_beside, log_beside
    from windowcast.records.trial_log import trial_log_path
    from windowcast.sources.files import parse_spec
    from windowcast.trials.trial_file import load_trial

    yield site_file
    for spec in site.weather.files:
        yield Path(parse_spec(spec).path)
    for own in site.weather.own:
        yield Path(own.file)
    if materials := file_beside(site_file, site.materials_file):
        yield materials
    logs = [log_beside(site, site_file)]
    for name in site.own_trials:
        yield Path(name)
        logs.append(trial_log_path(load_trial(name), Path(name)))
    yield from (log for log in logs if log.exists())


def _log_copy(path: Path) -> bytes:
    """A whole copy of a season log that others may be writing to."""
    from windowcast.records.store import SeasonLog

    with tempfile.TemporaryDirectory() as folder, SeasonLog(path) as log:
        return log.backup(Path(folder) / path.name).read_bytes()
