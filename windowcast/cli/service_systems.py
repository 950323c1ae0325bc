"""How a system is asked to keep the page served: a user's unit of systemd, an agent of launchd.

Both run as the user who asks; nothing here needs, or takes, the rights of an administrator.
"""

from __future__ import annotations

import os
import platform
import plistlib
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from windowcast.core.errors import InputError

UNIT, LABEL = "windowcast.service", "org.windowcast.serve"
_KEPT = (
    "WINDOWCAST_CACHE", "WINDOWCAST_CONTACT", "WINDOWCAST_COARSE_GRID",
    "WINDOWCAST_SOIL_NETWORKS", "WINDOWCAST_DEADLINE", "REQUESTS_CA_BUNDLE", "CURL_CA_BUNDLE",
    "SSL_CERT_FILE", "SSL_CERT_DIR", "XDG_DATA_HOME", "XDG_CACHE_HOME",
)  # fmt: skip
_SECONDS = 30
_NOT_LOADED = re.compile(r"no such process|could not find|not find", re.IGNORECASE)


class ServiceSystem(Protocol):
    """A system that starts a program and keeps it running."""

    file: Path

    def text(self, words: Sequence[str], around: Mapping[str, str]) -> str:
        """What is written into `file`."""

    def words(self, text: str) -> list[str]:
        """The words of the program that such a file starts."""

    def starting(self) -> list[list[str]]:
        """The commands that start what `file` says, also in place of what ran before."""

    def stopping(self) -> list[list[str]]:
        """The commands that end it, before `file` goes."""

    def state(self) -> str:
        """``"running"``, or how the system calls what it is instead."""


def this_system(words: Sequence[str] = ("serve",)) -> ServiceSystem:
    """The one that this machine has, for what the words after ``windowcast`` start.

    Raises
    ------
    InputError
        There is none that is known here; the remedy is what serves instead.
    """
    name = platform.system()
    if name == "Linux" and shutil.which("systemctl"):
        return Systemd()
    if name == "Darwin":
        return Launchd()
    line = shlex.join(["windowcast", *words, "--hide-token"])
    if name == "Windows":
        raise InputError(
            "is written for systemd and launchd, not for Windows",
            field="service",
            remedy=f'run once: schtasks /Create /SC ONLOGON /TN windowcast /TR "{line}"',
        )
    raise InputError(
        "finds neither systemd nor launchd here",
        field="service",
        remedy=f"add a line to crontab -e: @reboot {line}",
    )


def program() -> list[str]:
    """The words that start this program from any folder."""
    return [sys.executable, "-P", "-m", "windowcast"]


def around() -> dict[str, str]:
    """What of the environment the service needs too: folders, hosts and certificates, no secret."""
    kept = {name: os.environ[name] for name in _KEPT if os.environ.get(name)}
    hosts = {
        name: value
        for name, value in os.environ.items()
        if name.startswith("WINDOWCAST_") and name.endswith("_URL") and "@" not in value
    }
    return {**kept, **hosts}


@dataclass(frozen=True)
class Ran:
    """How a command of the system ended."""

    code: int
    said: str


