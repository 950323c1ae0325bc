"""Plots rated on a phone while the office computer is away; the values arrive when it is back."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

TRIAL = """
name = "Timing"
design = "rcbd"
seed = 7
replicates = 2
[[site]]
name = "North"
latitude = 33.3
longitude = -84.3
[[treatment]]
name = "untreated"
check = "untreated"
[[treatment]]
name = "glyphosate"
[[measure]]
what = "control %"
weed = "POAAN"
"""

SENT = "document.querySelector('[data-state]').textContent === 'Everything is sent.'"


def _until(phone: Any, condition: str) -> None:
    """Wait for a condition; the page's own policy forbids the driver's way of doing so."""
    for _ in range(200):
        if phone.evaluate(condition):
            return
        phone.wait_for_timeout(50)
    raise AssertionError(condition)


def test_values_wait_on_the_phone_and_arrive_later(
    tmp_path: Path, chromium: Any, start_server: Any
) -> None:
    from windowcast.records.store import SeasonLog
    from windowcast.records.trial_log import trial_ratings

    (tmp_path / "timing.toml").write_text(TRIAL)
    log_file = tmp_path / "timing.log.sqlite"
    # the phone's clock stands in a zone where it is tomorrow for most of the trial's day
    context = chromium.new_context(
        viewport={"width": 360, "height": 740}, timezone_id="Pacific/Kiritimati"
    )
    context.set_default_timeout(20_000)
    phone = context.new_page()
    with start_server(tmp_path) as server:
        address = f"{server.url}/trials/timing/rate/1"
        phone.goto(address)
        phone.evaluate("navigator.serviceWorker.ready.then(() => true)")
        _until(phone, "navigator.serviceWorker.controller !== null")
        for _ in range(2):  # once more, so that the worker keeps page and script
            phone.goto(address)
        _until(phone, "caches.open('windowcast-pages').then(c => c.keys()).then(k => k.length > 0)")
        context.set_offline(True)
        phone.goto(address)
        assert phone.locator("#kept").is_visible()
        assert phone.locator("fieldset:visible").count() == 1, "one plot at a time"
        at_the_trial = dt.datetime.now(ZoneInfo("America/New_York"))
        assert phone.input_value("#date") == f"{at_the_trial:%Y-%m-%d}"
        phone.fill("input[name='101.0']", "85")
        phone.keyboard.press("Enter")
        assert phone.locator("legend:visible").inner_text().endswith("102")
        phone.fill("input[name='102.0']", "0")
        assert phone.inner_text("[data-state]").endswith(": 2")
        phone.goto(address)  # nothing is lost when the page is opened again
        assert phone.input_value("input[name='101.0']") == "85"
        context.set_offline(False)
        phone.goto(address)
        _until(phone, SENT)
        with SeasonLog(log_file, create=False) as log:
            found = {s.entry.plot: s.entry.value for s in trial_ratings(log, "Timing")}
        assert found == {"101": 85.0, "102": 0.0}
        phone.fill("input[name='101.0']", "850")
        phone.keyboard.press("Enter")
        _until(
            phone, "document.getElementById('w-101-0').textContent.includes('is not from 0 to 100')"
        )
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360
        phone.goto(address)  # what is stored stands there, but for what waits
        assert phone.input_value("input[name='101.0']") == "850"
        assert phone.input_value("input[name='102.0']") == "0"
        phone.fill("input[name='101.0']", "")
        phone.keyboard.press("Enter")
        _until(phone, SENT)
        with SeasonLog(log_file) as log:
            (other,) = trial_ratings(log, "Timing")  # the one that was cleared is gone
            assert other.entry.plot == "102"
            log.edit(other.id, replace(other.entry, value=5.0))  # corrected in the office
        phone.fill("input[name='102.0']", "7")
        phone.keyboard.press("Enter")
        _until(
            phone,
            "document.getElementById('w-102-0').textContent.includes('5 was stored meanwhile')",
        )
        phone.click("text=Plot before")
        phone.fill("input[name='102.0']", "8")
        phone.keyboard.press("Enter")
        _until(phone, SENT)
        phone.fill("input[name='201.0']", "40")
        file = tmp_path / "timing.toml"
        file.write_text(TRIAL.replace("seed = 7", "seed = 8"))
        phone.keyboard.press("Enter")
        _until(
            phone,
            "document.querySelector('[data-state]').textContent.includes('trial file was changed')",
        )
        phone.goto(address)
        assert "Plot 201, weed control" in phone.inner_text("[data-strays] li")
        assert phone.inner_text("[data-strays] li").endswith(": 40")
        assert phone.input_value("input[name='201.0']") == ""
        phone.on("dialog", lambda dialog: dialog.accept())
        phone.click("[data-strays] button")
        phone.goto(address)
        assert not phone.locator("[data-strays]").is_visible()
    with SeasonLog(log_file, create=False) as log:
        found = {s.entry.plot: s.entry.value for s in trial_ratings(log, "Timing")}
    assert found == {"102": 8.0}
    context.close()


def test_counts_before_and_after_the_treatment_of_a_day_are_kept_apart(
    tmp_path: Path, chromium: Any, start_server: Any
) -> None:
    from windowcast.records.store import SeasonLog
    from windowcast.records.trial_log import trial_ratings

    counted = TRIAL.replace('what = "control %"', 'what = "count per m2"\nframe = "1 m2"')
    timing = '[[timing]]\ncode = "A"\n[timing.applied]\nNorth = 2025-10-01\n[[treatment]]'
    (tmp_path / "timing.toml").write_text(counted.replace("[[treatment]]", timing, 1))
    context = chromium.new_context(viewport={"width": 360, "height": 740})
    context.set_default_timeout(20_000)
    phone = context.new_page()
    with start_server(tmp_path) as server:
        address = f"{server.url}/trials/timing/rate/1"
        phone.goto(address)
        assert phone.evaluate("document.documentElement.scrollWidth") <= 360
        phone.fill("#date", "2025-10-01")
        phone.check("input[name=before]")
        phone.fill("input[name='101.0']", "40")
        phone.uncheck("input[name=before]")
        assert phone.input_value("input[name='101.0']") == ""
        phone.fill("input[name='101.0']", "3")
        phone.keyboard.press("Enter")
        _until(phone, SENT)
        phone.goto(address)
        phone.fill("#date", "2025-10-01")
        assert phone.input_value("input[name='101.0']") == "3"
        phone.check("input[name=before]")
        assert phone.input_value("input[name='101.0']") == "40"
        phone.fill("#date", "2025-09-20")  # a day of its own: before without more words
        phone.fill("input[name='101.0']", "44")
        phone.uncheck("input[name=before]")
        assert phone.input_value("input[name='101.0']") == "44"
        phone.press("input[name='101.0']", "Enter")
        _until(phone, SENT)
    with SeasonLog(tmp_path / "timing.log.sqlite", create=False) as log:
        found = sorted((s.entry.value, s.entry.before) for s in trial_ratings(log, "Timing"))
    assert found == [(3.0, False), (40.0, True), (44.0, True)]
    context.close()
