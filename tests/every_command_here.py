"""Runs every command in one process, which spares the start of each.

Its words are FOLDER OUTPUT TABLE.json. Each command prints to OUTPUT: a file, a device, or "-" for
a pipe that nobody reads. The table has exit code and errors by command.
"""

from __future__ import annotations

import io
import json
import os
import shutil
import sys
import warnings
from pathlib import Path

from every_command import COMMANDS, words_of

# named with -X warn_default_encoding: files are UTF-8 whatever the machine's own encoding is
warnings.filterwarnings("ignore", category=EncodingWarning)
warnings.filterwarnings("error", category=EncodingWarning, module=r"windowcast\b")


def _ended(command: str, folder: Path, output: int, into: Path) -> tuple[object, str]:
    from windowcast.cli import main

    os.dup2(output, 1)
    sys.stdout = open(1, "w", encoding="utf-8", closefd=False)  # noqa: SIM115
    kept, code = os.dup(2), 0
    with into.open("wb") as errors:
        os.dup2(errors.fileno(), 2)
        sys.stderr = io.TextIOWrapper(os.fdopen(2, "wb", closefd=False), "utf-8")
        try:
            main(words_of(command, folder))
        except SystemExit as end:
            code = end.code or 0  # type: ignore[assignment]
        try:
            sys.stdout.flush()  # as the interpreter does at its end, where it would end with 120
        except OSError as error:
            if not code:
                sys.stderr.write(f"at the end: {error}")
            sys.stdout = io.StringIO()
        sys.stderr.flush()
        os.dup2(kept, 2)
        os.close(kept)
    return code, into.read_text(encoding="utf-8")


def _run(stock: Path, output: str, table: Path) -> None:
    found = {}
    for command in COMMANDS:
        own = shutil.copytree(stock, table.parent / command.replace(" ", "-"))
        os.chdir(own)
        if output == "-":
            read, write = os.pipe()
            os.close(read)
        else:
            write = os.open(output, os.O_WRONLY | os.O_CREAT, 0o666)
        found[command] = _ended(command, own, write, table.with_suffix(".err"))
        os.close(write)
    table.write_text(json.dumps(found), encoding="utf-8")


if __name__ == "__main__":
    _run(Path(sys.argv[1]), sys.argv[2], Path(sys.argv[3]))
