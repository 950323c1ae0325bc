"""The last answer read from what the browser kept, after the server has stopped."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture
def phone(chromium: Any) -> Iterator[Any]:
    """A page whose failed requests are expected."""
    context = chromium.new_context(viewport={"width": 360, "height": 740})
    context.set_default_timeout(20_000)
    yield context.new_page()
    context.close()


def _installed(page: Any, url: str) -> None:
    """Open a page and wait until the worker answers for the next one."""
    page.goto(url)
    page.evaluate("navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("navigator.serviceWorker.controller !== null")


def _kept(page: Any) -> list[str]:
    return page.evaluate(
        "caches.open('windowcast-pages').then(c => c.keys())"
        ".then(keys => keys.map(k => new URL(k.url).pathname + new URL(k.url).search))"
    )


def _wait_kept(page: Any, path: str) -> None:
    for _ in range(100):
        if path in _kept(page):
            return
        page.wait_for_timeout(50)
    raise AssertionError(f"{path} was not kept, but {_kept(page)}")


def test_the_last_answer_is_read_and_dated_when_the_server_has_stopped(
    tmp_path: Path, phone: Any, start_server: Any, own_folder: Any
) -> None:
    with start_server(own_folder(tmp_path)) as server:
        _installed(phone, f"{server.url}/s/own/today")
        for screen in ("today", "season", "plan", "settings"):
            phone.goto(f"{server.url}/s/own/{screen}")
        phone.goto(f"{server.url}/s/own/season?done=saved")
        phone.goto(f"{server.url}/s/own/today?token=secret")
        _wait_kept(phone, "/s/own/plan")
        answer = phone.goto(f"{server.url}/s/own/today")
        assert answer.status == 200
        assert phone.locator("#kept").is_hidden()
        said = phone.inner_text(".answer")
        # nothing that a form led to, no token, no page that is not an answer
        assert set(_kept(phone)) == {"/s/own/today", "/s/own/season", "/s/own/plan"}
    phone.goto(f"{server.url}/s/own/today")
    assert phone.inner_text(".answer") == said
    assert phone.locator("#kept").is_visible()
    assert "the office computer is away" in phone.inner_text("#kept")
    assert phone.inner_text(".as-of").startswith("As of ")
    assert phone.title().startswith("As of ")
    assert "This answer is old" not in phone.inner_text("#kept")
    # it stays in sight, and nothing looks like a new page
    phone.evaluate("scrollTo(0, 900)")
    assert phone.locator("#kept").bounding_box()["y"] >= 0
    assert (
        phone.evaluate("getComputedStyle(document.querySelector('.board')).filter")
        == "grayscale(1)"
    )
    assert phone.evaluate("document.documentElement.scrollWidth") <= 360
    assert (
        phone.evaluate("getComputedStyle(document.body).marginTop") == "0px"
    )  # its styles were kept
    for screen in ("season", "plan"):
        phone.goto(f"{server.url}/s/own/{screen}")
        assert "Kept from " in phone.inner_text("#kept")
    # a page that was not kept names those that were
    phone.goto(f"{server.url}/s/own/review")
    links = phone.locator("#kept-pages a")
    assert links.count() == 3
    with phone.expect_navigation():
        links.filter(has_text="Today").click()
    assert phone.inner_text(".answer") == said


def test_a_kept_answer_of_yesterday_is_called_old(
    tmp_path: Path, phone: Any, start_server: Any, own_folder: Any
) -> None:
    with start_server(own_folder(tmp_path)) as server:
        _installed(phone, f"{server.url}/s/own/today")
        phone.goto(f"{server.url}/s/own/today")
        _wait_kept(phone, "/s/own/today")
        phone.evaluate(
            """async () => {
              const cache = await caches.open("windowcast-pages"), key = "/s/own/today";
              const kept = await cache.match(key), html = await kept.text();
              const older = html.replace(/data-made="(\\d+)"/,
                (_, made) => `data-made="${made - 86400}"`);
              await cache.put(key, new Response(older, { headers: kept.headers }));
            }"""
        )
    phone.goto(f"{server.url}/s/own/today")
    assert "This answer is old. Do not spray by it." in phone.inner_text("#kept")
    assert phone.inner_text(".as-of").startswith("Old, as of ")
    assert phone.title().startswith("Old, as of ")


def test_who_may_no_longer_read_finds_nothing_kept(
    tmp_path: Path, phone: Any, start_server: Any, own_folder: Any
) -> None:
    with start_server(own_folder(tmp_path), "--token", "secret") as server:
        _installed(phone, f"{server.url}/s/own/today?token=secret")
        assert "token" not in phone.url
        phone.goto(f"{server.url}/s/own/today")
        _wait_kept(phone, "/s/own/today")
        phone.context.clear_cookies()
        assert phone.goto(f"{server.url}/s/own/today").status == 401
        assert _kept(phone) == []
