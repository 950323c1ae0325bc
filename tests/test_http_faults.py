"""Every fault a weather server can show ends in a right answer or a named error, in time.

Faults are those met in public threads on these services (500 and 503, stale 200s, maintenance
pages, redirects on rounding, resets), and those RFC 9110 allows.
"""

from __future__ import annotations

import gzip
import json
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from email.utils import formatdate
from pathlib import Path

import pytest
from loopback import GZIP, Answer, Loopback, closed_port, serving

from windowcast.core.errors import SourceUnreachableError
from windowcast.sources.http import USER_AGENT, Client, Limits
from windowcast.sources.http_answer import Expect, FetchError, Kind

LIMITS = Limits(
    connect_s=0.5, read_s=0.4, deadline_s=2.0, tries=3, backoff_s=0.02, backoff_max_s=0.1,
    redirects=2,
)  # fmt: skip
GOOD = json.dumps({"properties": {"text": "good" * 200}}).encode()
CSV = b"year,month,day,temp,temp_source\n2026,1,1,5.0,ghcnd\n" * 200
PAGE = b"<!DOCTYPE html><html><body>We are down for maintenance</body></html>"
good = Answer(GOOD)


@pytest.fixture
def server() -> Iterator[Loopback]:
    with serving() as running:
        yield running


def fetch(server: Loopback, expect: Expect = Expect.JSON, max_bytes: int = 100_000) -> bytes:
    return Client(LIMITS).get(f"{server.url}/a", expect=expect, max_bytes=max_bytes).body


def soon(seconds: float) -> str:
    return formatdate(time.time() + seconds, usegmt=True)


