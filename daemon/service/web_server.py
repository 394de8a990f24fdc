"""One web server on loopback: for the daemon's pages and for the watcher's."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from daemon.service.gate import Gate

LOOPBACK = "127.0.0.1"
_LEAVE_WITHIN_S = 2
_MOST_REQUESTS = 200


class Server(uvicorn.Server):
    """Leaves signals to whoever runs it."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Signals are the daemon's own affair: a run is halted before anything closes."""
        yield


def config(app: Gate) -> uvicorn.Config:
    """No log of its own, no websockets, not more requests at once than a room full of pages makes."""
    return uvicorn.Config(
        app,
        log_config=None,
        access_log=False,
        lifespan="off",
        server_header=False,
        timeout_graceful_shutdown=_LEAVE_WITHIN_S,
        limit_concurrency=_MOST_REQUESTS,
        ws="none",
    )


@contextmanager
def listening_on(port: int, otherwise: str) -> Iterator[socket.socket]:
    """A loopback socket; raises OSError in words that end with what else to do."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, port))
        except OSError as error:
            raise OSError(
                f"port {port} of this machine is taken ({error.strerror}): is another daemon running? "
                f"{otherwise}"
            ) from error
        yield listening


async def until_answering(server: uvicorn.Server, answering: asyncio.Task[None]) -> None:
    """Return when requests are answered; raises OSError."""
    while not server.started:
        if answering.done():
            answering.result()
            raise OSError("the web server ended before it had begun.")
        await asyncio.sleep(0.01)
