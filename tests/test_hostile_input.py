"""Files, redirects and host names made to break the program end in one line."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from starlette.datastructures import Headers

from windowcast import cli
from windowcast.core.errors import InputError
from windowcast.core.site import load_site
from windowcast.materials.actives import read_toml
from windowcast.records.import_export import read_changes
from windowcast.sources.files import read_weather
from windowcast.sources.http import _joined
from windowcast.web.security import host_name

READERS: tuple[Callable[[Path], object], ...] = (
    load_site, read_toml, read_weather, read_changes,
)  # fmt: skip


@pytest.mark.skipif(os.name != "posix", reason="pipes and devices have names on POSIX only")
@pytest.mark.parametrize("read", READERS)
def test_pipes_and_devices_are_refused_at_once(
    read: Callable[[Path], object], tmp_path: Path
) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    for path in (pipe, Path("/dev/zero")):
        with pytest.raises(InputError, match="is a pipe or a device"):
            read(path)


@pytest.mark.parametrize("read", [load_site, read_toml])
def test_toml_that_is_nested_too_deep_is_refused(
    read: Callable[[Path], object], tmp_path: Path
) -> None:
    file = tmp_path / "deep.toml"
    file.write_text("a = " + "[" * 3000 + "]" * 3000)
    with pytest.raises(InputError, match="nested too deep"):
        read(file)


@pytest.mark.parametrize("changes", ["null", "7", '"x"', "{}", "[7]", "[" * 100_000])
def test_an_import_whose_changes_are_none_is_refused(changes: str, tmp_path: Path) -> None:
    file = tmp_path / "log.json"
    file.write_text(f'{{"format": "season log", "schema": 1, "changes": {changes}}}')
    with pytest.raises(InputError):
        read_changes(file)


@pytest.mark.parametrize("to", ["http://[::1", "//x:99999/", "//x:-1/", "http://[x]/"])
def test_a_redirect_to_no_address_leads_nowhere(to: str) -> None:
    assert _joined("http://127.0.0.1/a", to) == ""
    assert _joined("http://127.0.0.1/a", "b") == "http://127.0.0.1/b"


@pytest.mark.parametrize(
    ("host", "name"),
    [
        ("[::1]", "::1"), ("[::1]:8765", "::1"), ("localhost:1", "localhost"), ("::1", ""),
        ("[::1].evil.com", ""), ("[::1]:80.evil.com", ""), ("localhost:evil.com", ""), ("", ""),
    ],
)  # fmt: skip
def test_a_host_is_read_whole(host: str, name: str) -> None:
    assert host_name(Headers({"host": host})) == name


def test_an_unforeseen_fault_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fails(**_: object) -> None:
        raise RuntimeError("secret\nplace")

    monkeypatch.setattr(cli.cli, "main", fails)
    for words, traced in ((["rank"], False), (["--debug", "rank"], True)):
        with pytest.raises(SystemExit) as ended:
            cli.main(words)
        said = capsys.readouterr().err
        assert ended.value.code == 1
        assert ("Traceback" in said) is traced
        assert traced or said.count("\n") == 1
