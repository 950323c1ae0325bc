"""The local web page under load, and the time of Today against an empty template.

    python benchmarks/bench_web.py [--seconds 20] [--readers 50] [--dripping 250]

One run starts the real server on the sample and measures, on loopback:
1. 50 readers for 20 s on Today, and the same on the static style sheet: errors (a page other than
   the one a lone reader gets is one), median, p95; with --dripping, beside clients that never
   finish a request and come again when they are closed;
2. one reader, 200 requests: Today from the warm cache and the error page of an unknown site,
   which is the same frame around an empty body.
"""

from __future__ import annotations

import argparse
import http.client
import json
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def server_of() -> Iterator[tuple[int, int]]:
    """Port and process of a server on the sample."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port: int = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, "-m", "windowcast", "serve", folder, "--port", str(port)]
        process = subprocess.Popen([*command, "--offline", "--no-token"], stdout=subprocess.DEVNULL)
        try:
            for _ in range(150):
                try:
                    fetch(http.client.HTTPConnection("127.0.0.1", port, timeout=60), "/")
                    break
                except OSError:
                    time.sleep(0.2)
            yield port, process.pid
        finally:
            process.terminate()
            process.wait(10)


@contextmanager
def server() -> Iterator[int]:
    with server_of() as (port, _):
        yield port


# what differs between two answers of one page: the proof of its forms, the second it was made
VARYING = re.compile(rb"[0-9a-f]{64}|<div[^\n]*data-made[^\n]*")


def fetch(connection: http.client.HTTPConnection, path: str) -> tuple[int, bytes]:
    connection.request("GET", path)
    answer = connection.getresponse()
    return answer.status, re.sub(
        rb"[0-9a-f]{64}|<div[^\n]*data-made[^\n]*", b"proof", answer.read()
    )


def drip(port: int, count: int, end: float) -> None:
    """Clients that send a byte of a head each second, until `end` of the clock."""
    clients: list[socket.socket] = []
    while time.perf_counter() < end:
        for client in list(clients):
            try:
                client.send(b"x")
            except OSError:
                clients.remove(client)
                client.close()
        while len(clients) < count:
            client = socket.create_connection(("127.0.0.1", port))
            client.send(b"GET / HTTP/1.1\r\nHost: ")
            clients.append(client)
        time.sleep(1)
    for client in clients:
        client.close()


def load(port: int, path: str, *, readers: int, seconds: float, dripping: int) -> dict[str, float]:
    """Readers that ask again and again; milliseconds."""
    times: list[float] = []
    faults = 0
    lock = threading.Lock()
    right = fetch(http.client.HTTPConnection("127.0.0.1", port, timeout=60), path)
    end = time.perf_counter() + seconds

    def read() -> None:
        nonlocal faults
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        own, wrong = [], 0
        while time.perf_counter() < end:
            start = time.perf_counter()
            try:
                wrong += fetch(connection, path) != right
            except (OSError, http.client.HTTPException):
                wrong += 1
                connection.close()
            own.append(1000 * (time.perf_counter() - start))
        with lock:
            times.extend(own)
            faults += wrong

    threads = [threading.Thread(target=read) for _ in range(readers)]
    if dripping:
        threads.append(threading.Thread(target=drip, args=(port, dripping, end)))
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    ordered = sorted(times)
    return {
        "requests": len(ordered),
        "errors": faults,
        "median_ms": round(ordered[len(ordered) // 2], 1),
        "p95_ms": round(ordered[int(0.95 * len(ordered))], 1),
        "per_s": round(len(ordered) / seconds, 1),
    }


def alone(port: int, path: str, count: int = 200) -> float:
    """Median milliseconds of one reader."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
    times = []
    for _ in range(count):
        start = time.perf_counter()
        fetch(connection, path)
        times.append(1000 * (time.perf_counter() - start))
    return round(statistics.median(times), 2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--readers", type=int, default=50)
    parser.add_argument("--dripping", type=int, default=0)
    options = parser.parse_args()
    with server() as port:
        today, empty = alone(port, "/s/sample/today"), alone(port, "/s/none/today")
        loads = {
            path: load(
                port,
                path,
                readers=options.readers,
                seconds=options.seconds,
                dripping=options.dripping,
            )
            for path in ("/static/windowcast.css", "/s/sample/today")
        }
    static, page = loads.values()
    report = {
        "today_median_ms": today,
        "empty_template_median_ms": empty,
        "today_over_empty": round(today / empty, 2),
        "readers": options.readers,
        "dripping": options.dripping,
        "seconds": options.seconds,
        "static_file": static,
        "today": page,
        "p95_today_over_static": round(page["p95_ms"] / static["p95_ms"], 2),
    }
    print(json.dumps(report, indent=2))


if __name__ == "__main__":
    main()
