"""What a server is started with: the options, checked, and written again as words of a command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import Any

import click

from windowcast.cli.options import deadline_option, given_deadline_s
from windowcast.cli.serve_address import check_tls, is_loopback
from windowcast.core.errors import InputError

PORT = 8765
_FILE = click.Path(dir_okay=False, path_type=Path)
_OPTIONS = (
    click.argument("place", required=False, type=click.Path(path_type=Path)),
    click.option("--host", help="Address to listen on  [default: 127.0.0.1]"),
    click.option(
        "--lan", is_flag=True, help="Let phones in the same network in, as --host 0.0.0.0."
    ),
    click.option("--port", default=PORT, show_default=True, type=click.IntRange(0, 65535)),
    click.option("--name", "names", multiple=True, help="Host name the page is asked for by."),
    click.option(
        "--token-file",
        type=_FILE,
        metavar="FILE",
        help="The secret that the page asks for; made if it is not there  [default: in your own "
        "data folder, or what WINDOWCAST_TOKEN says]",
    ),
    click.option(
        "--no-token", is_flag=True, help="Ask for none: everyone on this machine may look."
    ),
    click.option("--tls-cert", type=_FILE, metavar="FILE", help="Certificate (PEM), for https."),
    click.option(
        "--tls-key", type=_FILE, metavar="FILE", help="Its key, where that is a file of its own."
    ),
    click.option(
        "--regions",
        type=click.Path(file_okay=False, path_type=Path),
        metavar="FOLDER",
        help="Also show the comparison that windowcast compare wrote there.",
    ),
    click.option("--offline", is_flag=True, help="Use only files and what is cached."),
    deadline_option,
)


@dataclass(frozen=True)
class Serving:
    """What a server is started with; `Serving.checked` makes one from what the options say."""

    place: Path | None
    host: str
    port: int
    names: tuple[str, ...]
    token_file: Path | None
    no_token: bool
    tls_cert: Path | None
    tls_key: Path | None
    regions: Path | None
    offline: bool
    deadline_s: float | None = None

    @classmethod
    def checked(cls, *, host: str | None, lan: bool, **asked: Any) -> Serving:
        """From the options' values.

        Raises
        ------
        InputError
            Two of them contradict each other, or a file cannot be used.
        """
        if lan and host is not None:
            raise InputError("contradicts --host", field="--lan", remedy="leave one of them out")
        found = cls(host=host or ("0.0.0.0" if lan else "127.0.0.1"), **asked)
        place, regions = found.place, found.regions
        if place is not None and place.suffix == ".toml" and not place.is_file():
            raise InputError(
                "no such site file", path=place, remedy="write one with windowcast init"
            )
        if regions is not None and not (regions / "index.html").is_file():
            raise InputError(
                "holds no comparison", path=regions, remedy="make one with windowcast compare"
            )
        if found.no_token and not found.local:
            raise InputError(
                "would show the page to the whole network",
                field="--no-token",
                remedy="leave it out",
            )
        check_tls(found.tls_cert, found.tls_key)
        return found

    @property
    def local(self) -> bool:
        """Whether only this machine can ask."""
        return is_loopback(self.host)

    @property
    def secure(self) -> bool:
        """Whether it speaks https."""
        return self.tls_cert is not None

    def words(self) -> list[str]:
        """The words behind ``windowcast`` that start it, from any folder."""
        said = ["serve", *([str(self.place.absolute())] if self.place else [])]
        said += ["--host", self.host, "--port", str(self.port)]
        for name in self.names:
            said += ["--name", name]
        files = {
            "--token-file": self.token_file,
            "--tls-cert": self.tls_cert,
            "--tls-key": self.tls_key,
            "--regions": self.regions,
        }
        for option, path in files.items():
            said += [option, str(path.absolute())] if path is not None else []
        said += ["--deadline", f"{self.deadline_s:g}"] if self.deadline_s is not None else []
        said += ["--no-token"] if self.no_token else []
        return [*said, "--offline"] if self.offline else said


def own_folder() -> Path:
    """Where the sites lie unless another place is named."""
    import platformdirs

    return platformdirs.user_data_path("windowcast") / "sites"


def serving_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options of a server to a command, which gets them checked as ``serving``."""
    shared = ("place", "host", "lan", "port", "names", "token_file", "no_token", "tls_cert",
              "tls_key", "regions", "offline")  # fmt: skip

    @wraps(command)
    def started(*context: click.Context, **asked: Any) -> Any:
        of_server = {name: asked.pop(name) for name in shared}
        serving = Serving.checked(deadline_s=given_deadline_s(), **of_server)
        return command(*context, serving=serving, **asked)

    for option in reversed(_OPTIONS):
        started = option(started)
    return started
