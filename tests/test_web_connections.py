"""The server over real sockets: clients that drip, stall or come in crowds shut nobody out."""

from __future__ import annotations

import http.client
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager

import pytest
import uvicorn
from fuzzing import LONG
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from windowcast.web import connections
from windowcast.web.security import LOOPBACK, Guard, protected

PAGE = "the same page for all " * 4000  # 88 kB


async def _page(request: Request) -> PlainTextResponse:
    return PlainTextResponse(PAGE)


async def _taken(request: Request) -> PlainTextResponse:
    return PlainTextResponse(str(len(await request.body())))


@contextmanager
def _serving(**times: float) -> Iterator[int]:
    """A server with the limits of `serve`, but for these times; its port."""
    kept = {name: getattr(connections, name) for name in times}
    for name, value in times.items():
        setattr(connections, name, value)
    routes = [Route("/", _page), Route("/upload", _taken, methods=["POST"])]
    app = protected(Starlette(routes=routes), Guard(LOOPBACK, reads_per_s=1e6, writes_per_s=1e6))
    server = uvicorn.Server(uvicorn.Config(app, port=0, **connections.SERVER))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield server.servers[0].sockets[0].getsockname()[1]
    finally:
        server.should_exit = True
        thread.join(10)
        for name, value in kept.items():
            setattr(connections, name, value)


@pytest.fixture(scope="module")
def port() -> Iterator[int]:
    with _serving(HEAD_S=0.6, BODY_S=0.4, TAKING_S=0.5, LOOK_S=0.05, GRACE_S=0.2) as found:
        yield found


def _asked(port: int) -> bool:
    """Whether a reader gets the right page."""
    reader = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        reader.request("GET", "/")
        answer = reader.getresponse()
        return answer.status == 200 and answer.read().decode() == PAGE
    finally:
        reader.close()


def _opened(stack: ExitStack, port: int, sent: bytes) -> socket.socket:
    client = stack.enter_context(socket.create_connection(("127.0.0.1", port), timeout=5))
    client.sendall(sent)
    return client


def _closed(client: socket.socket) -> bool:
    client.settimeout(5)
    try:
        while client.recv(1 << 16):
            pass
    except ConnectionResetError:
        pass
    except TimeoutError:
        return False
    return True


def test_250_dripping_connections_shut_nobody_out(port: int) -> None:
    with ExitStack() as stack:
        drippers = [_opened(stack, port, b"GET / HTTP/1.1\r\nHost: ") for _ in range(250)]
        start = time.monotonic()
        assert _asked(port)
        assert time.monotonic() - start < 2
        for client in drippers[-20:]:
            client.send(b"x")  # dripping buys no more time
        assert all(_closed(client) for client in drippers)
        assert time.monotonic() - start < 5
    assert _asked(port)


@pytest.mark.parametrize(
    "sent",
    [
        b"",
        b"POST /upload HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nx",
    ],
)
def test_what_is_not_finished_in_time_is_closed(port: int, sent: bytes) -> None:
    with ExitStack() as stack:
        assert _closed(_opened(stack, port, sent))


def test_a_body_that_comes_steadily_is_taken(port: int) -> None:
    with ExitStack() as stack:
        head = b"POST /upload HTTP/1.1\r\nHost: localhost\r\nContent-Length: 30000\r\n\r\n"
        client = _opened(stack, port, head)
        for _ in range(10):
            client.sendall(b"x" * 3000)
            time.sleep(0.08)  # 0.8 s in all: longer than a body of a few bytes may take
        assert b"30000" in client.recv(4096)


def test_one_that_takes_nothing_of_its_answer_is_let_go(port: int) -> None:
    with ExitStack() as stack:
        client = stack.enter_context(socket.socket())
        client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        client.connect(("127.0.0.1", port))
        client.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n" * 100)
        time.sleep(1.0)
        taken = 0
        try:
            while piece := client.recv(1 << 16):
                taken += len(piece)
        except ConnectionResetError:
            pass
        assert taken < 100 * len(PAGE)


@pytest.mark.slow
def test_200_readers_at_once_beside_slow_ones() -> None:
    right: list[bool] = []

    def read() -> None:
        for _ in range(3 * LONG):
            try:
                right.append(_asked(port))
            except OSError:
                right.append(False)

    with ExitStack() as stack:
        port = stack.enter_context(_serving())
        for _ in range(60):
            _opened(stack, port, b"GET / HTTP/1.1\r\nHost: ")
        readers = [threading.Thread(target=read) for _ in range(200)]
        for reader in readers:
            reader.start()
        for reader in readers:
            reader.join()
    assert len(right) == 600 * LONG
    assert all(right)
