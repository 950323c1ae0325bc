"""The guard: host names, token, forms from elsewhere, sizes, rates, paths, headers.

What each answers to: OWASP Top Ten 2021 (A01, A03, A05, A07); RFC 6454 for origins.
"""

from __future__ import annotations

import itertools
import re
import socket
from pathlib import Path

import pytest
from web_fixtures import FREE, client, make_site, proof

from windowcast.web.security import (
    BODY_LIMIT,
    HEADERS,
    LOOPBACK,
    SESSION_COOKIE,
    UPLOAD_LIMIT,
    Guard,
    RateLayer,
    csrf_proof,
    host_name,
)

TOKEN = "a-long-secret"


def _with_token() -> Guard:
    return Guard(token=TOKEN, reads_per_s=1e6, writes_per_s=1e6)


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/s/none/today",
        "/api/sites",
        "/api/none",
        "/static/windowcast.css",
        "/static/season.js",
        "/static/hours.js",
        "/none",
    ],
)
def test_every_answer_carries_the_headers(tmp_path: Path, path: str) -> None:
    headers = client(tmp_path).get(path).headers
    for name, value in HEADERS.items():
        if name != "content-security-policy":
            assert headers[name] == value
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "script-src 'self';" in policy  # the files of ours, nothing inline, no other host


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "10.0.0.1", ""])
def test_other_host_names_are_refused(tmp_path: Path, host: str) -> None:
    answer = client(tmp_path).get("/", headers={"host": host})
    assert answer.status_code == 400


@pytest.mark.parametrize(
    ("host", "name"),
    [("localhost:8765", "localhost"), ("127.0.0.1", "127.0.0.1"), ("[::1]:8765", "::1")],
)
def test_host_name_is_read_without_its_port(tmp_path: Path, host: str, name: str) -> None:
    from starlette.datastructures import Headers

    assert host_name(Headers({"host": host})) == name
    assert name in LOOPBACK
    assert client(tmp_path).get("/api/sites", headers={"host": host}).status_code == 200


def test_bound_elsewhere_it_answers_to_addresses_but_not_to_names(tmp_path: Path) -> None:
    guard = Guard(token=TOKEN, any_ip=True, reads_per_s=1e6)
    browser = client(tmp_path, guard=guard)
    for host, status in (("192.168.1.20:8765", 401), ("[fe80::1]:8765", 401), ("a.example", 400)):
        assert browser.get("/", headers={"host": host}).status_code == status


def test_without_the_token_nothing_is_shown(tmp_path: Path) -> None:
    browser = client(tmp_path, guard=_with_token())
    for path in ("/", "/api/sites", "/calendar.ics", "/static/windowcast.css", "/?token=wrong"):
        assert browser.get(path).status_code == 401
    wrong = {"authorization": "Bearer nonsense"}
    assert browser.get("/api/sites", headers=wrong).status_code == 401


def test_the_token_opens_once_and_leaves_the_address(tmp_path: Path) -> None:
    browser = client(tmp_path, guard=_with_token())
    first = browser.get(f"/s/sample/season?token={TOKEN}&a=1")
    assert first.status_code == 303
    assert first.headers["location"] == "/s/sample/season?a=1"
    cookie = first.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert browser.get("/s/sample/season").status_code == 200


def test_programs_and_calendars_carry_the_token(tmp_path: Path) -> None:
    browser = client(tmp_path, guard=_with_token())
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert browser.get("/api/sites", headers=bearer).status_code == 200
    assert browser.get(f"/calendar.ics?token={TOKEN}").status_code == 200
    assert browser.get("/api/sites").status_code == 401


@pytest.mark.parametrize("host", ["localhost", "turf.example.org:8765"])
def test_the_page_names_a_calendar_address_that_works_by_itself(tmp_path: Path, host: str) -> None:
    """A phone has no cookie: the address alone opens the calendar, and nothing less does."""
    guard = Guard(LOOPBACK | {"turf.example.org"}, TOKEN, 1e6, 1e6)
    browser = client(tmp_path, guard=guard, host=host)
    page = browser.get("/", headers={"authorization": f"Bearer {TOKEN}"}).text
    (link,) = re.findall(r'href="(webcal://[^"]+)"', page)
    (address,) = re.findall(r'<code class="address">([^<]+)</code>', page)
    assert link.partition("://")[2] == address.partition("://")[2]
    assert address.startswith(f"http://{host}/")
    phone = client(tmp_path, guard=guard, host=host)
    assert phone.get(address).text.startswith("BEGIN:VCALENDAR")
    assert phone.get(address.partition("?")[0]).status_code == 401
    assert ("Only this computer" in page) == (host == "localhost")


