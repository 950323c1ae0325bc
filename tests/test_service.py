"""The page is kept served by the user's systemd or launchd: both are played by scripts on PATH."""

from __future__ import annotations

import json
import os
import plistlib
import shlex
import shutil
import stat
import subprocess
import sys
import urllib.request
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from windowcast.cli import main, serve_address, service_systems
from windowcast.cli.serve_address import VARIABLE, own_token_file
from windowcast.cli.service import command
from windowcast.cli.service_systems import Launchd, Systemd, around
from windowcast.core.errors import InputError

pytestmark = pytest.mark.skipif(os.name != "posix", reason="scripts stand in for the systems")

PLAYED = """\
#!{python}
import json, os, sys
place = {place!r}
with open(place + "/asked", "a") as asked:
    asked.write(json.dumps(sys.argv[1:]) + "\\n")
words, state = sys.argv[1:], place + "/runs"
if os.path.exists(place + "/broken") and words[0] != "print":
    sys.exit("Failed to connect to bus: No medium found")
if "restart" in words or "bootstrap" in words:
    open(state, "w").close()
if "disable" in words or "bootout" in words:
    if os.path.exists(state):
        os.remove(state)
if "is-active" in words:
    print("active" if os.path.exists(state) else "inactive")
if words[0] == "print":
    if not os.path.exists(state):
        sys.exit("Could not find service")
    print("gui/501/x = {{\\n\\tactive count = 1\\n\\tstate = running\\n\\n\\tprogram = /x\\n}}")
"""