# name → (answers, expected: bytes, or the kind of error)
FAULTS: dict[str, tuple[list[Answer], bytes | Kind]] = {
    "no fault": ([good], GOOD),
    "silence": ([Answer(fault="hang")], Kind.TIMEOUT),
    "silence, then good": ([Answer(fault="hang"), good], GOOD),
    "closed without an answer, then good": ([Answer(fault="refuse"), good], GOOD),
    "closed without an answer": ([Answer(fault="refuse")], Kind.BROKEN_OFF),
    "reset in the body": ([Answer(GOOD, fault="reset")], Kind.BROKEN_OFF),
    "reset in the body, then good": ([Answer(GOOD, fault="reset"), good], GOOD),
    "cut in the body": ([Answer(GOOD, fault="cut")], Kind.BROKEN_OFF),
    "cut in a chunked body": ([Answer(GOOD, fault="cut", chunked=True)], Kind.BROKEN_OFF),
    "cut in the body, then good": ([Answer(GOOD, fault="cut"), good], GOOD),
    "silence in the body": ([Answer(GOOD, fault="silent")], Kind.TIMEOUT),
    "header byte by byte": ([Answer(GOOD, fault="drip-header")], Kind.DEADLINE),
    "body byte by byte": ([Answer(GOOD, fault="drip-body")], Kind.DEADLINE),
    "429 with Retry-After seconds, then good": (
        [Answer(b"", 429, headers={"Retry-After": "1"}), good], GOOD),
    "429 with Retry-After date, then good": (
        [Answer(b"", 429, headers={"Retry-After": soon(1)}), good], GOOD),
    "429 that asks for longer than there is": (
        [Answer(b"", 429, headers={"Retry-After": "3600"})], Kind.RATE_LIMITED),
    "500 then 200": ([Answer(b"{}", 500), good], GOOD),
    "503 then 200": ([Answer(b"{}", 503), good], GOOD),
    "500 for good": ([Answer(b"{}", 500)], Kind.SERVER),
    "502 with a page for good": ([Answer(PAGE, 502, "text/html")], Kind.SERVER),
    "301 on the host": ([Answer(b"", 301, headers={"Location": "/b"})], GOOD),
    "301 without a target": ([Answer(b"", 301, headers={"Location": ""})], Kind.REDIRECT),
    "redirect to another host": (
        [Answer(b"", 302, headers={"Location": "http://elsewhere.invalid/a"})], Kind.REDIRECT),
    "redirect to an open bracket": (
        [Answer(b"", 302, headers={"Location": "http://[::1"})], Kind.REDIRECT),
    "redirect past port 65535": (
        [Answer(b"", 302, headers={"Location": "http://127.0.0.1:99999/a"})], Kind.REDIRECT),
    "redirect to a file": (
        [Answer(b"", 302, headers={"Location": "file:///etc/hosts"})], Kind.REDIRECT),
    "redirect with credentials": (
        [Answer(b"", 302, headers={"Location": "http://u:p@127.0.0.1/a"})], Kind.REDIRECT),
    "redirect in a circle": ([Answer(b"", 301, headers={"Location": "/a"})], Kind.REDIRECT),
    "403": ([Answer(b"", 403)], Kind.REFUSED),
    "wrong content type": ([Answer(GOOD, type="image/png")], Kind.WRONG_CONTENT),
    "page with status 200": ([Answer(PAGE, type="text/html")], Kind.WRONG_CONTENT),
    "page with status 200 that claims json": ([Answer(PAGE)], Kind.WRONG_CONTENT),
    "page with status 200, then good": ([Answer(PAGE, type="text/html"), good], GOOD),
    "empty body": ([Answer(b"")], Kind.WRONG_CONTENT),
    "no content type": ([Answer(GOOD, type="")], GOOD),
    "unknown content coding": (
        [Answer(GOOD, headers={"Content-Encoding": "br"})], Kind.WRONG_CONTENT),
    "gzip content coding": (
        [Answer(gzip.compress(GOOD), headers={"Content-Encoding": "gzip"})], GOOD),
    "chunked": ([Answer(GOOD, chunked=True)], GOOD),
    "truncated gzip coding": (
        [Answer(gzip.compress(GOOD)[:-9], headers={"Content-Encoding": "gzip"})],
        Kind.BROKEN_OFF),
    "oversized body": ([Answer(b"{" + b" " * 200_000)], Kind.TOO_LARGE),
    "oversized once unpacked": (
        [Answer(gzip.compress(b"{" + b" " * 9_000_000), headers={"Content-Encoding": "gzip"})],
        Kind.TOO_LARGE),
    "clock skew of two days": ([Answer(GOOD, date_shift_s=172_800)], GOOD),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_fault_ends_as_it_should_before_the_deadline(name: str, server: Loopback) -> None:
    answers, expected = FAULTS[name]
    server.routes = {"/a": list(answers), "/b": good}
    began = time.monotonic()
    if isinstance(expected, bytes):
        assert fetch(server) == expected
    else:
        with pytest.raises(FetchError) as caught:
            fetch(server)
        assert caught.value.kind is expected
        assert caught.value.exit_code == 3
        assert "\n" not in str(caught.value)
    assert time.monotonic() - began < LIMITS.deadline_s + 0.5


FILE_FAULTS: dict[str, tuple[Answer, Expect, bytes | Kind]] = {
    "packed file": (Answer(gzip.compress(CSV), type=GZIP), Expect.CSV, CSV),
    "packed file, coded once more": (
        Answer(gzip.compress(gzip.compress(CSV)), type=GZIP,
               headers={"Content-Encoding": "gzip"}), Expect.CSV, CSV),
    "truncated file": (Answer(gzip.compress(CSV)[:-20], type=GZIP), Expect.CSV, Kind.BROKEN_OFF),
    "damaged file": (
        Answer(gzip.compress(CSV)[:60] + b"\xff" * 40, type=GZIP), Expect.CSV, Kind.BROKEN_OFF),
    "error in json instead of a file": (Answer(GOOD), Expect.CSV, Kind.WRONG_CONTENT),
    "page instead of a database": (Answer(PAGE, type="text/html"), Expect.SQLITE,
                                   Kind.WRONG_CONTENT),
    "text instead of a database": (Answer(CSV, type="text/plain"), Expect.SQLITE,
                                   Kind.WRONG_CONTENT),
    "a 4 MB bomb of 4 kB": (
        Answer(gzip.compress(b"a,b\n" * 1_000_000), type=GZIP), Expect.CSV, Kind.TOO_LARGE),
}  # fmt: skip


@pytest.mark.parametrize("name", FILE_FAULTS)
def test_fault_of_a_file(name: str, server: Loopback) -> None:
    answer, expect, expected = FILE_FAULTS[name]
    server.routes = {"/a": answer}
    if isinstance(expected, bytes):
        assert fetch(server, expect) == expected
    else:
        with pytest.raises(FetchError) as caught:
            fetch(server, expect)
        assert caught.value.kind is expected


@pytest.mark.slow
def test_faults_of_every_kind_of_answer_are_handled_right_and_heal() -> None:
    """Every seventeenth of the cases that docs/reliability.md counts."""
    bench = Path(__file__).parent.parent / "benchmarks" / "faults.py"
    done = subprocess.run(
        [sys.executable, str(bench), "--quick"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    ((faults, right, healed),) = re.findall(
        r"^\| all \| (\d+) \| (\d+) \| (\d+) \|$", done.stdout, re.M
    )
    assert int(faults) >= 60
    assert faults == right == healed


def test_nobody_listens() -> None:
    with pytest.raises(SourceUnreachableError, match="no connection"):
        Client(LIMITS).get(
            f"http://127.0.0.1:{closed_port()}/", expect=Expect.JSON, max_bytes=10_000
        )


def test_not_there_is_a_value(server: Loopback) -> None:
    assert Client(LIMITS).get(f"{server.url}/no", expect=Expect.JSON, max_bytes=99).status == 404
    assert len(server.requests) == 1


def test_retry_after_is_honoured(server: Loopback) -> None:
    slept: list[float] = []
    server.routes = {"/a": [Answer(b"", 503, headers={"Retry-After": "1"}), good]}
    client = Client(LIMITS, sleep=slept.append)
    assert client.get(f"{server.url}/a", expect=Expect.JSON, max_bytes=9999).body == GOOD
    assert slept == [1.0]


def test_backoff_grows_and_is_jittered(server: Loopback) -> None:
    slept: list[float] = []
    server.routes = {"/a": Answer(b"", 500)}
    with pytest.raises(FetchError):
        Client(LIMITS, sleep=slept.append).get(
            f"{server.url}/a", expect=Expect.JSON, max_bytes=9999
        )
    assert len(slept) == LIMITS.tries - 1
    assert 0.01 <= slept[0] <= 0.02 <= slept[1] <= 0.04


def test_expired_grid_is_not_hammered(server: Loopback) -> None:
    """503 "Forecast Grid Expired" is an outage of hours (weather-gov/api issues 29 and 78)."""
    problem = {"title": "Forecast Grid Expired", "status": 503, "correlationId": "3b59d1fd-7a9f"}
    body = json.dumps(problem).encode()
    server.routes = {"/a": Answer(body, 503, "application/problem+json")}
    with pytest.raises(FetchError, match=r"forecast grid expired.*3b59d1fd-7a9f"):
        fetch(server)
    assert len(server.requests) == 1


def test_a_dead_host_is_left_alone(server: Loopback) -> None:
    server.routes = {"/a": Answer(fault="hang")}
    client = Client(LIMITS)
    for path in ("/a", "/b", "/c"):
        with pytest.raises(FetchError):
            client.get(f"{server.url}{path}", expect=Expect.JSON, max_bytes=999)
    assert set(server.paths()) == {"/a"}


def test_skew_is_told(server: Loopback) -> None:
    server.routes = {"/a": Answer(GOOD, date_shift_s=-7200)}
    reply = Client(LIMITS).get(f"{server.url}/a", expect=Expect.JSON, max_bytes=9999)
    assert reply.skew_s == pytest.approx(-7200, abs=5)


def test_request_says_nothing_about_the_user(
    server: Loopback, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Credentials in ``.netrc`` stay there, cookies are not kept, no folder or user is named."""
    (tmp_path / ".netrc").write_text("machine 127.0.0.1 login someone password secret\n")
    monkeypatch.setenv("NETRC", str(tmp_path / ".netrc"))
    monkeypatch.setenv("HOME", str(tmp_path))
    server.routes = {"/a": Answer(GOOD, headers={"Set-Cookie": "id=42; Path=/"})}
    client = Client(LIMITS)
    for _ in range(2):
        client.get(f"{server.url}/a", expect=Expect.JSON, max_bytes=9999)
    for seen in server.requests:
        assert seen.headers["user-agent"] == USER_AGENT
        assert set(seen.headers) <= {
            "host", "user-agent", "accept", "accept-encoding", "connection"
        }  # fmt: skip
        for word in ("secret", "someone", str(tmp_path), "Basic"):
            assert word not in seen.text


def test_deadline_holds_even_for_slow_name_look_up(monkeypatch: pytest.MonkeyPatch) -> None:
    def slow(*_: object, **__: object) -> None:
        time.sleep(5)

    monkeypatch.setattr("socket.getaddrinfo", slow)
    began = time.monotonic()
    with pytest.raises(FetchError) as caught:
        Client(LIMITS).get("http://slow.invalid/", expect=Expect.JSON, max_bytes=99)
    assert caught.value.kind is Kind.DEADLINE
    assert time.monotonic() - began < LIMITS.deadline_s + 0.5


def test_error_names_no_credentials(server: Loopback) -> None:
    url: Callable[[str], str] = lambda host: f"http://me:secret@{host}/a"  # noqa: E731
    with pytest.raises(FetchError) as caught:
        Client(LIMITS).get(url(f"127.0.0.1:{closed_port()}"), expect=Expect.JSON, max_bytes=99)
    assert "secret" not in str(caught.value)


def test_one_connection_serves_many_requests(server: Loopback) -> None:
    packed = Answer(gzip.compress(CSV), type=GZIP)
    chunked = Answer(GOOD, chunked=True)
    server.routes = {"/a": good, "/b": packed, "/c": chunked, "/d": Answer(b"{}", 404)}
    client = Client(LIMITS)
    for path, expect in (("a", Expect.JSON), ("b", Expect.CSV), ("c", Expect.JSON)) * 3:
        client.get(f"{server.url}/{path}", expect=expect, max_bytes=99_999)
        assert client.get(f"{server.url}/d", expect=Expect.JSON, max_bytes=99).status == 404
    assert len(server.requests) == 18
    assert server.connections == 1
