"""The server as a service: its token outlives it, a phone finds it, it ends cleanly."""

from __future__ import annotations

import os
import re
import signal
import socket
import ssl
import stat
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest
from click.testing import CliRunner, Result

from windowcast.cli import main, serve_address
from windowcast.cli.serve import _listening, command
from windowcast.cli.serve_address import (
    VARIABLE,
    address,
    lan_address,
    own_token_file,
    scannable,
    token_of,
)
from windowcast.core.errors import InputError
from windowcast.report.catalogue import Voice

TOKEN = "0123456789abcdefghij"
TERMINAL = SimpleNamespace(platform=sys.platform, stdout=SimpleNamespace(isatty=lambda: True))
posix = pytest.mark.skipif(os.name != "posix", reason="modes and signals are those of POSIX")


@pytest.fixture(autouse=True)
def _own_data(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.delenv(VARIABLE, raising=False)


@contextmanager
def served(*words: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A server of its own process, and the address that it printed."""
    running = subprocess.Popen(
        [sys.executable, "-m", "windowcast", "serve", "--port", "0", "--offline", *words],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert running.stdout is not None
        line = running.stdout.readline()
        assert line.startswith("windowcast: http"), running.communicate(timeout=10)
        yield running, line.split()[1]
    finally:
        running.kill()
        running.wait(10)


def status(url: str, trusting: Path | None = None) -> int:
    context = ssl.create_default_context(cafile=str(trusting)) if trusting else None
    try:
        with urllib.request.urlopen(url, context=context, timeout=20) as answer:
            return int(answer.status)
    except urllib.error.HTTPError as error:
        return error.code


# ---- the token ----------------------------------------------------------------------------------


def test_the_token_is_made_once_and_kept_for_its_owner_alone() -> None:
    first = token_of(None)
    assert first.file == own_token_file()
    assert not first.remark
    assert token_of(None) == first
    assert len(first.text) >= 32
    if os.name == "posix":
        assert stat.S_IMODE(own_token_file().stat().st_mode) == 0o600
    assert [file.name for file in own_token_file().parent.iterdir()] == ["serve-token"]


def test_servers_that_start_at_once_agree_on_one_token(tmp_path: Path) -> None:
    file, found = tmp_path / "token", set()
    meet = threading.Barrier(8)

    def start() -> None:
        meet.wait()
        found.add(token_of(file).text)

    threads = [threading.Thread(target=start) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(found) == 1


def test_a_named_file_goes_before_the_variable_and_that_before_the_own_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, TOKEN)
    assert token_of(None).text == TOKEN
    assert not own_token_file().exists()
    assert token_of(tmp_path / "named").text not in (TOKEN, "")
    (tmp_path / "mine").write_text(f" {TOKEN[::-1]}\n")
    assert token_of(tmp_path / "mine").text == TOKEN[::-1]


@posix
def test_a_token_file_that_others_can_read_is_named(tmp_path: Path) -> None:
    file = tmp_path / "token"
    file.write_text(TOKEN)
    file.chmod(0o640)
    assert "chmod 600" in Voice("us", "en").text(token_of(file).remark)
    file.chmod(0o600)
    assert not token_of(file).remark


@pytest.mark.parametrize("text", ["", "short", f"{TOKEN} and more", f"{TOKEN}&lang=es", "x" * 2000])
def test_what_is_no_token_is_refused(
    text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "token").write_text(text)
    with pytest.raises(InputError, match="token"):
        token_of(tmp_path / "token")
    if text:
        monkeypatch.setenv(VARIABLE, text)
        with pytest.raises(InputError, match=VARIABLE):
            token_of(None)


def test_without_a_place_for_it_the_token_lasts_until_the_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "file"))
    found = token_of(None)
    assert len(found.text) >= 32
    assert found.file is None
    assert "changes with each start" in Voice("us", "en").text(found.remark)
    with pytest.raises(InputError, match="cannot be"):  # a named one must be kept
        token_of(tmp_path / "file" / "token")


# ---- what is printed ----------------------------------------------------------------------------


@pytest.fixture
def begun(monkeypatch: pytest.MonkeyPatch) -> list[SimpleNamespace]:
    """The server is made and not run; each is kept with how it would have been."""
    import uvicorn

    made: list[SimpleNamespace] = []

    def run(self: uvicorn.Server, sockets: list[socket.socket]) -> None:
        made.append(SimpleNamespace(config=self.config, host=sockets[0].getsockname()[0]))
        sockets[0].close()

    monkeypatch.setattr(uvicorn.Server, "run", run)
    monkeypatch.setattr(serve_address, "lan_address", lambda host: "192.168.1.20")
    return made


def start(*words: str) -> Result:
    return CliRunner().invoke(command, ["--port", "0", *words])


def test_a_phone_is_given_the_address_in_its_network(begun: list[SimpleNamespace]) -> None:
    done = start("--lan")
    assert done.exit_code == 0, done.output
    assert begun[0].host == "0.0.0.0"
    assert re.search(r"^windowcast: http://192\.168\.1\.20:\d+/\?token=.{32}$", done.output, re.M)
    assert "On this machine: http://127.0.0.1:" in done.output
    assert "█" not in done.output, "a code is for terminals, not for logs"


def test_without_a_network_the_machine_s_own_address_is_given(
    begun: list[SimpleNamespace], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve_address, "lan_address", lambda host: None)
    done = start("--lan")
    assert "http://127.0.0.1:" in done.output
    assert "in no network" in done.output


def test_a_terminal_shows_a_code_to_scan(
    begun: list[SimpleNamespace], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve_address, "sys", TERMINAL)
    monkeypatch.setattr(serve_address, "scannable", lambda text: f"<{text}>")
    done = start("--lan")
    assert re.search(r"<http://192\.168\.1\.20:\d+/\?token=.{32}>", done.output)
    assert "<" not in start("--lan", "--hide-token").output
    assert "<" not in start().output, "no phone reaches loopback"

    def missing(text: str) -> str:
        raise ImportError

    monkeypatch.setattr(serve_address, "scannable", missing)
    assert "windowcast[serve]" in start("--lan").output


def test_a_code_is_drawn_only_in_marks_that_the_output_has(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    text = address("192.168.1.20", 8765, secure=False, token="a" * 32)
    for encoding, shown in (("utf-8", True), ("cp437", True), ("latin-1", False), ("ascii", False)):
        stdout = SimpleNamespace(encoding=encoding)
        monkeypatch.setattr(serve_address, "sys", SimpleNamespace(stdout=stdout))
        assert (scannable(text) is not None) == shown
    monkeypatch.setattr(
        serve_address, "sys", SimpleNamespace(stdout=SimpleNamespace(encoding="utf-8"))
    )
    monkeypatch.setenv("NO_COLOR", "1")
    drawn = (scannable(text) or "").splitlines()
    # ISO/IEC 18004: version 4 has 33 × 33 modules; two rows are one line, with a border of two
    assert {len(line) for line in drawn} == {33 + 4}
    assert len(drawn) == (33 + 4 + 1) // 2


def test_the_address_of_the_network_is_found_without_sending(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Unsent:
        def __init__(self, family: int, kind: int) -> None:
            assert kind == socket.SOCK_DGRAM

        def __enter__(self) -> Unsent:
            return self

        def __exit__(self, *_: object) -> None:
            pass

        def connect(self, where: tuple[str, int]) -> None:
            if ":" in where[0]:
                raise OSError("no route")

        def getsockname(self) -> tuple[str, int]:
            return ("192.168.1.20", 40000)

    monkeypatch.setattr(serve_address.socket, "socket", Unsent)
    assert lan_address("0.0.0.0") == "192.168.1.20"
    assert lan_address("::") is None


def test_a_log_gets_the_address_without_the_token(begun: list[SimpleNamespace]) -> None:
    done = start("--lan", "--hide-token")
    assert own_token_file().read_text().strip() not in done.output
    assert str(own_token_file()) in done.output


def test_a_token_in_the_command_line_still_works_and_is_warned_of(
    begun: list[SimpleNamespace],
) -> None:
    done = start("--token", "secret")
    assert done.exit_code == 0
    assert "?token=secret" in done.output
    assert "list of processes" in done.output
    assert not own_token_file().exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--lan", "--no-token"], "whole network"),
        (["--host", "192.168.1.20", "--no-token"], "whole network"),
        (["--lan", "--host", "127.0.0.1"], "contradicts --host"),
        (["--token", "secret", "--token-file", "x"], "contradicts --token"),
        (["--tls-key", "x.pem"], "needs --tls-cert"),
        (["--tls-cert", "none.pem"], "none.pem: cannot be read"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["serve", *words])
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert said in told.err
    assert told.err.count("\n") == 1
    assert not told.out


# ---- it runs ------------------------------------------------------------------------------------


@posix
def test_a_restart_keeps_the_token_and_sigterm_ends_cleanly() -> None:
    tokens = set()
    for _ in range(2):
        with served() as (running, url):
            tokens.add(url.partition("?token=")[2])
            base = url.partition("?")[0]
            assert status(f"{base}healthz") == 200
            assert status(base) == 401
            assert status(f"{base}s/sample/calendar.ics?token={url.partition('=')[2]}") == 200
            running.send_signal(signal.SIGTERM)
            out, err = running.communicate(timeout=20)
            assert (running.returncode, out, err) == (0, "", "")
    assert len(tokens) == 1


@posix
def test_ctrl_c_ends_in_a_word() -> None:
    with served() as (running, _):
        began = time.monotonic()
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=20)
        assert (running.returncode, out, err.strip()) == (130, "", "Stopped.")
        assert time.monotonic() - began < 10


def test_the_token_is_in_no_list_of_processes() -> None:
    with served("--hide-token") as (running, _):
        token = own_token_file().read_text().strip()
        listed = Path(f"/proc/{running.pid}/cmdline")
        assert not listed.exists() or token not in listed.read_text()


CERTIFICATE = """\
openssl req -x509 -newkey rsa:2048 -nodes -keyout {0}/key.pem -out {0}/cert.pem -days 2
-subj /CN=localhost -addext subjectAltName=IP:127.0.0.1"""


def certified(folder: Path) -> tuple[Path, Path]:
    try:
        subprocess.run(CERTIFICATE.format(folder).split(), check=True, capture_output=True)
    except FileNotFoundError:
        pytest.skip("openssl is not installed")
    return folder / "cert.pem", folder / "key.pem"


def test_with_a_certificate_of_its_own_it_speaks_https(tmp_path: Path) -> None:
    certificate, key = certified(tmp_path)
    with served("--tls-cert", str(certificate), "--tls-key", str(key)) as (_, url):
        assert url.startswith("https://127.0.0.1:")
        assert status(f"{url.partition('?')[0]}healthz", certificate) == 200
        context = ssl.create_default_context(cafile=str(certificate))

        class NoRedirect(urllib.request.HTTPRedirectHandler):
            def redirect_request(self, *_: object) -> None:  # type: ignore[override]
                return None

        opener = urllib.request.build_opener(
            NoRedirect, urllib.request.HTTPSHandler(context=context)
        )
        with pytest.raises(urllib.error.HTTPError) as moved:
            opener.open(url, timeout=20)
        assert "Secure" in moved.value.headers["set-cookie"]


def test_a_key_that_is_not_the_certificate_s_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    certificate, key = certified(tmp_path / "a")[0], certified(tmp_path / "b")[1]
    for words in ((certificate, key), (certificate, None), (key, None)):
        with pytest.raises(InputError, match="no certificate with its key"):
            serve_address.check_tls(*words)
    locked = tmp_path / "locked.pem"
    lock = ["openssl", "rsa", "-aes128", "-passout", "pass:word"]
    subprocess.run([*lock, "-in", key, "-out", locked], check=True, capture_output=True)
    with pytest.raises(InputError, match="password"):
        serve_address.check_tls(tmp_path / "b" / "cert.pem", locked)
    assert serve_address.VARIABLE == "WINDOWCAST_TOKEN"


def test_connections_send_short_answers_at_once() -> None:
    """A listening socket of Python has no protocol number, by which asyncio would see to it."""
    with (
        _listening("127.0.0.1", 0) as listening,
        socket.create_connection(listening.getsockname()[:2]),
    ):
        accepted, _ = listening.accept()
        with accepted:
            assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
