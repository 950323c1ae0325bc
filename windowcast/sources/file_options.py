"""What an owner says of a file behind its name: ``FILE:key=value,key=value``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from os import PathLike, fspath

from windowcast.core.errors import InputError
from windowcast.sources.written_numbers import Mark

MARKS: Mapping[str, Mark] = {"comma": ",", "point": "."}  # values of an option ``decimal``
_SPEC = re.compile(r"^(?P<path>.+?):(?P<options>[a-z]+=[^:=,]*(?:,[a-z]+=[^:=,]*)*)$")


def split_options(
    text: str | PathLike[str], known: Mapping[str, Sequence[str]]
) -> tuple[str, dict[str, str]]:
    """The path and the options behind it.

    Parameters
    ----------
    known
        Options, each with its values; () where any is allowed.

    Raises
    ------
    InputError
        An unknown option or value.
    """
    text = fspath(text)
    match = _SPEC.match(text)
    if match is None:
        return text, {}
    options = dict(item.split("=", 1) for item in match["options"].split(","))
    for key, value in options.items():
        if key not in known:
            raise InputError(
                f"option {key!r} is not known", path=match["path"],
                remedy=f"use {', '.join(known)}",
            )  # fmt: skip
        if known[key] and value not in known[key]:
            raise InputError(
                f"{key}={value} is not known", path=match["path"],
                remedy=f"use one of {', '.join(known[key])}",
            )  # fmt: skip
    return match["path"], options
