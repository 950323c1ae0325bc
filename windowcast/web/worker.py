"""The process a file is read in: ``python -m windowcast.web.worker FILE SITE.toml weather|log en``.

It gives itself limits on memory and time first, so that a hostile file can only end this process.
It prints how the file was understood as JSON: ``lines`` for people, and ``plain`` where nothing in
it left a doubt. Exit code 2 and one line on standard error when the file is not
usable, 1 and one line for an unforeseen fault, with its trace where that is asked for.
"""

from __future__ import annotations

import json
import sys

from windowcast.core.errors import InputError, traces_asked
from windowcast.core.site import Site, load_site
from windowcast.report.catalogue import Voice
from windowcast.web.incoming import MEMORY, SECONDS


def main(file: str, site_file: str, purpose: str, lang: str) -> int:
    """Read a file under limits; the exit code."""
    if sys.platform != "win32":  # there, the parent's time limit alone holds
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    try:
        site = load_site(site_file)
        voice = Voice(site.units, lang)
        read = _log if purpose == "log" else _weather
        lines, plain = read(file, site, voice)
    except InputError as error:
        parts = {"problem": error.problem, "row": error.row, "field": error.field}
        print(json.dumps(parts | {"remedy": error.remedy, "of_file": error.path is not None}))
        return 2
    except Exception as error:  # MemoryError among them: the limit on memory
        if traces_asked():
            raise
        print(InputError(f"cannot be read ({type(error).__name__})"), file=sys.stderr)
        return 1
    print(json.dumps({"lines": lines, "plain": plain}))
    return 0


def _weather(file: str, site: Site, voice: Voice) -> tuple[list[str], bool]:
    from windowcast.report.table_understood import weather_lines
    from windowcast.sources.files import read_and_understand

    record, table = read_and_understand(file, place=site.place)
    return weather_lines(record, table, voice), table is None or table.plain


def _log(file: str, site: Site, voice: Voice) -> tuple[list[str], bool]:
    from windowcast.records.by_hand import LogTableOptions
    from windowcast.records.import_export import read_log_file
    from windowcast.report.table_understood import entries_counted, import_lines

    read = read_log_file(file, None, LogTableOptions(site.zone))
    return [
        *import_lines(read, voice),
        voice.say("log.in_file", entries=entries_counted(read, voice)),
    ], False


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:5]))
