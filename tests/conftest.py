"""Shared fixtures. Nothing here, and no test in the default run, reaches beyond this machine."""

from __future__ import annotations

import os
import pickle
import socket
import sys
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass
from functools import cache, partial
from hashlib import blake2b
from itertools import count
from pathlib import Path
from types import ModuleType
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # read on import: workers share the cores

import numpy as np
import pytest
from error_texts import ENGLISH
from hypothesis import settings
from spoken import METRIC

from windowcast.core.digest import digest_of
from windowcast.core.errors import InputError
from windowcast.core.phrase import LANGUAGES, NOTHING, Phrase, Value, say
from windowcast.core.values import PACKAGED
from windowcast.limits.model import Limit
from windowcast.limits.rules import _Said
from windowcast.physics.soil import SoilResult, SoilSite, simulate
from windowcast.physics.soil_forcing import SoilForcing
from windowcast.programme.answer import answer
from windowcast.records import review
from windowcast.report import catalogue
from windowcast.report.translated import translated
from windowcast.season import soil_kept
from windowcast.season.soil_kept import KeptSoil
from windowcast.season.state import build
from windowcast.sources import by_name
from windowcast.weather.ensemble import members

# no deadline: a busy machine is no fault of the code
settings.register_profile("windowcast", deadline=None)
settings.load_profile("windowcast")

DATA = Path(__file__).parent / "data"
_LOCAL = {"127.0.0.1", "::1", "localhost", "0.0.0.0"}


@pytest.fixture(scope="session")
def patched(tmp_path_factory: pytest.TempPathFactory) -> Iterator[pytest.MonkeyPatch]:
    """Changes that hold for all tests of a process, and for what several tests share."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WINDOWCAST_CACHE", str(tmp_path_factory.mktemp("caches") / "shared"))
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        patch.delenv("COLUMNS", raising=False)  # workers of pytest-xdist set it
        yield patch


@pytest.fixture(scope="session", autouse=True)
def _only_loopback(patched: pytest.MonkeyPatch) -> None:
    """A connection to anything but this machine fails the test that made it."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> Any:
        if self.family in (socket.AF_INET, socket.AF_INET6) and address[0] not in _LOCAL:
            raise AssertionError(f"a test reached out to {address}")
        return connect(self, address)

    patched.setattr(socket.socket, "connect", guarded)


_numbers = count()


@pytest.fixture(autouse=True)
def _own_cache(patched: pytest.MonkeyPatch) -> None:
    """Each test has a cache folder of its own."""
    own = Path(os.environ["WINDOWCAST_CACHE"]).with_name(str(next(_numbers)))
    own.mkdir(parents=True)
    os.environ["WINDOWCAST_CACHE"] = str(own)


@pytest.fixture(autouse=True)
def _no_coarse_grid(monkeypatch: pytest.MonkeyPatch) -> None:
    """The coarse grid and the soil networks are asked only by tests that serve them."""
    monkeypatch.setenv("WINDOWCAST_COARSE_GRID", "off")
    monkeypatch.setenv("WINDOWCAST_SOIL_NETWORKS", "off")


@pytest.fixture(autouse=True)
def _one_forecast_service(monkeypatch: pytest.MonkeyPatch) -> None:
    """By default only the service that most tests serve is asked, and no other by its address."""
    monkeypatch.setattr(by_name, "AUTOMATIC", ("nws",))
    for service in ("METNO", "MOSMIX"):
        monkeypatch.setenv(f"WINDOWCAST_{service}_URL", "http://127.0.0.1:9")


