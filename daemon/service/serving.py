"""The daemon as a whole: one loopback socket, the benches behind it, and an orderly end."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable
from contextlib import suppress

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from daemon.notices.caller import caller_of
from daemon.service.api import api_routes, refusal
from daemon.service.calling import Calling
from daemon.service.door import Door
from daemon.service.gate import Gate
from daemon.service.lab_service import LabService
from daemon.service.log import note
from daemon.service.token import own_token
from daemon.service.web_server import LOOPBACK, Server, config, listening_on, until_answering
from daemon.web.routes import web_routes
from drivers.clock import Clock
from plans.lab import LoadedLab


async def serve(lab: LoadedLab, stop: asyncio.Event, ready: Callable[[str], None]) -> None:
    """Serve a lab until `stop` is set and every bench has parked; raises OSError, QueueError, TokenError,
    NoticeError.

    `ready` is given the address once requests are answered. Cancelling leaves at once: the processes of the
    benches then halt by themselves.
    """
    service = LabService(lab, Clock())
    token = own_token(lab.state / "token")
    caller = caller_of(lab.lab.notices, lab.path.parent, note)
    with listening_on(lab.lab.header.port, "Otherwise give another port in the lab file.") as listening:
        port = listening.getsockname()[1]
        server = Server(config(Gate(_app(service, token, stop), port)))
        answering = asyncio.create_task(server.serve(sockets=[listening]))
        benches = asyncio.create_task(service.run())
        calling = asyncio.create_task(Calling(service, caller).run())
        try:
            (lab.state / "address").write_text(f"http://{LOOPBACK}:{port}\n", encoding="ascii")
            await until_answering(server, answering)
            ready(f"http://{LOOPBACK}:{port}")
            await stop.wait()
            await service.stop("the daemon")
            await benches
            await caller.finish()
        finally:
            benches.cancel()
            calling.cancel()
            server.should_exit = True
            await asyncio.gather(answering, benches, calling, return_exceptions=True)
            with suppress(OSError):
                (lab.state / "address").unlink()


def _app(service: LabService, token: str, leaving: asyncio.Event) -> Starlette:
    pages = web_routes(Door(service), secrets.token_bytes(32), leaving)
    handlers = {404: _not_here, 405: _not_here, 500: _broken}
    return Starlette(routes=[*api_routes(service, token), *pages], exception_handlers=handlers)


async def _not_here(_: Request, error: Exception) -> Response:
    code = error.status_code if isinstance(error, HTTPException) else 404
    return refusal(code, "there is nothing here for such a request.")


async def _broken(request: Request, error: Exception) -> Response:
    note("a request broke", path=request.url.path, error=repr(error))
    return refusal(500, "the daemon's page or interface broke at this request; the runs go on.")
