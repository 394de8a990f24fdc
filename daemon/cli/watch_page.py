"""The fleet as one page on this machine, beside the table in the terminal; it only looks."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response, StreamingResponse
from starlette.routing import Route

from daemon.cli.watch_fleet import BenchSeen, Fleet
from daemon.results.markup import Html, element, joined
from daemon.results.numbers import counted, duration, fixed
from daemon.service.gate import Gate
from daemon.service.web_server import LOOPBACK, Server, config, listening_on, until_answering
from daemon.web.frame import badge, heart, page, part
from daemon.web.news import News
from daemon.web.routes import EVENT_STREAM, file_routes

_WHOSE = "the watcher"


class FleetPage:
    """The cards of all benches, drawn when the watcher looks; an open page is sent what has changed."""

    def __init__(self) -> None:
        self._benches = Html("")
        self._quiet_s, self._busy = 0.0, False
        self._leaving = asyncio.Event()

    def draw(self, fleet: Fleet) -> None:
        """Take the fleet as it is now."""
        self._benches = cards(fleet)
        under_way = [one.quiet_s for one in fleet.benches.values() if one.on_its_way]
        self._quiet_s, self._busy = min(under_way, default=0.0), bool(under_way)

    @asynccontextmanager
    async def served(self, port: int) -> AsyncIterator[str]:
        """Its address on loopback, until left (port 0: any that is free); raises OSError."""
        with listening_on(port, "Otherwise give another --page.") as listening:
            own = listening.getsockname()[1]
            server = Server(config(Gate(Starlette(routes=self._routes()), own)))
            answering = asyncio.create_task(server.serve(sockets=[listening]))
            try:
                await until_answering(server, answering)
                yield f"http://{LOOPBACK}:{own}"
            finally:
                self._leaving.set()
                server.should_exit = True
                await asyncio.gather(answering, return_exceptions=True)

    def _routes(self) -> list[Route]:
        looks = (("/", self._whole), ("/live", self._news))
        return [*(Route(path, look, methods=["GET"]) for path, look in looks), *file_routes()]

    async def _whole(self, _: Request) -> Response:
        header = element("header", element("h1", "All benches"), heart())
        return HTMLResponse(
            page("All benches", "/live", header, part("benches", self._benches), whose=_WHOSE)
        )

    async def _news(self, _: Request) -> Response:
        news = News(lambda: {"benches": self._benches}, dict, lambda: self._quiet_s, lambda: self._busy)
        return StreamingResponse(news.stream(self._leaving), media_type=EVENT_STREAM)


def cards(fleet: Fleet) -> Html:
    """A card a bench; those that call for a person come first, and being blind before all."""
    if not fleet.connected:
        return element("p", f"BLIND: {fleet.problem}", cls="calls", role="alert")
    benches = fleet.ordered()
    calling = sum(bool(one.calls) for one in benches)
    head = element("p", f"{counted(len(benches), 'bench', 'benches')}, {calling} calling", cls="big")
    return joined([head, element("div", joined(_card(one) for one in benches), cls="cards")])


def _card(one: BenchSeen) -> Html:
    calls = [element("p", one.calls, cls="calls", role="alert")] if one.calls else []
    lines = (
        one.title,
        f"source {fixed(one.temperature_c, 2, '°C')}" if one.temperature_c is not None else "",
        f"point {one.point}" if one.point else "",
        one.verdict,
        f"heard {duration(one.quiet_s)} ago, daemon {one.status}",
    )
    told = [element("p", line) for line in lines if line]
    return element(
        "article", element("h2", one.name), element("p", badge(one.state or "idle"), cls="big"), *calls, *told
    )
