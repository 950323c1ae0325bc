"""What the served pages leave in memory: RSS of the real server after 500 requests, and after more.

    python benchmarks/bench_web_memory.py [--requests 5000]

One run starts the server on the sample, asks every main page in turn over loopback, in both
languages, and prints what each page costs and how much larger the server is at the end [MB].
The aim: less than 10 MB for 5,000 requests.
"""

from __future__ import annotations

import argparse
import http.client
import json
import time
from pathlib import Path

from bench_web import server_of

PAGES = (
    "/", "/s/{site}/today", "/s/{site}/season", "/s/{site}/plan", "/s/{site}/plan/seasons",
    "/s/{site}/plan/tank", "/s/{site}/plan/crew", "/s/{site}/log", "/s/{site}/log/new/application",
    "/s/{site}/review", "/s/{site}/compare", "/s/{site}/settings", "/s/{site}/page.html",
    "/s/{site}/calendar.ics", "/s/{site}/message.txt", "/api/sites", "/api/sites/{site}/rank",
    "/api/sites/{site}/season", "/weeds", "/actives", "/trials", "/regions/", "/new", "/nowhere",
    "/healthz", "/kept.js", "/manifest.webmanifest",
)  # fmt: skip
WARM = 500
LANGS = ("en", "es")


def rss_mb(pid: int) -> float:
    """Resident memory of a process [MB]."""
    text = Path(f"/proc/{pid}/status").read_text()
    return int(text.split("VmRSS:")[1].split()[0]) / 1024


def measured(requests: int) -> dict[str, object]:
    """RSS after the warm-up and after so many requests more, and answers by status."""
    with server_of() as (port, pid):
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        connection.request("GET", "/api/sites")
        site = json.loads(connection.getresponse().read())[0]["id"]
        statuses: dict[str, int] = {}
        sizes = []
        for number in range(WARM + requests + 1):
            if number in (WARM, WARM + requests) or (number > WARM and number % 1000 == WARM):
                sizes.append(round(rss_mb(pid), 1))
            path = PAGES[number % len(PAGES)].format(site=site)
            lang = LANGS[number // len(PAGES) % 2]
            connection.request("GET", path, headers={"Accept-Language": lang})
            answer = connection.getresponse()
            answer.read()
            statuses[str(answer.status)] = statuses.get(str(answer.status), 0) + 1
        return {"rss_mb": sizes, "grown_mb": round(sizes[-1] - sizes[0], 1), "answers": statuses}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--requests", type=int, default=5000)
    start = time.perf_counter()
    print(json.dumps(measured(parser.parse_args().requests), indent=1))
    print(f"{time.perf_counter() - start:.0f} s")
