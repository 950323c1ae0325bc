"""A site's weather carried on a stick: the same answer without a network, or nothing."""

from __future__ import annotations

import datetime as dt
import io
import json
import sqlite3
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import archive_world as world
import nws
import pytest
import soil_served
from archive_world import Where, climate
from click.testing import CliRunner, Result
from long_meadow import SITE
from loopback import Loopback, serving

from windowcast.cli import cli, main
from windowcast.core.record import Place
from windowcast.sources import bundle_import
from windowcast.sources.cache import Cache
from windowcast.sources.cache_file import FILE
from windowcast.sources.foretold import Came, Foretold

NOW = dt.datetime.now(dt.UTC)
TODAY = (NOW - dt.timedelta(hours=6)).date()
PLACE = Place("", 30.5, -85.25)
NIGHT = int(NOW.timestamp()) - 20 * 86_400


class Machine:
    """A machine with a cache and a folder of its own."""

    def __init__(self, home: Path, url: str, patch: pytest.MonkeyPatch) -> None:
        self.home, self.url, self.patch = home, url, patch
        home.mkdir(exist_ok=True)
        (home / "site.toml").write_text(SITE)

    def run(self, *words: str) -> Result:
        """A command there; every source is asked at `url`."""
        self.patch.setenv("WINDOWCAST_CACHE", str(self.home / "cache"))
        self.patch.setenv("WINDOWCAST_ARCHIVE_URL", self.url)
        self.patch.setenv("WINDOWCAST_FORECAST_URL", self.url)
        self.patch.setenv("WINDOWCAST_COARSE_GRID", "off")
        self.patch.setenv("WINDOWCAST_SOIL_NETWORKS", "")
        self.patch.setenv("WINDOWCAST_USCRN_URL", self.url)
        self.patch.setenv("WINDOWCAST_NRCS_URL", self.url)
        self.patch.chdir(self.home)
        return CliRunner().invoke(cli, words, catch_exceptions=True)

    def rank(self, *more: str) -> str:
        done = self.run("rank", "site.toml", "--offline", *more)
        assert done.exit_code == 0, done.output
        return done.output

    @property
    def cache(self) -> Path:
        return self.home / "cache" / FILE


@pytest.fixture(scope="module")
def server() -> Iterator[Loopback]:
    with serving() as running:
        world.serve_stations(running, [Where("NEAR1", 30.55, -85.25, 70)])
        years = range(TODAY.year - 3, TODAY.year + 1)
        world.serve_daily(running, "NEAR1", years, TODAY - dt.timedelta(2), lambda d: {
            **climate(d, (d.toordinal() * 7 % 11 - 5) / 2), "rhum": 70, "wspd": 10.0,
        })  # fmt: skip
        grid = nws.gridpoint("BMX_32-69", NOW)
        nws.serve(running, "30.5", "-85.25", grid)
        soil_served.serve_uscrn(running, dt.date(2016, 1, 1))
        yield running


