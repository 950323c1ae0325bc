"""The commands of a page, run as a reader would run them: one folder, one block after the other.

A block begins with ```console. In it ``$ windowcast …`` is run in this process, ``$ echo $?`` says
how the command before it ended, and the lines below are what is to be seen: all of it, its
beginning (then ``...`` ends it), its end (then ``...`` begins it); no lines, nothing to compare.
A ```toml block does what the sentence above it says: *write* a file, *add* to its end, or *take the
# away* from lines. Ids of log entries are chance, so one is as good as another.

``python tests/console_blocks.py docs/tutorial.md`` writes into a page what its commands print now.
"""

from __future__ import annotations

import io
import os
import re
import shlex
import signal
import subprocess
import sys
import tempfile
import urllib.request
from collections.abc import Iterator, Sequence
from contextlib import chdir, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from pathlib import Path

from windowcast.cli import main

CUT = "..."
_FENCED = re.compile(r"^```(console|toml)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
_STEP = re.compile(r"^\$ ((?:.*\\\n)*.*)\n((?:(?!\$ ).*\n)*)", re.MULTILINE)
_ID = re.compile(r"^[0-9a-f]{8}(?=  )", re.MULTILINE)
_FILE = re.compile(r"`([\w.-]+\.toml)`")


@dataclass(frozen=True)
class Block:
    """A fenced block: what it is, what stands in it and in the paragraph above, and where."""

    kind: str
    text: str
    above: str
    start: int


@dataclass(frozen=True)
class Step:
    """A command, the lines that are shown below it, and where these begin in the page."""

    command: str
    shown: tuple[str, ...]
    start: int


@dataclass(frozen=True)
class Seen:
    """What a command printed, and how it ended."""

    lines: tuple[str, ...]
    status: int


def blocks(page: str) -> list[Block]:
    """The blocks of a page that do something."""
    found = []
    for match in _FENCED.finditer(page):
        above = page[: match.start()].rstrip().rpartition("\n\n")[2]
        found.append(Block(match[1], match[2], " ".join(above.split()), match.start(2)))
    return found


def steps(block: Block) -> Iterator[Step]:
    """The commands of a block; one that ends in a backslash goes on in the next line."""
    for match in _STEP.finditer(block.text):
        command = " ".join(match[1].replace("\\\n", " ").split())
        yield Step(command, tuple(match[2].splitlines()), block.start + match.start(2))


def run(command: str) -> Seen:
    """Run the words of a command line in this folder."""
    program, *words = shlex.split(command)
    assert program == "windowcast", f"not a command of windowcast: {command}"
    if words[0] == "serve":
        return _serve(words)
    printed, status = io.StringIO(), 0
    with redirect_stdout(printed), redirect_stderr(printed):
        try:
            main(words)
        except SystemExit as end:
            status = int(end.code or 0)
    return Seen(tuple(printed.getvalue().rstrip("\n").split("\n")), status)


def _serve(words: Sequence[str]) -> Seen:
    """Serve until the page has answered once."""
    running = subprocess.Popen(
        [sys.executable, "-m", "windowcast", *words, "--port", "0"],
        stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert running.stdout is not None
        address = running.stdout.readline().split()[1]
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        with browser.open(address, timeout=60) as answer:  # fails where the page does
            assert answer.read()
        running.send_signal(signal.SIGTERM)
        assert running.wait(20) in {0, -signal.SIGTERM}
    finally:
        running.kill()
        running.wait(10)
    return Seen((), 0)


def change(block: Block) -> None:
    """Do to a file what the sentence above a TOML block says."""
    path = Path(_FILE.findall(block.above)[-1])
    said = block.above.lower()
    if "take the `#` away" in said:
        text = path.read_text("utf-8")
        for line in block.text.splitlines():
            assert text.count(f"\n# {line}\n") == 1, f"{path} has no line '# {line}'"
            text = text.replace(f"\n# {line}\n", f"\n{line}\n")
    elif "end of" in said:
        text = f"{path.read_text('utf-8')}\n{block.text}"
    else:
        assert said.startswith("write"), f"what becomes of {path}?"
        text = block.text
    path.write_text(text, "utf-8")


def part_of(shown: Sequence[str], seen: Sequence[str]) -> tuple[str, ...]:
    """The part of what was seen that stands in the place of what is shown."""
    if shown[-1] == CUT:
        return (*seen[: len(shown) - 1], CUT)
    if shown[0] == CUT:
        return (CUT, *seen[len(seen) - len(shown) + 1 :])
    return tuple(seen)


def alike(lines: Sequence[str]) -> str:
    """Lines without what is chance."""
    return _ID.sub("id", "\n".join(lines))


def followed(page: str) -> Iterator[tuple[Step, Seen]]:
    """Do all that a page says, in this folder; each command with what came of it."""
    before = Seen((), 0)
    for block in blocks(page):
        if block.kind == "toml":
            change(block)
            continue
        for step in steps(block):
            if step.command == "echo $?":
                yield step, Seen((str(before.status),), 0)
                before = Seen((), 0)
                continue
            assert before.status == 0, f"before '{step.command}': {before.lines}"
            before = run(step.command)
            yield step, before


def as_it_is(page: str) -> str:
    """A page with what its commands print now."""
    for step, seen in reversed(list(followed(page))):
        if not step.shown:
            continue
        now = part_of(step.shown, seen.lines)
        if alike(step.shown) != alike(now):
            before, after = page[: step.start], page[step.start :]
            after = "\n".join(after.split("\n")[len(step.shown) :])
            page = "\n".join([before + now[0], *now[1:], after])
    return page


if __name__ == "__main__":
    for name in sys.argv[1:]:
        path = Path(name).resolve()
        with tempfile.TemporaryDirectory() as folder, chdir(folder):
            os.environ |= {
                "WINDOWCAST_CACHE": f"{folder}/c",
                "XDG_DATA_HOME": folder,
                "COLUMNS": "80",
            }
            path.write_text(as_it_is(path.read_text("utf-8")), "utf-8")
