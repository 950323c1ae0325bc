"""The package's own TOML files, parsed once and then kept beside Python's compiled files."""

from __future__ import annotations

import marshal
import sys
from contextlib import suppress
from hashlib import blake2b
from importlib import resources
from importlib.util import cache_from_source
from pathlib import Path
from typing import Any

from windowcast.core.errors import InputError


def packaged_toml(package: str, *path: str) -> dict[str, Any]:
    """What a TOML file of the package says.

    Parsing the texts takes longer than an answer's arithmetic. So what was parsed stays in
    ``__pycache__``, where only those who may change the program may write. It counts as long as the
    file is the same to the byte; where it cannot be written, the file is parsed each time.

    Raises
    ------
    FileNotFoundError
        There is no such file.
    """
    file = resources.files(package).joinpath(*path)
    source = file.read_bytes()
    kept = Path(cache_from_source(str(file))).with_suffix(".marshal") if _on_disk(file) else None
    digest = blake2b(source, digest_size=16).digest()
    if kept is not None:
        with suppress(OSError, ValueError, EOFError, TypeError):
            body = kept.read_bytes()
            if body.startswith(digest):
                found: dict[str, Any] = marshal.loads(body[len(digest) :])
                return found
    import tomllib

    from windowcast.core.atomic_files import write_atomic

    found = tomllib.loads(source.decode())
    if kept is not None and not sys.dont_write_bytecode:
        with suppress(OSError, InputError):
            kept.parent.mkdir(parents=True, exist_ok=True)
            write_atomic(kept, digest + marshal.dumps(found))
    return found


def _on_disk(file: Any) -> bool:
    return isinstance(file, Path) and sys.implementation.cache_tag is not None