@pytest.fixture(scope="module")
def made(server: Loopback, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The folder of a machine whose bundle is written, and its answer without a network."""
    with pytest.MonkeyPatch.context() as patch:
        here = Machine(tmp_path_factory.mktemp("there"), server.url, patch)
        assert here.run("weather", "fetch", "site.toml").exit_code == 0
        with Cache(here.cache) as cache, cache.writing() as db:  # five hours ago
            for column in ("fetched_at", "checked_at", "expires_at"):
                db.execute(f"UPDATE entry SET {column} = {column} - 18000")
        Foretold(here.cache).keep_came(PLACE, [Came("night_low_c", NIGHT, NIGHT + 50_000, 3.0)])
        answer = here.rank("--format", "json")
        done = here.run("weather", "export", "site.toml", "--files")
        assert done.exit_code == 0, done.output
        assert "On the other machine: windowcast weather import site.weather.zip" in done.output
        return here.home, answer


@pytest.fixture
def there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, server: Loopback) -> Machine:
    """A machine with an empty cache, whose sources are those of the server by address only."""
    return Machine(tmp_path / "other", server.url, monkeypatch)


def entries(cache: Path) -> list[Any]:
    db = sqlite3.connect(cache)
    return db.execute(
        "SELECT url, source, status, digest, etag, last_modified, fetched_at, checked_at,"
        " expires_at FROM entry ORDER BY url"
    ).fetchall()


def test_the_answer_is_the_same_to_the_byte(
    made: tuple[Path, str], there: Machine, server: Loopback
) -> None:
    home, answer = made
    asked = len(server.requests)
    done = there.run("weather", "import", str(home / "site.weather.zip"))
    assert done.exit_code == 0, done.output
    assert "taken in for Long Meadow" in done.output
    assert "--files-to FOLDER writes" in done.output
    assert there.rank("--format", "json") == answer
    assert "saved" in answer, "the age of the forecast is told as ever"
    assert len(server.requests) == asked, "nobody is asked"
    assert entries(there.cache) == entries(home / "cache" / FILE)
    assert [url for url, *_ in entries(there.cache) if url.endswith("/stations.tsv")]
    ours, theirs = Foretold(there.cache), Foretold(home / "cache" / FILE)
    assert ours.came(PLACE, 0) == theirs.came(PLACE, 0) != []
    assert ours.said(PLACE, 0) == theirs.said(PLACE, 0) != []


def test_taking_it_in_twice_changes_nothing(made: tuple[Path, str], there: Machine) -> None:
    file = str(made[0] / "site.weather.zip")
    there.run("weather", "import", file)
    before, issues = entries(there.cache), Foretold(there.cache).count(PLACE)
    done = there.run("weather", "import", file, "--format", "json")
    told = json.loads(done.output)
    assert (told["taken_in"], told["forecasts_on_record"]) == (0, 0)
    assert told["left"] == told["bundle"]["answers"] == len(before)
    assert entries(there.cache) == before
    assert Foretold(there.cache).count(PLACE) == issues
    assert {credit["source"] for credit in told["bundle"]["credits"]} == {"archive", "forecast"}
    assert all(credit["licence"] for credit in told["bundle"]["credits"])


def test_what_is_newer_there_stays(made: tuple[Path, str], there: Machine) -> None:
    """A forecast fetched there since is kept; an older one gives way, and stays beside."""
    assert there.run("weather", "fetch", "site.toml").exit_code == 0
    before = entries(there.cache)
    done = there.run("weather", "import", str(made[0] / "site.weather.zip"))
    assert done.exit_code == 0, done.output
    assert "stayed as they were" in done.output
    assert entries(there.cache) == before
    with Cache(there.cache) as cache:
        (url,) = (e.url for e in cache.entries() if "/gridpoints/" in e.url)
        kept = cache.body(url) or b""
        with cache.writing() as db:
            db.execute("UPDATE entry SET checked_at = 5, fetched_at = 5, digest = 'old'")
        there.run("weather", "import", str(made[0] / "site.weather.zip"))
        assert cache.former(url) == kept
        assert cache.entry(url).checked_at > 5  # type: ignore[union-attr]


def test_own_files_go_where_they_are_asked_for(
    made: tuple[Path, str], there: Machine, tmp_path: Path
) -> None:
    file = str(made[0] / "site.weather.zip")
    done = there.run("weather", "import", file, "--files-to", str(tmp_path / "new"))
    assert done.exit_code == 0, done.output
    assert (tmp_path / "new" / "site.toml").read_text() == SITE
    (tmp_path / "new" / "site.toml").write_text("mine")
    with Cache(there.cache) as cache:
        cache.clear()
    refused(there, file, "is there already", "--files-to", str(tmp_path / "new"))
    assert (tmp_path / "new" / "site.toml").read_text() == "mine"


def refused(there: Machine, file: str | Path, why: str, *more: str) -> None:
    """One line, exit 2, and a cache without an answer."""
    there.run("weather", "status")
    try:
        main(["weather", "import", str(file), *more])
        code: Any = 0
    except SystemExit as end:
        code = end.code
    done = there.run("weather", "import", str(file), *more)
    assert code == 2
    assert isinstance(done.exception, Exception)
    text = str(done.exception)
    assert why in text, text
    assert "\n" not in text
    assert not there.cache.exists() or entries(there.cache) == []


def rewritten(
    made: Path, target: Path, change: Callable[[dict[str, bytes], dict[str, Any]], None]
) -> Path:
    """A bundle with other members or another list of them."""
    with zipfile.ZipFile(made / "site.weather.zip") as packed:
        members = {name: packed.read(name) for name in packed.namelist()}
    manifest = json.loads(members["manifest.json"])
    change(members, manifest)
    members.setdefault("manifest.json", b"")
    if members["manifest.json"]:
        members["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, body in members.items():
            packed.writestr(name, body)
    return target


def _first_body(manifest: dict[str, Any]) -> dict[str, Any]:
    body: dict[str, Any] = next(a["body"] for a in manifest["answers"] if a["body"])
    return body


def _later(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["version"] = 2


def _foreign(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["format"] = "something"


def _no_list(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    members["manifest.json"] = b""


def _more(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    members["../../etc/passwd"] = b"x"


def _less(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    del members[next(name for name in members if name.startswith("answers/"))]


def _another_sum(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    name = next(name for name in members if name.startswith("answers/"))
    members[name] = members[name][:-1] + bytes([members[name][-1] ^ 1])


def _longer(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    members[next(name for name in members if name.startswith("answers/"))] += b"x" * 10_000_000


def _huge(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _first_body(manifest)["size"] = 2_000_000_000


def _slip(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["files"][0]["path"] = "../site.toml"
    members["files/../site.toml"] = members.pop("files/site.toml")


def _wrong_kind(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["answers"][0]["fetched_at"] = "yesterday"


def _a_pause(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["answers"][0]["url"] = "pause:api.weather.gov"


def _ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["answers"][0]["checked_at"] = time.time() + 7200


def _fetched_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["answers"][0]["fetched_at"] = time.time() + 7200


def _before_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    answer = next(a for a in manifest["answers"] if a["body"])
    times = {"fetched_at": time.time() - 7200, "checked_at": time.time() + 7200}
    answer["before"] = answer["body"] | times


def _made_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    manifest["made"] = time.time() + 7200


def _record(members: dict[str, bytes], manifest: dict[str, Any], line: dict[str, Any]) -> None:
    import hashlib

    body = json.dumps(line).encode() + b"\n"
    manifest["record"] = {"sha256": hashlib.sha256(body).hexdigest(), "size": len(body)}
    members["record.jsonl"] = body


def _issue(issued: float, made: float, low: float) -> dict[str, Any]:
    return {
        "told_issue": ["", "forecast", int(issued), int(made), "d", "0.1.0", 1],
        "told": [["night_low_c", int(issued), int(issued) + 9, 0.0, 3.0, low, 5.0, None]],
        "told_window": [],
    }


def _issued_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _record(members, manifest, _issue(time.time() + 7200, time.time(), 1.0))


def _told_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _record(members, manifest, _issue(time.time(), time.time() + 7200, 1.0))


def _noted_ahead(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _record(members, manifest, {"came": [["tmax_c", 1, 2, 3.0, int(time.time()) + 7200]]})


def _no_such_night(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _record(members, manifest, _issue(time.time(), time.time(), -300.0))


def _no_such_high(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    _record(members, manifest, {"came": [["tmax_c", 1, 2, 86.0, 4]]})


def _nonsense(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    """An answer with a right sum that no reader understands."""
    import hashlib

    grid = next(a for a in manifest["answers"] if "/gridpoints/" in a["url"])
    body = b'{"properties": {}}'
    del members[f"answers/{grid['body']['sha256']}"]
    grid["body"] = {"sha256": hashlib.sha256(body).hexdigest(), "size": len(body)}
    members[f"answers/{grid['body']['sha256']}"] = body


def _odd_record(members: dict[str, bytes], manifest: dict[str, Any]) -> None:
    import hashlib

    body = b'{"came":[["tmax_c","x",2,3.0,4]]}\n'
    manifest["record"] = {"sha256": hashlib.sha256(body).hexdigest(), "size": len(body)}
    members["record.jsonl"] = body


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (_later, "form 2, this program knows 1"),
        (_foreign, "is no weather bundle"),
        (_no_list, "is no weather bundle"),
        (_more, "does not hold what"),
        (_less, "does not hold what"),
        (_another_sum, "is damaged"),
        (_longer, "does not hold what"),
        (_huge, "holds more than"),
        (_wrong_kind, "list of contents"),
        (_a_pause, "list of contents"),
        (_ahead, "2.0 h from now by this machine's clock"),
        *(
            (change, "2.0 h from now by this machine's clock")
            for change in (
                _fetched_ahead,
                _before_ahead,
                _made_ahead,
                _issued_ahead,
                _told_ahead,
                _noted_ahead,
            )
        ),
        (_no_such_night, "record of forecasts that is not as"),
        (_no_such_high, "record of forecasts that is not as"),
        (_nonsense, "is no use: its answer does not say when it was issued"),
        (_odd_record, "record of forecasts that is not as"),
    ],
    ids=lambda value: getattr(value, "__name__", ""),
)
def test_what_is_foreign_or_changed_is_refused_whole(
    made: tuple[Path, str], there: Machine, tmp_path: Path, change: Any, why: str
) -> None:
    refused(there, rewritten(made[0], tmp_path / "b.zip", change), why)


def test_a_record_that_can_be_is_taken_in(
    made: tuple[Path, str], there: Machine, tmp_path: Path
) -> None:
    """The line that the refused ones are made of is no cause by itself."""
    line = _issue(time.time() - 9, time.time(), 1.0)
    file = rewritten(made[0], tmp_path / "b.zip", lambda m, said: _record(m, said, line))
    assert there.run("weather", "import", str(file)).exit_code == 0
    assert Foretold(there.cache).count(PLACE) == 1


def test_a_full_cache_makes_room_for_what_is_taken_in(
    made: tuple[Path, str], there: Machine
) -> None:
    from windowcast.sources.bundle import opened

    there.run("weather", "status")
    with Cache(made[0] / "cache" / FILE) as full:
        size = full.size()
    with Cache(there.cache, max_bytes=size + 1000) as cache:
        cache.put("https://old.example/", "archive", bytes(range(256)) * 2, fresh_s=1.0)
        cache.put_derived("old", "archive", "d", b"x" * 200)
        with opened(made[0] / "site.weather.zip") as bundle:
            done = bundle_import.take_in(bundle, cache, time.time())
        assert done.answers == len(bundle.manifest.answers)
        assert cache.size() <= size + 1000
    with Cache(there.cache, max_bytes=1000) as cache:
        with opened(made[0] / "site.weather.zip") as bundle, cache.writing() as db:
            db.execute("UPDATE entry SET checked_at = 0 WHERE url NOT LIKE '%old%'")
        with opened(made[0] / "site.weather.zip") as bundle:
            bundle_import.take_in(bundle, cache, time.time())
        assert cache.entry("https://old.example/") is None
        assert cache.derived("old", "d") is None
        assert len(cache.entries()) == len(bundle.manifest.answers)  # never what just came


def test_no_file_leaves_the_folder(made: tuple[Path, str], there: Machine, tmp_path: Path) -> None:
    file = rewritten(made[0], tmp_path / "b.zip", _slip)
    refused(there, file, "may not be written", "--files-to", str(tmp_path / "in"))
    assert not (tmp_path / "site.toml").exists()


@pytest.mark.parametrize("content", [b"", b"PK", b"tmax,tmin\n1,2\n", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_bundle_is_refused(there: Machine, tmp_path: Path, content: bytes) -> None:
    (tmp_path / "b.zip").write_bytes(content)
    refused(there, tmp_path / "b.zip", "no weather bundle")


def test_folders_and_missing_files_are_named(there: Machine, tmp_path: Path) -> None:
    refused(there, tmp_path, "is a folder")
    refused(there, tmp_path / "none.zip", "cannot be read")


def test_a_damaged_byte_is_noticed_or_changes_nothing(
    made: tuple[Path, str], there: Machine, tmp_path: Path
) -> None:
    """A byte in forty is turned; what is taken in all the same is what was written."""
    whole = (made[0] / "site.weather.zip").read_bytes()
    expected, target = entries(made[0] / "cache" / FILE), tmp_path / "b.zip"
    step = max(len(whole) // 40, 1)
    noticed = 0
    for at in range(7, len(whole), step):
        target.write_bytes(whole[:at] + bytes([whole[at] ^ 0xFF]) + whole[at + 1 :])
        done = there.run("weather", "import", str(target))
        if done.exit_code == 0:
            assert entries(there.cache) == expected
            with Cache(there.cache) as cache:
                cache.clear()
        else:
            noticed += 1
            assert not there.cache.exists() or entries(there.cache) == []
    assert noticed > 30


def test_a_stick_that_fails_halfway_leaves_nothing(
    made: tuple[Path, str], there: Machine, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """The last step fails: neither answers nor files are there."""

    def full(path: Path, body: bytes) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(bundle_import, "write_atomic", full)
    file = str(made[0] / "site.weather.zip")
    done = there.run("weather", "import", file, "--files-to", str(tmp_path / "new"))
    assert done.exit_code != 0
    assert entries(there.cache) == []
    assert not (tmp_path / "new" / "site.toml").exists()


def test_nothing_kept_is_said(there: Machine) -> None:
    done = there.run("weather", "export", "site.toml")
    assert done.exception is not None
    assert "fetch it first: windowcast weather fetch site.toml" in str(done.exception)
    assert not list(there.home.glob("*.zip"))


def test_the_same_contents_are_the_same_members(made: tuple[Path, str]) -> None:
    """Members lie under their own sum: nothing is written twice, no name says where it goes."""
    with zipfile.ZipFile(io.BytesIO((made[0] / "site.weather.zip").read_bytes())) as packed:
        names = packed.namelist()
        assert packed.testzip() is None
    assert len(names) == len(set(names))
    assert {name.split("/")[0] for name in names} == {
        "answers", "files", "manifest.json", "record.jsonl"
    }  # fmt: skip


def test_no_other_file_is_written_over(there: Machine) -> None:
    done = there.run("weather", "export", "site.toml", "--out", "site.toml")
    assert "site.toml: is there already, and is no weather bundle" in str(done.exception)
    assert (there.home / "site.toml").read_text() == SITE
