"""Shared fixtures. Nothing here, and no test in the default run, reaches beyond this machine."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

from windowcast.core.phrase import Phrase
from windowcast.report import catalogue

# no deadline: a busy machine is no fault of the code
settings.register_profile("windowcast", deadline=None)
settings.load_profile("windowcast")

DATA = Path(__file__).parent / "data"
_LOCAL = {"127.0.0.1", "::1", "localhost", "0.0.0.0"}


@pytest.fixture(autouse=True)
def _only_loopback(monkeypatch: pytest.MonkeyPatch) -> None:
    """A connection to anything but this machine fails the test that made it."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> Any:
        if self.family in (socket.AF_INET, socket.AF_INET6) and address[0] not in _LOCAL:
            raise AssertionError(f"a test reached out to {address}")
        return connect(self, address)

    monkeypatch.setattr(socket.socket, "connect", guarded)


@pytest.fixture(autouse=True)
def _own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each test has a cache folder of its own."""
    monkeypatch.setenv("WINDOWCAST_CACHE", str(tmp_path_factory.mktemp("cache")))


_fault = catalogue.fault


@pytest.fixture(autouse=True)
def _no_missing_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """A phrase without its text or a value, or written as it is, fails the test that meets it."""

    def fault(phrase: Phrase, problem: str) -> str:
        raise AssertionError(f"phrase {phrase.id} {problem}")

    def told(phrase: Phrase, spec: str = "") -> str:
        raise AssertionError(f"phrase {phrase.id} is written without the catalogue")

    monkeypatch.setattr(catalogue, "fault", fault)
    monkeypatch.setattr(Phrase, "__str__", told)
    monkeypatch.setattr(Phrase, "__format__", told)


@pytest.fixture
def real_fault() -> Callable[[Phrase, str], str]:
    """What a reader gets where a text is missing."""
    return _fault


@pytest.fixture
def data() -> Path:
    """The folder of credited samples; see its ORIGIN.md."""
    return DATA
