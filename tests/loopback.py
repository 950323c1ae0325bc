"""A real HTTP server on this machine that replays answers and injects faults.

`Loopback.routes` maps a path (query included) to an `Answer`, or to a list of them, given out
one by one with the last repeated. Every request is kept in `Loopback.requests`.
"""

from __future__ import annotations

import hashlib
import socket
import socketserver
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from email.utils import formatdate

GZIP = "application/gzip"
JSON = "application/geo+json"
REASONS = {200: "OK", 301: "Moved Permanently", 302: "Found", 304: "Not Modified"}


@dataclass
class Answer:
    """What the server sends.

    `fault` is one of: "" (none), "hang" (no answer at all), "drip-header", "drip-body" (a byte
    now and then), "silent" (half the body, then nothing), "cut" (half the body, then closed),
    "reset" (half the body, then a TCP reset), "refuse" (closed before any answer).
    """

    body: bytes = b""
    status: int = 200
    type: str = JSON
    headers: dict[str, str] = field(default_factory=dict)
    fault: str = ""
    date_shift_s: float = 0.0
    chunked: bool = False


@dataclass
class Seen:
    path: str
    headers: dict[str, str]
    text: str  # everything the client sent


class Loopback:
    """The server; use `serving()`."""

    def __init__(self) -> None:
        self.routes: dict[str, Answer | list[Answer]] = {}
        self.requests: list[Seen] = []
        self.connections = 0
        self.closing = threading.Event()
        self._lock = threading.Lock()
        outer = self

        class Handler(socketserver.BaseRequestHandler):
            def handle(self) -> None:
                outer._serve(self.request)

        class Server(socketserver.ThreadingTCPServer):
            allow_reuse_address = True
            daemon_threads = True
            request_queue_size = 64

        self._server = Server(("127.0.0.1", 0), Handler)
        self.port: int = self._server.server_address[1]
        self.url = f"http://127.0.0.1:{self.port}"

    def paths(self) -> list[str]:
        """Paths asked so far."""
        return [seen.path for seen in self.requests]

    def _pick(self, path: str) -> Answer:
        with self._lock:
            planned = self.routes.get(path, Answer(b"{}", 404))
            if isinstance(planned, list):
                return planned.pop(0) if len(planned) > 1 else planned[0]
            return planned

    def _serve(self, sock: socket.socket) -> None:
        with self._lock:
            self.connections += 1
        stream = sock.makefile("rb")
        try:
            while not self.closing.is_set():
                first = stream.readline()
                if not first:
                    return
                lines = [first]
                while (line := stream.readline()).strip():
                    lines.append(line)
                path = first.split()[1].decode()
                pairs = (line.decode().split(":", 1) for line in lines[1:])
                headers = {name.strip().lower(): value.strip() for name, value in pairs}
                with self._lock:
                    text = b"".join(lines).decode()
                    self.requests.append(Seen(path, headers, text))
                if not self._send(sock, self._pick(path), headers):
                    return
        except OSError:
            return

    def _send(self, sock: socket.socket, answer: Answer, asked: dict[str, str]) -> bool:
        """Send one answer; False when the connection ends with it."""
        fault, body = answer.fault, answer.body
        if fault == "refuse":
            return False
        if fault == "hang":
            self.closing.wait(30)
            return False
        tag = f'"{hashlib.md5(body).hexdigest()}"'
        status = answer.status
        if status == 200 and asked.get("if-none-match") == tag:
            status, body = 304, b""
        headers = {
            "Date": formatdate(time.time() + answer.date_shift_s, usegmt=True),
            "Content-Type": answer.type,
            "ETag": tag,
            **({} if answer.chunked else {"Content-Length": str(len(body))}),
            **({"Transfer-Encoding": "chunked"} if answer.chunked else {}),
            **answer.headers,
        }
        head = f"HTTP/1.1 {status} {REASONS.get(status, 'Status')}\r\n"
        head += "".join(f"{name}: {value}\r\n" for name, value in headers.items() if value)
        start = head.encode() + b"\r\n"
        if fault.startswith("drip"):
            sent = start if fault == "drip-header" else body
            if fault == "drip-body":
                sock.sendall(start)
            for at in range(len(sent)):
                if self.closing.wait(0.05):
                    return False
                sock.sendall(sent[at : at + 1])
            return False
        if fault in ("silent", "cut", "reset"):
            half = body[: len(body) // 2]
            if answer.chunked:
                half = b"%x\r\n%b\r\n" % (len(half), half)
            sock.sendall(start + half)
            if fault == "silent":
                self.closing.wait(30)
            if fault == "reset":
                time.sleep(0.05)
                sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            sock.close()
            return False
        if answer.chunked:
            body = b"%x\r\n%b\r\n0\r\n\r\n" % (len(body), body)
        sock.sendall(start + body)
        return True

    def start(self) -> None:
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def stop(self) -> None:
        self.closing.set()
        self._server.shutdown()
        self._server.server_close()


@contextmanager
def serving() -> Iterator[Loopback]:
    """A running server, stopped at the end."""
    server = Loopback()
    server.start()
    try:
        yield server
    finally:
        server.stop()


def closed_port() -> int:
    """A port on which nobody listens."""
    with socket.socket() as sock:
        sock.bind(("127.0.0.1", 0))
        port: int = sock.getsockname()[1]
        return port