class _Memory:
    """A store of soil runs that lasts as long as the tests of one process."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], bytes] = {}

    def derived(self, key: str, digest: str) -> bytes | None:
        return self.kept.get((key, digest))

    def put_derived(self, key: str, source: str, digest: str, body: bytes) -> None:
        self.kept[key, digest] = body


MOST_RUNS = 100
_runs: dict[str, SoilResult] = {}


def _once(forcing: SoilForcing, site: SoilSite, **how: Any) -> SoilResult:
    """The soil model; the latest runs are remembered, and nobody may write into them."""
    digest = digest_of(forcing, site, site.values, tuple(how["depths_m"]), *how.items())
    if digest not in _runs:
        _runs[digest] = found = simulate(forcing, site, **how)
        for array in (*vars(found).values(), *vars(found.state).values()):
            if isinstance(array, np.ndarray):
                array.flags.writeable = False
        if len(_runs) > MOST_RUNS:
            del _runs[next(iter(_runs))]
    return _runs[digest]


soil_memory = _Memory()
_soil = KeptSoil(soil_memory, _once)


@pytest.fixture(scope="session", autouse=True)
def _same_soil_once(patched: pytest.MonkeyPatch) -> None:
    """The same years of soil are worked out once for all tests of a process.

    A kept run is the run itself to the bit (`test_soil_kept.py`). The tests of the soil model call
    it directly, and an answer still looks for its soil in its own cache first.
    """
    patched.setattr(soil_kept, "KeptSoil", partial(KeptSoil, model=_soil))
    for function in (answer, build):
        patched.setitem(function.__kwdefaults__, "soil_model", _soil)


MOST_STATES = 60
_states: dict[bytes, Any] = {}


def _kept(function: Callable[..., Any]) -> Callable[..., Any]:
    """A function that remembers its latest results by all that they are made from."""

    def once(*args: Any, **how: Any) -> Any:
        if how.pop("tables", PACKAGED) is not PACKAGED:
            raise AssertionError("the state by other science values is never remembered")
        model = {"soil_model": how.pop("soil_model")} if "soil_model" in how else {}
        key = blake2b(pickle.dumps((function.__name__, args, sorted(how.items())))).digest()
        if key not in _states:
            _states[key] = found = function(*args, **how, **model)
            _frozen(found)
            if len(_states) > MOST_STATES:
                del _states[next(iter(_states))]
        return _states[key]

    return once


def _frozen(found: Any) -> None:
    """Nobody may write into the arrays of a result."""
    if isinstance(found, np.ndarray):
        found.flags.writeable = False
    elif isinstance(found, dict | tuple | list):
        for item in found.values() if isinstance(found, dict) else found:
            _frozen(item)
    elif is_dataclass(found):
        for field in fields(found):
            _frozen(getattr(found, field.name))


@pytest.fixture
def states_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """The futures and the state of a site are worked out once for the same site, weather and looks.

    For tests of what is made of them. One that changes how they come about must not ask for it.
    """
    monkeypatch.setattr("windowcast.programme.answer.build", _kept(build))
    monkeypatch.setattr(review, "build", _kept(build))
    monkeypatch.setattr("windowcast.programme.answer.members_of", _kept(members))


_fault = catalogue.fault


@pytest.fixture(scope="session", autouse=True)
def _no_missing_words(patched: pytest.MonkeyPatch) -> None:
    """A phrase without its text or a value, or written as it is, fails the test that meets it."""

    def fault(phrase: Phrase, problem: str) -> str:
        raise AssertionError(f"phrase {phrase.id} {problem}")

    def told(phrase: Phrase, spec: str = "") -> str:
        raise AssertionError(f"phrase {phrase.id} is written without the catalogue")

    patched.setattr(catalogue, "fault", fault)
    patched.setattr(Phrase, "__str__", told)
    patched.setattr(Phrase, "__format__", told)


@pytest.fixture(scope="session", autouse=True)
def _said_has_words(patched: pytest.MonkeyPatch, _no_missing_words: None) -> None:
    """What is said in a test can be put into words, whether or not the test reads them.

    Each id is worded once, and again when it is given more values or fewer.
    """
    plain, known = say, set[tuple[str, int]]()

    def worded(phrase_id: str, /, **values: Value) -> Phrase:
        said = Phrase(phrase_id, tuple(values.items()))  # as `say` itself
        if (kind := (phrase_id, len(values))) not in known:
            assert phrase_id, "NOTHING says nothing"
            known.add(kind)
            METRIC.text(said)
        return said

    for module in list(sys.modules.values()):
        if isinstance(module, ModuleType) and vars(module).get("say") is plain:
            patched.setattr(module, "say", worded)


OTHERS = [lang for lang in LANGUAGES if lang != "en"]
# also what pydantic says, and an error that is given its place
IN_ENGLISH = (*ENGLISH, "core/validation.py", "core/errors.py")


@pytest.fixture(scope="session", autouse=True)
def _errors_have_words(patched: pytest.MonkeyPatch) -> None:
    """An error of the package has its text in each other language, whatever it is put together of.

    Those that stay in English are listed in `error_texts`.
    """
    made = InputError.__init__

    def checked(self: InputError, problem: str, **more: Any) -> None:
        made(self, problem, **more)
        package, _, module = sys._getframe(1).f_globals["__name__"].partition(".")
        if package != "windowcast" or f"{module.replace('.', '/')}.py".startswith(IN_ENGLISH):
            return
        for text in filter(None, (problem, self.remedy)):
            for lang in OTHERS:
                known = text.startswith("use ") or translated(text, lang) != text
                assert known, f"{text!r} of windowcast.{module} has no text in {lang}"

    patched.setattr(InputError, "__init__", checked)


@pytest.fixture
def real_fault() -> Callable[[Phrase, str], str]:
    """What a reader gets where a text is missing."""
    return _fault


@cache
def _worded(phrase: Phrase) -> str:
    return METRIC.text(phrase)


@pytest.fixture
def limits_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Reason and remedy of each limit that a rule makes are put into words."""
    made = _Said.__call__

    def said(self: _Said, *args: Any, **more: Any) -> Limit:
        limit = made(self, *args, **more)
        assert _worded(limit.reason)
        assert limit.remedy is NOTHING or _worded(limit.remedy)
        return limit

    monkeypatch.setattr(_Said, "__call__", said)


@pytest.fixture
def data() -> Path:
    """The folder of credited samples; see its ORIGIN.md."""
    return DATA
