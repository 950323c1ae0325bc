"""Connections of the web server: time limits for what a client sends and takes, and room for all.

A connection that has not sent a whole request yet costs its client nothing. So there is a time for
the head and the body of a request and for taking an answer. Where one address has many unfinished
requests, the oldest go as new ones come: who finishes a request is served.
"""

from __future__ import annotations

import asyncio
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

HEAD_S = 10.0  # for the head of a request, from its first byte or the connection's start
BODY_S, SLOWEST_B_S = 15.0, 8 * 1024.0  # for a body: this long, and longer by its size at this rate
TAKING_S = 30.0  # without a byte of the answer taken
LOOK_S = 0.5
MOST_UNFINISHED, GRACE_S = 32, 1.0  # of one address; those younger than this stay in any case
MOST_OPEN = 800  # below the 1024 files that a system usually allows
MOST_OF_ADDRESS = MOST_OPEN // 2


class PatientProtocol(H11Protocol):
    """HTTP as uvicorn speaks it, within the limits of this module."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.unfinished_since: float | None = None  # the head
        self._body_since: float | None = None
        self._received_b = 0
        self._unsent_b, self._unsent_since = 0, 0.0
        self._looking: asyncio.TimerHandle | None = None

    @property
    def address(self) -> str:
        """Of the client."""
        return self.client[0] if self.client else ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, or close it where its address or all together have too many."""
        super().connection_made(transport)
        self.unfinished_since = self._unsent_since = self.loop.time()
        if self._room():
            self._looking = self.loop.call_later(LOOK_S, self._look)
        else:
            transport.abort()

    def connection_lost(self, exc: Exception | None) -> None:
        """Let it go."""
        if self._looking is not None:
            self._looking.cancel()
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take bytes, and see which part of a request they end in."""
        now = self.loop.time()
        if self.conn.their_state is h11.IDLE and self.unfinished_since is None:
            self.unfinished_since = now
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self.unfinished_since = None
        if self.conn.their_state is not h11.SEND_BODY:
            self._body_since, self._received_b = None, 0
        elif self._body_since is None:
            self._body_since = now
        else:
            self._received_b += len(data)

    def on_response_complete(self) -> None:
        """Begin to wait for the next request, which uvicorn bounds."""
        self._body_since, self._received_b = None, 0
        super().on_response_complete()

    def _room(self) -> bool:
        """Whether there is room for one more; the oldest unfinished requests make it."""
        now = self.loop.time()
        others = [c for c in self.connections if isinstance(c, PatientProtocol) and c is not self]
        same = [c for c in others if c.address == self.address]
        waiting = sorted(
            (c for c in same if c.unfinished_since is not None), key=PatientProtocol._age_key
        )
        for one in waiting[: max(0, len(waiting) + 1 - MOST_UNFINISHED)]:
            if one.unfinished_since is not None and now - one.unfinished_since > GRACE_S:
                one.transport.abort()
        if len(others) >= MOST_OPEN:
            unfinished = [c for c in others if c.unfinished_since is not None]
            if not unfinished:
                return False
            min(unfinished, key=PatientProtocol._age_key).transport.abort()
        return len(same) < MOST_OF_ADDRESS or bool(waiting)

    def _age_key(self) -> float:
        return self.unfinished_since or 0.0

    def _look(self) -> None:
        """Close the connection when a limit has passed."""
        now = self.loop.time()
        unsent_b = self.transport.get_write_buffer_size()
        if not unsent_b or unsent_b != self._unsent_b:
            self._unsent_b, self._unsent_since = unsent_b, now
        body_s = BODY_S + self._received_b / SLOWEST_B_S
        if (
            (self.unfinished_since is not None and now - self.unfinished_since > HEAD_S)
            or (self._body_since is not None and now - self._body_since > body_s)
            or now - self._unsent_since > TAKING_S
        ):
            self.transport.abort()
        else:
            self._looking = self.loop.call_later(LOOK_S, self._look)


# how `windowcast serve` runs uvicorn
SERVER: dict[str, Any] = {
    "http": PatientProtocol,
    "log_level": "warning",
    "server_header": False,
    "timeout_keep_alive": 5,
    "timeout_graceful_shutdown": 10,
    "h11_max_incomplete_event_size": 64 * 1024,
}