def run(command: Sequence[str]) -> Ran:
    """Run a command of the system; one that is not there, or hangs, has failed."""
    try:
        done = subprocess.run(
            command, capture_output=True, text=True, check=False, timeout=_SECONDS, errors="replace"
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return Ran(127, str(getattr(error, "strerror", None) or error))
    said = " ".join((done.stderr or done.stdout).split())
    return Ran(done.returncode, said)


class Systemd:
    """A unit of the user's own systemd."""

    def __init__(self) -> None:
        home = os.environ.get("XDG_CONFIG_HOME") or Path.home() / ".config"
        self.file = Path(home) / "systemd" / "user" / UNIT

    def text(self, words: Sequence[str], around: Mapping[str, str]) -> str:
        """The unit."""
        start = " ".join(_quoted(word).replace("$", "$$") for word in words)
        lines = [f"Environment={_quoted(f'{name}={value}')}" for name, value in around.items()]
        return "\n".join(
            [
                "[Unit]",
                "Description=windowcast: local web page",
                "",
                "[Service]",
                f"ExecStart={start}",
                *lines,
                "Restart=on-failure",
                "RestartSec=10",
                "RestartPreventExitStatus=2",
                "NoNewPrivileges=true",
                "",
                "[Install]",
                "WantedBy=default.target",
                "",
            ]
        )

    def words(self, text: str) -> list[str]:
        """The words of ``ExecStart``."""
        found = re.search(r"^ExecStart=(.*)$", text, re.MULTILINE)
        try:
            split = shlex.split(found[1]) if found else []
        except ValueError:
            return []
        return [word.replace("$$", "$").replace("%%", "%") for word in split]

    def starting(self) -> list[list[str]]:
        """Read anew, start at log-in, start now."""
        user = ["systemctl", "--user"]
        return [[*user, "daemon-reload"], [*user, "enable", UNIT], [*user, "restart", UNIT]]

    def stopping(self) -> list[list[str]]:
        """Stop now, and start no more."""
        return [["systemctl", "--user", "disable", "--now", UNIT]]

    def state(self) -> str:
        """``"running"``, ``"inactive"``, ``"failed"`` …"""
        said = run(["systemctl", "--user", "is-active", UNIT]).said
        return "running" if said == "active" else said or "unknown"


class Launchd:
    """An agent of the user's own launchd."""

    def __init__(self) -> None:
        self.file = Path.home() / "Library" / "LaunchAgents" / f"{LABEL}.plist"
        self._log = Path.home() / "Library" / "Logs" / "windowcast.log"
        self._domain = f"gui/{os.getuid()}" if sys.platform != "win32" else ""

    def text(self, words: Sequence[str], around: Mapping[str, str]) -> str:
        """The property list."""
        for word in (*words, *around.values()):
            _refuse_control(word)
        return plistlib.dumps(
            {
                "Label": LABEL,
                "ProgramArguments": list(words),
                "EnvironmentVariables": dict(around),
                "RunAtLoad": True,
                "KeepAlive": {"SuccessfulExit": False},
                "ProcessType": "Background",
                "StandardOutPath": str(self._log),
                "StandardErrorPath": str(self._log),
            },
            sort_keys=False,
        ).decode()

    def words(self, text: str) -> list[str]:
        """The words of ``ProgramArguments``."""
        try:
            return [str(word) for word in plistlib.loads(text.encode())["ProgramArguments"]]
        except (plistlib.InvalidFileException, KeyError, TypeError, ValueError):
            return []
        except Exception as error:  # expat's own, which is no subclass of the above
            if type(error).__name__ == "ExpatError":
                return []
            raise

    def starting(self) -> list[list[str]]:
        """Start now and at log-in."""
        return [["launchctl", "bootstrap", self._domain, str(self.file)]]

    def stopping(self) -> list[list[str]]:
        """Stop now, and start no more."""
        return [["launchctl", "bootout", f"{self._domain}/{LABEL}"]]

    def state(self) -> str:
        """``"running"``, ``"not running"`` …"""
        done = run(["launchctl", "print", f"{self._domain}/{LABEL}"])
        found = re.search(r"state = ([a-z ]+?)(?= \w+ =|$| [^a-z])", done.said)
        return found[1].strip() if found else "not loaded"


def _quoted(word: str) -> str:
    """A word as systemd reads it; ``%`` begins something there."""
    _refuse_control(word)
    escaped = word.replace("\\", "\\\\").replace('"', '\\"').replace("%", "%%")
    return f'"{escaped}"'


def _refuse_control(word: str) -> None:
    if any(ord(mark) < 32 or ord(mark) == 127 for mark in word):
        raise InputError(
            "has a line break or another control mark in it",
            field=repr(word),
            remedy="rename the file or folder",
        )
