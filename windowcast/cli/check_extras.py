"""Which optional parts can be loaded here, tried in a process of their own."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Iterator, Sequence
from importlib.util import find_spec

from windowcast.cli.checked import Checked
from windowcast.core.extras import EXTRAS
from windowcast.core.phrase import Name, joined, names, say

_TRY = """\
import importlib, json, sys
for name in sys.argv[1:]:
    print(json.dumps([name, None]), flush=True)
    try:
        importlib.import_module(name)
        said = ""
    except BaseException as error:
        said = f"{type(error).__name__}: {error}"
    print(json.dumps([name, said]), flush=True)
"""


def extras(until: float) -> Iterator[Checked]:
    """Each optional part that is damaged, then which are there and which are not.

    Parameters
    ----------
    until
        When loading must have ended [monotonic s]; what was not reached is said to be so.
    """
    modules = dict.fromkeys(module for some in EXTRAS.values() for module in some)
    there = [module for module in modules if find_spec(module) is not None]
    loaded = tried(there, until)
    whole, missing, late = [], [], []
    for extra, needed in EXTRAS.items():
        problems = {m: loaded[m] for m in needed if loaded.get(m)}
        if problems:
            why = joined(*(Name(f"{m}: {p}") for m, p in problems.items()), join="clauses")
            what = say("doctor.extras.damaged", extra=Name(extra), problem=why)
            fix = say("doctor.extras.again", extra=Name(extra))
            yield Checked("extras", "note", what, fix, {"extra": extra, "problems": problems})
        elif any(module not in there for module in needed):
            missing.append(extra)
        elif any(module not in loaded for module in needed):
            late.append(extra)
        else:
            whole.append(extra)
    values = {"loaded": whole, "not_installed": missing, "not_tried": late}
    if late:
        what = say("doctor.extras.late", extras=names(*late))
        yield Checked("extras", "note", what, values={"not_tried": late})
    if not missing:
        yield Checked("extras", "ok", say("doctor.extras.all", extras=names(*whole)), values=values)
        return
    lacking, together = names(*missing), Name(",".join(missing))
    what = (
        say("doctor.extras.some", extras=names(*whole), missing=lacking, together=together)
        if whole
        else say("doctor.extras.none", missing=lacking, together=together)
    )
    yield Checked("extras", "ok", what, values=values)


def tried(modules: Sequence[str], until: float) -> dict[str, str]:
    """What loading each module says: "" where it is loaded; those not reached in time are left out.

    A module that ends its process, as a compiled one for another processor does, is named too.
    """
    found: dict[str, str] = {}
    left = list(modules)
    while left and (seconds := until - time.monotonic()) > 0:
        command = [sys.executable, "-P", "-c", _TRY, *left]
        try:
            done = subprocess.run(
                command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, timeout=seconds,
                check=False,
            )  # fmt: skip
            said, code = done.stdout, done.returncode
        except subprocess.TimeoutExpired as error:
            said, code = error.stdout or b"", 0
            left = []
        begun = ""
        for line in said.decode("utf-8", "replace").splitlines():
            try:
                name, problem = json.loads(line)
            except ValueError:  # something that the module itself printed
                continue
            begun = name if problem is None else ""
            if problem is not None:
                found[name] = " ".join(str(problem).split())
        if begun and code:
            found[begun] = f"exit {code}"
        elif code and not found:
            break
        left = [module for module in left if module not in found]
    return found