@pytest.fixture(params=["Linux", "Darwin"])
def system(request: pytest.FixtureRequest, home: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Either system, with its command played by a script."""
    monkeypatch.setattr(service_systems.platform, "system", lambda: request.param)
    return str(request.param)


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A home of its own, with spaces in its name."""
    place = tmp_path / "a home"
    (place / "bin").mkdir(parents=True)
    for name in ("systemctl", "launchctl"):
        script = place / "bin" / name
        script.write_text(PLAYED.format(python=sys.executable, place=str(place)))
        script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{place / 'bin'}{os.pathsep}{os.environ['PATH']}")
    monkeypatch.setenv("HOME", str(place))
    monkeypatch.setenv("XDG_DATA_HOME", str(place / "data"))
    for name in ("XDG_CONFIG_HOME", VARIABLE):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setattr(serve_address, "lan_address", lambda host: "192.168.1.20")
    return place


def service(*words: str) -> Result:
    return CliRunner().invoke(command, list(words))


def asked(home: Path) -> list[list[str]]:
    """What the system was asked, but for its state."""
    file = home / "asked"
    lines = file.read_text().splitlines() if file.exists() else []
    return [w for w in map(json.loads, lines) if "is-active" not in w and w[0] != "print"]


def written(system: str, home: Path) -> Path:
    if system == "Linux":
        return home / ".config/systemd/user/windowcast.service"
    return home / "Library/LaunchAgents/org.windowcast.serve.plist"


def started(system: str, home: Path) -> list[str]:
    """The words that the file starts, read as its system reads them."""
    file = written(system, home)
    if system == "Darwin":
        words: list[str] = plistlib.loads(file.read_bytes())["ProgramArguments"]
        return words
    return Systemd().words(file.read_text())


def test_installed_it_starts_serve_with_the_same_options(system: str, home: Path) -> None:
    site = home / "my site.toml"
    site.write_text('name = "A"\nlatitude = 38.6\nlongitude = -9.1\n')
    done = service("install", str(site), "--lan", "--port", "8801", "--name", "50%.x", "--offline")
    assert done.exit_code == 0, done.output
    assert started(system, home) == [
        sys.executable, "-P", "-m", "windowcast", "serve", str(site), "--host", "0.0.0.0",
        "--port", "8801", "--name", "50%.x", "--offline", "--hide-token", "--token-file",
        str(home / "data/windowcast/serve-token"),
    ]  # fmt: skip
    assert stat.S_IMODE(own_token_file().stat().st_mode) == 0o600
    token = own_token_file().read_text().strip()
    assert token not in written(system, home).read_text()
    assert f"http://192.168.1.20:8801/?token={token}" in done.output
    if system == "Linux":
        assert asked(home) == [["--user", "daemon-reload"], ["--user", "enable",
            "windowcast.service"], ["--user", "restart", "windowcast.service"]]  # fmt: skip
        assert "loginctl enable-linger" in done.output
    else:
        assert asked(home) == [["bootstrap", f"gui/{os.getuid()}", str(written(system, home))]]


def test_what_it_would_do_is_shown_and_nothing_done(system: str, home: Path) -> None:
    done = service("install", "--dry-run")
    assert done.exit_code == 0
    assert str(written(system, home)) in done.output
    assert "--token-file" in done.output
    assert not asked(home)
    assert sorted(path.name for path in home.iterdir()) == ["bin"]


def test_installed_again_it_takes_the_new_options_and_keeps_the_token(
    system: str, home: Path
) -> None:
    service("install")
    token = own_token_file().read_text()
    assert service("install", "--port", "8802").exit_code == 0
    assert "8802" in started(system, home)
    assert own_token_file().read_text() == token
    assert (home / "runs").exists()


def test_removed_nothing_is_left_but_the_token(system: str, home: Path) -> None:
    service("install")
    done = service("remove")
    assert done.exit_code == 0
    assert not written(system, home).exists()
    assert not (home / "runs").exists()
    assert own_token_file().exists()
    assert "No service is installed" in service("remove").output
    assert service("status").exit_code == 1


def test_a_system_that_refuses_leaves_things_as_they_were(
    system: str, home: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (home / "broken").touch()
    with pytest.raises(SystemExit) as ended:
        main(["service", "install"])
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert "No medium found" in told.err
    assert told.err.count("\n") == 1
    assert not written(system, home).exists()
    (home / "broken").unlink()
    service("install", "--port", "8803")
    (home / "broken").touch()
    with pytest.raises(SystemExit):
        main(["service", "install", "--port", "8804"])
    assert "8803" in started(system, home)


def test_status_says_where_it_answers(system: str, home: Path) -> None:
    assert service("install", "--port", "8805").exit_code == 0
    quiet = service("status")
    assert quiet.exit_code == 1
    assert "running" in quiet.output
    assert "Nothing answers" in quiet.output


def test_the_words_that_are_written_start_a_server_that_status_finds(
    system: str, home: Path
) -> None:
    import socket

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert service("install", "--offline", "--port", str(port)).exit_code == 0
    running = subprocess.Popen(started(system, home), cwd="/", stdout=subprocess.PIPE, text=True)
    try:
        assert running.stdout is not None
        assert running.stdout.readline() == f"windowcast: http://127.0.0.1:{port}/\n"
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/healthz", timeout=20) as answer:
            assert json.load(answer)["status"] == "ok"
        done = service("status", "--lang", "es")
        assert done.exit_code == 0, done.output
        token = own_token_file().read_text().strip()
        assert f"http://127.0.0.1:{port}/?token={token}" in done.output
    finally:
        running.terminate()
        assert running.wait(20) == 0
        running.communicate()


def test_a_file_that_starts_something_else_is_not_taken_for_ours(system: str, home: Path) -> None:
    service("install")
    for text in ("", "[Service]\nExecStart=/bin/sleep 9\n", "ExecStart='", "<plist"):
        written(system, home).write_text(text)
        done = service("status")
        assert done.exit_code == 1
        assert "starts something else" in done.output


@pytest.mark.parametrize(
    ("name", "way"),
    [("Windows", "schtasks /Create"), ("FreeBSD", "crontab -e: @reboot windowcast serve")],
)
def test_other_systems_are_told_another_way_in_a_line(
    name: str, way: str, home: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.setattr(service_systems.platform, "system", lambda: name)
    for words in (["install", "--port", "8806"], ["status"], ["remove"]):
        with pytest.raises(SystemExit) as ended:
            main(["service", *words])
        assert ended.value.code == 2
        said = capsys.readouterr().err
        assert way in said
        assert said.count("\n") == 1
        assert ("8806" in said) == (words[0] == "install")


def test_linux_without_systemd_is_told_of_cron(home: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(service_systems.platform, "system", lambda: "Linux")
    monkeypatch.setattr(service_systems.shutil, "which", lambda name: None)
    with pytest.raises(InputError, match="@reboot"):
        service_systems.this_system()


def test_an_address_that_would_change_and_an_open_page_are_refused(system: str, home: Path) -> None:
    for words in (["--port", "0"], ["--lan", "--no-token"]):
        done = service("install", *words)
        assert isinstance(done.exception, InputError)
    assert not asked(home)


def test_no_secret_of_the_environment_is_written(monkeypatch: pytest.MonkeyPatch) -> None:
    for name, value in {
        VARIABLE: "hunter2hunter2hunter2", "WINDOWCAST_ALERTS_TO": "mailto://u:hunter2@x",
        "HTTPS_PROXY": "http://u:hunter2@x", "WINDOWCAST_METNO_URL": "https://u:hunter2@x",
        "WINDOWCAST_ARCHIVE_URL": "https://mirror.example", "WINDOWCAST_CACHE": "/x",
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    kept = around()
    assert kept["WINDOWCAST_ARCHIVE_URL"] == "https://mirror.example"
    assert kept["WINDOWCAST_CACHE"] == "/x"
    assert "hunter2" not in str(kept)


def test_the_container_starts_a_server_that_its_own_check_reaches() -> None:
    from windowcast.cli.serve import command as serve

    root = Path(__file__).parents[1]
    lines = (root / "docs/deploy/Containerfile").read_text().splitlines()
    copied = [word for line in lines if line.startswith("COPY ") for word in line.split()[1:-1]]
    assert all((root / path).exists() for path in copied)
    program, *words = json.loads(lines[-1].removeprefix("CMD "))
    params = serve.make_context(program, words).params
    (check,) = (line for line in lines if "healthz" in line)
    assert f"127.0.0.1:{params['port']}/healthz" in check
    assert params["host"] == "0.0.0.0"
    assert params["hide_token"]
    assert "USER windowcast" in lines


ODD = ["a b", 'say "x"', "100 %", "$HOME", "back\\slash", "ümlaut", "'", "%h", "$$", ""]


def test_odd_words_come_back_as_they_were(home: Path) -> None:
    for made in (Systemd(), Launchd()):
        assert made.words(made.text(ODD, {"NAME": "a %b"})) == ODD
        with pytest.raises(InputError, match="control mark"):
            made.text(["a\nExecStartPre=rm"], {})


@pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="no systemd to read the unit")
def test_systemd_itself_finds_nothing_wrong_with_the_unit(tmp_path: Path) -> None:
    unit = tmp_path / "windowcast.service"
    words = [sys.executable, *ODD[:-1]]
    unit.write_text(Systemd().text(words, {"WINDOWCAST_CACHE": "/a b/%c"}))
    (tmp_path / "run").mkdir()
    done = subprocess.run(
        ["systemd-analyze", "verify", "--user", str(unit)],
        env={**os.environ, "XDG_RUNTIME_DIR": str(tmp_path / "run")},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert shlex.split(unit.read_text().partition("ExecStart=")[2].splitlines()[0])
