"""Draw the pictures of the README from the sample: the terminal, and screens in Chromium.

    python benchmarks/make_pictures.py

Needs the ``browser`` extra, Pillow and a Chromium (/usr/bin/chromium, or where CHROMIUM says).
"""

from __future__ import annotations

import io
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
import urllib.error
import urllib.request
from pathlib import Path

DOCS = Path(__file__).parents[1] / "docs"
SWITCHES = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run"]
SCREENS = (  # file, address, width, height, dark
    ("today.png", "/s/own/today", 1100, 900, False),
    ("season.png", "/s/own/season", 1100, 960, False),
    ("plan.png", "/s/own/plan", 1100, 1000, False),
    ("phone.png", "/s/own/today", 360, 1180, False),
    ("dark.png", "/s/own/today", 1100, 820, True),
)


def terminal() -> None:
    """docs/rank.svg: what ``windowcast rank --sample`` prints."""
    from rich.console import Console

    from windowcast.cli.options import Start
    from windowcast.cli.output import voice_in
    from windowcast.report.terminal import print_ranking

    (answer,) = Start(None, True, (), None, True).answers()
    console = Console(
        record=True, width=118, file=io.StringIO(), force_terminal=True, highlight=False
    )
    print_ranking(console, answer.ranking, voice_in(answer.ranking.units))
    svg = console.export_svg(title="windowcast rank --sample")
    svg = re.sub(r"@font-face\s*\{.*?\}", "", svg, flags=re.DOTALL)  # no font from elsewhere
    (DOCS / "rank.svg").write_text(svg, "utf-8")


def screens() -> None:
    """docs/*.png: screens of a site that stands on the sample's weather."""
    from PIL import Image
    from playwright.sync_api import sync_playwright

    from windowcast.core.site_template import Answers, site_toml
    from windowcast.weather.sample import sample_folder

    files = tuple(str(sample_folder() / name) for name in ("daily.csv.gz", "hourly.csv.gz"))
    known = Answers(
        "River Bend Ground", 36.0, -79.1, units="us", overseeded=False, mature=True, irrigated=True,
        weather_files=files,
    )  # fmt: skip
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        url = f"http://127.0.0.1:{free.getsockname()[1]}"
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        (Path(folder) / "own.toml").write_text(site_toml(known), "utf-8")
        port = url.rpartition(":")[2]
        command = [sys.executable, "-m", "windowcast", "serve", folder, "--port", port]
        server = subprocess.Popen([*command, "--date", "2018-01-18", "--offline", "--no-token"])
        try:
            _wait(url)
            chromium = os.environ.get("CHROMIUM", "/usr/bin/chromium")
            browser = playwright.chromium.launch(executable_path=chromium, args=SWITCHES)
            for name, path, width, height, dark in SCREENS:
                page = browser.new_page(
                    viewport={"width": width, "height": height},
                    color_scheme="dark" if dark else "light",
                )
                page.goto(url + path)
                page.screenshot(path=DOCS / name)
                page.close()
                few = Image.open(DOCS / name).convert("RGB").quantize(96, dither=Image.Dither.NONE)
                few.save(DOCS / name, optimize=True)
            browser.close()
        finally:
            server.terminate()
            server.wait(10)


def _wait(url: str) -> None:
    for _ in range(150):
        try:
            urllib.request.urlopen(f"{url}/api/sites").close()
            return
        except urllib.error.URLError:
            time.sleep(0.2)


if __name__ == "__main__":
    terminal()
    screens()