def test_the_address_cannot_send_the_browser_elsewhere(tmp_path: Path) -> None:
    browser = client(tmp_path, guard=_with_token())
    location = browser.get(f"http://localhost//evil.example/?token={TOKEN}").headers["location"]
    assert location.startswith("/evil.example")


def test_forms_from_elsewhere_are_refused(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    path = f"/s/{slug}/log/new/note"
    good = {"proof": proof(browser, path), "date": "2023-11-05", "text": "x"}
    bad = [
        ({}, {**good, "proof": ""}),
        ({}, {**good, "proof": "0" * 64}),
        ({"origin": "http://evil.example"}, good),
        ({"sec-fetch-site": "cross-site"}, good),
        ({"sec-fetch-site": "same-site"}, good),
    ]
    for headers, data in bad:
        assert browser.post(path, data=data, headers=headers).status_code == 403
    other = client(tmp_path)
    assert other.post(path, data=good).status_code == 403  # no session of its own
    assert not (tmp_path / f"{slug}.log.sqlite").exists()
    assert browser.post(path, data=good).status_code == 303


@pytest.mark.parametrize(
    "path",
    [
        "/log/undo",
        "/settings",
        "/log/abcd/remove",
        "/settings/upload",
        "/settings/drop",
        "/log/upload",
        "/incoming/log",
        "/incoming/weather",
    ],
)
def test_no_form_works_without_its_proof(tmp_path: Path, path: str) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    assert browser.post(f"/s/{slug}{path}", data={"a": "b"}).status_code == 403


def test_proofs_differ_by_session_and_server() -> None:
    assert csrf_proof(FREE, "a") != csrf_proof(FREE, "b")
    assert csrf_proof(Guard(), "a") != csrf_proof(Guard(), "a")


def test_session_cookie_is_out_of_reach_of_scripts(tmp_path: Path) -> None:
    cookie = client(tmp_path).get("/new").headers["set-cookie"]
    assert cookie.startswith(SESSION_COOKIE)
    assert "httponly" in cookie.lower()


def test_other_sites_cannot_write_through_the_api(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    entry = '{"kind": "note", "date": "2023-11-05", "text": "x"}'
    path = f"/api/sites/{slug}/log"
    json = {"content-type": "application/json"}
    assert browser.post(path, content=entry).status_code == 415
    plain = browser.post(path, content=entry, headers={"content-type": "text/plain"})
    assert plain.status_code == 415
    cross = {**json, "origin": "http://evil.example"}
    assert browser.post(path, content=entry, headers=cross).status_code == 403
    assert browser.post(path, content=entry, headers=json).status_code == 201


def test_large_bodies_are_refused_whatever_they_claim(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    path = f"/api/sites/{slug}/log"
    json = {"content-type": "application/json"}
    big = b'"' + b"x" * BODY_LIMIT + b'"'
    assert browser.post(path, content=big, headers=json).status_code == 413

    def unannounced() -> object:
        yield from itertools.repeat(b"x" * 65536, BODY_LIMIT // 65536 + 2)

    answer = browser.post(path, content=unannounced(), headers=json)  # type: ignore[arg-type]
    assert answer.status_code == 413
    claim = {**json, "content-length": str(UPLOAD_LIMIT * 9)}
    assert browser.post(path, content=b"{}", headers=claim).status_code == 413
    odd = {**json, "content-length": "many"}
    assert browser.post(path, content=b"{}", headers=odd).status_code == 413


def test_forms_with_too_many_fields_are_refused(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path)
    many = {f"f{n}": "x" for n in range(2000)}
    assert browser.post(f"/s/{slug}/log/undo", data=many).status_code == 400


def test_writing_too_often_is_slowed_down(tmp_path: Path) -> None:
    slug = make_site(tmp_path)
    browser = client(tmp_path, guard=Guard(reads_per_s=1e6, writes_per_s=1.0))
    codes = [browser.post(f"/s/{slug}/log/undo", data={"a": "b"}).status_code for _ in range(14)]
    assert codes[:10] == [403] * 10
    assert 429 in codes
    assert browser.get("/api/sites").status_code == 200


def test_clients_remembered_are_bounded() -> None:
    layer = RateLayer(None, 1.0, 1.0)  # type: ignore[arg-type]
    for n in range(RateLayer.CLIENTS + 100):
        layer._allowed({"type": "http", "method": "GET", "client": (str(n), 1)})
    assert len(layer.buckets) == RateLayer.CLIENTS


@pytest.mark.parametrize(
    "path",
    [
        "/s/..%2f..%2fetc/today",
        "/s/%2e%2e/today",
        "/s/quinta-do-teste.toml/today",
        "/static/../web/app.py",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/s/%00/today",
        "/api/sites/..%2f..%2fetc%2fpasswd/rank",
        "/s/quinta-do-teste/log/..%2f..%2fx",
    ],
)
def test_paths_lead_nowhere_else(tmp_path: Path, path: str) -> None:
    make_site(tmp_path)
    answer = client(tmp_path).get(path)
    assert answer.status_code in {404, 405}
    assert "root:" not in answer.text
    assert "import" not in answer.text


def test_downloaded_page_is_sandboxed(tmp_path: Path) -> None:
    answer = client(tmp_path).get("/s/sample/page.html")
    assert answer.headers["content-security-policy"] == "sandbox"
    assert "attachment" in answer.headers["content-disposition"]


def test_bound_elsewhere_a_token_is_made_and_printed(monkeypatch: pytest.MonkeyPatch) -> None:
    import uvicorn
    from click.testing import CliRunner

    from windowcast.cli.serve import command

    monkeypatch.setattr(uvicorn.Server, "run", lambda self, sockets: sockets[0].close())
    monkeypatch.setattr("windowcast.cli.serve_address.lan_address", lambda host: "192.168.1.20")
    elsewhere = CliRunner().invoke(command, ["--host", "0.0.0.0", "--port", "0"])
    assert elsewhere.exit_code == 0, elsewhere.output
    assert len(elsewhere.output.partition("?token=")[2].split()[0]) >= 32
    own = ["--port", "0"]
    here = CliRunner().invoke(command, own)  # others have accounts on this machine too
    assert len(here.output.partition("?token=")[2].strip()) >= 32
    assert ":0/" not in here.output
    assert "token" not in CliRunner().invoke(command, ["--no-token", *own]).output
    if socket.has_dualstack_ipv6():
        assert "token" in CliRunner().invoke(command, ["--host", "::1", *own]).output


def test_an_address_is_printed_only_once_it_can_answer(capsys: pytest.CaptureFixture[str]) -> None:
    from windowcast.cli import main

    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(SystemExit) as stop:
            main(["serve", "--port", str(port)])
    assert stop.value.code == 2
    said = capsys.readouterr()
    assert not said.out
    assert f"port {port} is taken" in said.err
    assert "--port 0" in said.err


def test_a_missing_site_file_ends_with_exit_code_2(tmp_path: Path) -> None:
    from windowcast.cli import main

    with pytest.raises(SystemExit) as stop:
        main(["serve", str(tmp_path / "none.toml")])
    assert stop.value.code == 2


@pytest.mark.parametrize("words", [["--host", "0.0.0.0"], ["--token", "secret"]])
def test_no_token_is_refused_where_it_would_lie(words: list[str]) -> None:
    from windowcast.cli import main

    with pytest.raises(SystemExit) as ended:
        main(["serve", "--no-token", *words])
    assert ended.value.code == 2


def test_a_fault_or_a_client_gone_leaves_no_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    from starlette.requests import ClientDisconnect
    from starlette.testclient import TestClient

    from windowcast.core.errors import DEBUG
    from windowcast.web.security import QuietLayer

    async def fails(scope: object, receive: object, send: object) -> None:
        raise RuntimeError("secret place")

    async def leaves(scope: object, receive: object, send: object) -> None:
        raise ClientDisconnect

    monkeypatch.delenv(DEBUG, raising=False)
    answer = TestClient(QuietLayer(fails)).get("/")
    assert (answer.status_code, answer.text) == (500, "Something went wrong.\n")
    with pytest.raises(AssertionError):  # of the test client: there is no answer
        TestClient(QuietLayer(leaves)).get("/")
    monkeypatch.setenv(DEBUG, "1")
    with pytest.raises(RuntimeError):
        TestClient(QuietLayer(fails)).get("/")


def test_the_reading_process_has_no_trace(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from windowcast.web import worker

    def fails(*_: object) -> None:
        raise MemoryError

    monkeypatch.setattr(worker, "load_site", fails)
    monkeypatch.setattr("resource.setrlimit", lambda *_: None)
    assert worker.main("a", "b", "weather", "en") == 1
    assert capsys.readouterr().err == "cannot be read (MemoryError)\n"
