"""The main ways through in Firefox: what works in Chromium alone is not done."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from windowcast.weather.sample import sample_folder

pytestmark = pytest.mark.slow  # one start of the browser and a walk: 15 s

FIREFOX = os.environ.get("FIREFOX", "/usr/bin/firefox-esr")
ONLY_HERE = {  # whatever is not on this machine is asked of a port where nobody listens
    "network.proxy.type": 1,
    "network.proxy.http": "127.0.0.1",
    "network.proxy.http_port": 9,
    "network.proxy.ssl": "127.0.0.1",
    "network.proxy.ssl_port": 9,
    "network.proxy.no_proxies_on": "127.0.0.1",
    "intl.accept_languages": "en-US,en",
    "ui.prefersReducedMotion": 1,
}
ERRORS = """return Services.console.getMessageArray()
    .filter(m => m instanceof Ci.nsIScriptError && !(m.flags & Ci.nsIScriptError.warningFlag))
    .filter(m => m.sourceName.startsWith("http://127.0.0.1")).map(m => m.errorMessage)"""
SEEN = """return performance.getEntriesByType("resource").map(e => e.name)
    .filter(name => !name.startsWith(location.origin + "/"))"""


class Walk:
    """A person at the screen: goes to pages, reads, types and presses."""

    def __init__(self, driver: Any, url: str) -> None:
        self.driver, self.url = driver, url

    def to(self, path: str) -> Walk:
        self.driver.navigate(self.url + path)
        return self

    def at(self, selector: str) -> Any:
        return self.driver.find_element("css selector", selector)

    def read(self, selector: str = "main") -> str:
        return str(self.at(selector).text).replace("\N{NO-BREAK SPACE}", " ")

    def run(self, script: str) -> Any:
        return self.driver.execute_script(script)

    def fill(self, **fields: str) -> Walk:
        for name, text in fields.items():
            field = self.at(f"#f-{name.replace('__', '-')}")
            if field.tag_name != "select":
                field.clear()
            field.send_keys(text)
        return self

    def there(self) -> None:
        """Wait until another page has come."""
        from marionette_driver import Wait

        done = "return !window.before && document.readyState === 'complete'"
        Wait(self.driver, timeout=20, interval=0.05).until(lambda d: d.execute_script(done))

    def press(self, selector: str, words: str = "") -> None:
        """Press the first in sight that says the words, and wait for the page it leads to."""
        found = self.driver.find_elements("css selector", selector)
        target = next(one for one in found if one.is_displayed() and words in one.text)
        self.run("window.before = true")
        target.click()
        self.there()
        assert self.run(SEEN) == []


@pytest.fixture(scope="module")
def firefox() -> Iterator[Any]:
    """The browser, or a skip that says what is missing."""
    marionette = pytest.importorskip(
        "marionette_driver.marionette", reason="needs the browser extra"
    )
    if not Path(FIREFOX).exists():
        pytest.skip(f"no Firefox at {FIREFOX}; set FIREFOX to where it is")
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    driver = marionette.Marionette(
        bin=FIREFOX, headless=True, port=port, prefs=ONLY_HERE, gecko_log=os.devnull
    )
    driver.start_session()
    driver.set_window_rect(width=500, height=800)  # no narrower window can be had
    yield driver
    with driver.using_context("chrome"):
        faults = driver.execute_script(ERRORS, sandbox="system")
    driver.quit()
    driver.cleanup()
    assert faults == []


@pytest.fixture(scope="module")
def ground(
    tmp_path_factory: pytest.TempPathFactory,
    start_server: Callable[..., Any],
    own_folder: Callable[[Path], Path],
) -> Iterator[Any]:
    """A server over one site with weather."""
    with start_server(own_folder(tmp_path_factory.mktemp("ground"))) as server:
        yield server


@pytest.fixture
def walk(firefox: Any, ground: Any) -> Walk:
    return Walk(firefox, ground.url)


def test_from_nothing_to_an_answer(firefox: Any, empty_server: Any) -> None:
    walk = Walk(firefox, empty_server.url).to("/")
    assert "This is the sample." in walk.read()
    walk.press("a.button", "Make this my site")
    walk.fill(name="River Ground", latitude="36.0", longitude="-79.1")
    walk.fill(turf__overseeded="no", turf__mature="yes")
    walk.press("button", "Make this my site")
    assert "No weather for River Ground yet" in walk.read()
    walk.at("#file").send_keys(str(sample_folder() / "daily.csv.gz"))
    walk.press("button", "Read")
    assert "daily.csv.gz" in walk.read()
    walk.press("nav a", "Today")
    assert walk.read("h1") == "River Ground"
    assert walk.read(".answer").startswith(("Spray", "Wait", "Cannot tell", "Do not"))


def test_today_an_hour_is_tapped_and_read(walk: Walk, firefox: Any) -> None:
    walk.to("/s/own/today")
    assert walk.read(".answer").startswith("Spray Sat 20 Jan, 13:00 to 16:00")
    x, y = walk.run("""const chart = document.querySelectorAll(".day-hours")[2];
      chart.scrollIntoView({ block: "center" });
      const box = chart.getBoundingClientRect();
      return [Math.round(box.left + box.width * .6), Math.round(box.top + 20)];""")
    finger = firefox.actions.sequence("pointer", "finger", {"pointerType": "touch"})
    finger.pointer_move(x, y).pointer_down().pointer_up().perform()
    card = walk.read(".hour-card")
    assert card.startswith("Sat 20, 13:00: ")
    assert "Air temperature: 54 °F, slow uptake" in card
    assert walk.run("return document.documentElement.scrollWidth <= innerWidth")


def test_the_season_is_read_day_by_day(walk: Walk) -> None:
    walk.to("/s/own/season")
    assert "Pick a day" in walk.read(".timeline p.name")
    slider = walk.at("[role=slider]")
    walk.run("document.querySelector('[role=slider]').focus()")
    slider.send_keys("\ue014")  # the right arrow key
    assert walk.read(".timeline p.name") == "Fri 19 Jan"
    assert "Soil at 2 in: " in slider.get_attribute("aria-valuetext").replace("\xa0", " ")
    assert walk.run("return document.documentElement.scrollWidth <= innerWidth")


def test_from_the_plan_over_the_tank_to_the_crew_sheet_and_the_log(walk: Walk) -> None:
    walk.to("/s/own/plan")
    assert "Dormant application" in walk.read()
    walk.press("main a.button", "Make the tank sheet")
    walk.at(".tank fieldset:nth-of-type(2) summary").click()
    walk.fill(where="field 2", area="12 acre", carrier="40 gal/acre", tank="300 gal")
    walk.fill(p0__name="glyphosate", p0__rate="16 fl oz/acre", p0__concentration="4 lb/gal")
    walk.press("form.sheet button", "Work out the sheet")
    assert "12 acre" in walk.read()
    walk.press("a.button", "Crew sheet")
    assert "Supervisor's signature" in walk.read(".crew")
    walk.driver.go_back()
    walk.run("document.querySelector('#f-start').value = '2018-01-12T13:30'")
    walk.press("#done button")
    assert "This application is in the log" in walk.read()
    assert "field 2" in walk.to("/s/own/log").read()


def test_the_switch_to_spanish_stays(walk: Walk) -> None:
    walk.to("/s/own/today").press("nav.languages a", "Español")
    assert walk.run("return document.documentElement.lang") == "es"
    assert "Aplique" in walk.read(".answer")
    walk.to("/s/own/plan").press("nav.languages a", "English")
    assert walk.run("return document.documentElement.lang") == "en"
