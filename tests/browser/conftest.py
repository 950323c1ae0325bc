"""The real server in a process of its own, and Chromium to look at it with.

Needs the ``browser`` extra and a Chromium at /usr/bin/chromium (or where CHROMIUM says); without
them these tests are skipped and say so. ``.ci/run`` installs both, and the Firefox that
`test_second_engine` walks with.
"""

from __future__ import annotations

import datetime as dt
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
SAMPLE_DAY = "2018-01-18"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    here = Path(__file__).parent
    for item in items:
        if here in item.path.parents:
            item.add_marker(pytest.mark.browser)


@dataclass
class Server:
    """A running server."""

    url: str
    folder: Path


@contextmanager
def running(folder: Path, *options: str) -> Iterator[Server]:
    """A server over a folder of sites, on the sample's day, without the network."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "windowcast", "serve", str(folder), "--port", str(port)]
    command += ["--date", SAMPLE_DAY, "--offline", *options]
    if "--token" not in options:
        command.append("--no-token")
    process = subprocess.Popen(command, cwd=folder)
    try:
        yield Server(_answering(f"http://127.0.0.1:{port}"), folder)
    finally:
        process.terminate()
        process.wait(10)


def _answering(url: str) -> str:
    for _ in range(150):
        try:
            with urllib.request.urlopen(f"{url}/api/sites"):
                return url
        except urllib.error.HTTPError:  # it asks for its token
            return url
        except urllib.error.URLError:
            time.sleep(0.2)
    raise AssertionError("the server did not start")


def _with_own_site(folder: Path) -> Path:
    """A folder with a site called "own" that stands on the sample's weather."""
    from windowcast.core.site_template import Answers, site_toml
    from windowcast.weather.sample import sample_folder

    files = tuple(str(sample_folder() / name) for name in ("daily.csv.gz", "hourly.csv.gz"))
    text = site_toml(
        Answers(
            "Own Ground",
            36.0,
            -79.1,
            units="us",
            overseeded=False,
            mature=True,
            weather_files=files,
        )
    )
    (folder / "own.toml").write_text(text, "utf-8")
    return folder


def _log_entries(file: Path) -> None:
    from windowcast.records.model import Application, FieldNote, Material, Rating
    from windowcast.records.store import SeasonLog

    zone = dt.timezone(dt.timedelta(hours=-5))
    spray = Application(
        dt.datetime(2018, 1, 11, 13, tzinfo=zone), (Material("glyphosate", 0.5),), where="field 2"
    )
    seen = dt.date(2018, 1, 16)
    plots = [
        Rating(seen, value, trial="front", plot=f"{block}{n}", treatment=treatment, block=block)
        for block in "ABC"
        for n, (treatment, value) in enumerate((("untreated", 40.0), ("glyphosate", 3.0)))
    ]
    note = FieldNote(seen, "some plants still live", where="field 2", survivors_mixed=True)
    with SeasonLog(file) as log:
        log.add(spray, *plots, note)


@pytest.fixture(scope="session")
def start_server() -> Callable[..., Any]:
    """Starts a server that the test stops itself, with further options of ``serve``."""
    return running


@pytest.fixture(scope="session")
def own_folder() -> Callable[[Path], Path]:
    """Puts the site "own" into a folder."""
    return _with_own_site


@pytest.fixture
def empty_server(tmp_path: Path) -> Iterator[Server]:
    """A server that has no site yet."""
    with running(tmp_path) as server:
        yield server


@pytest.fixture
def own_site(tmp_path: Path) -> Iterator[Server]:
    """A server over a site of the test's own, to write to."""
    with running(_with_own_site(tmp_path)) as server:
        yield server


@pytest.fixture(scope="session")
def reading(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server over a site that tests only look at; its log holds a few entries."""
    folder = _with_own_site(tmp_path_factory.mktemp("sites"))
    _log_entries(folder / "own.log.sqlite")
    with running(folder) as server:
        yield server


@pytest.fixture(scope="session")
def chromium() -> Iterator[Any]:
    """The browser, or a skip that says what is missing."""
    api = pytest.importorskip("playwright.sync_api", reason="needs the browser extra")
    if not Path(CHROMIUM).exists():
        pytest.skip(f"no Chromium at {CHROMIUM}; set CHROMIUM to where it is")
    with api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=SWITCHES)
        yield browser
        browser.close()


@pytest.fixture
def visit(chromium: Any) -> Iterator[Callable[..., Any]]:
    """Open pages; the test fails when one asks another host or writes to the console."""
    contexts, faults = [], []

    def open_page(url: str, **options: Any) -> Any:
        context = chromium.new_context(**options)
        context.set_default_timeout(60_000)  # a review is long on a busy machine
        contexts.append(context)
        page = context.new_page()
        page.on("request", lambda r: _own(r.url) or faults.append(f"asked {r.url}"))
        page.on("console", lambda m: m.type == "error" and _note(m.text, faults))
        page.on("pageerror", lambda e: faults.append(f"error: {e}"))
        page.goto(url)
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert faults == []


def _own(url: str) -> bool:
    return url.startswith(("http://127.0.0.1:", "data:", "about:", "file:"))


def _note(text: str, faults: list[str]) -> None:
    if "status of 4" not in text and "status of 5" not in text:  # refused forms are looked at
        faults.append(f"console: {text}")
