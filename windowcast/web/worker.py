"""The process an uploaded file is read in: ``python -m windowcast.web.worker FILE SITE.toml``.

It gives itself limits on memory and time first, so that a hostile file can only end this process.
Exit code 2 and one line on standard error when the file is not usable.
"""

from __future__ import annotations

import sys

from windowcast.core.errors import InputError
from windowcast.web.uploads import MEMORY, SECONDS


def main(file: str, site_file: str) -> int:
    """Read a weather file under limits; the exit code."""
    if sys.platform != "win32":  # there, the parent's time limit alone holds
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    from windowcast.core.site import load_site
    from windowcast.sources.files import read_weather

    try:
        read_weather(file, place=load_site(site_file).place)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:3]))
