"""The pages' routes. All of them only look, but one: halt, which every person on this machine may say."""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import math
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route

from daemon.web.news import News
from daemon.web.overview import benches, overview_page
from daemon.web.run_page import quick_parts, run_page, slow_parts
from daemon.web.view import BenchView, Lab

_FILES = {"style.css": "text/css", "live.js": "text/javascript", "icon.svg": "image/svg+xml"}
_FOLDER = Path(__file__).parent / "files"
_LONGEST_NAME = 80
EVENT_STREAM = "text/event-stream"


def web_routes(lab: Lab, secret: bytes, leaving: asyncio.Event) -> list[Route]:
    """Routes of all pages; `secret` makes the keys that prove that a halt came from a page of ours."""
    pages = _Pages(lab, secret, leaving)
    return [
        Route("/", pages.overview, methods=["GET"]),
        Route("/live", pages.overview_news, methods=["GET"]),
        Route("/benches/{bench}", pages.bench, methods=["GET"]),
        Route("/benches/{bench}/live", pages.bench_news, methods=["GET"]),
        Route("/benches/{bench}/halt", pages.halt, methods=["POST"]),
        *file_routes(),
    ]


def file_routes() -> list[Route]:
    """What every page of ours asks for beside itself."""
    return [Route(f"/{name}", _file(name, kind), methods=["GET"]) for name, kind in _FILES.items()]


def _file(name: str, kind: str) -> Any:
    content = (_FOLDER / name).read_bytes()

    async def give(_: Request) -> Response:
        return Response(content, media_type=kind)

    return give


class _Pages:
    def __init__(self, lab: Lab, secret: bytes, leaving: asyncio.Event) -> None:
        self._lab, self._secret, self._leaving = lab, secret, leaving

    async def overview(self, _: Request) -> Response:
        return HTMLResponse(await asyncio.to_thread(overview_page, self._lab))

    async def overview_news(self, _: Request) -> Response:
        lab = self._lab
        news = News(
            lambda: {"benches": benches(lab)},
            dict,
            lambda: min((one.quiet_s for one in lab.benches if one.busy), default=0.0),
            lambda: any(one.busy for one in lab.benches),
        )
        return StreamingResponse(news.stream(self._leaving), media_type=EVENT_STREAM)

    async def bench(self, request: Request) -> Response:
        bench = self._lab.bench(request.path_params["bench"])
        if bench is None:
            return _no_such_bench()
        return HTMLResponse(await asyncio.to_thread(run_page, bench, self._key(bench.id), *_span(request)))

    async def bench_news(self, request: Request) -> Response:
        id_ = request.path_params["bench"]
        if self._lab.bench(id_) is None:
            return _no_such_bench()
        span = _span(request)
        news = News(
            lambda: dict(quick_parts(self._view(id_))),
            lambda: dict(slow_parts(self._view(id_), *span)),
            lambda: self._view(id_).quiet_s,
            lambda: self._view(id_).busy,
        )
        return StreamingResponse(news.stream(self._leaving), media_type=EVENT_STREAM)

    async def halt(self, request: Request) -> Response:
        bench = self._lab.bench(request.path_params["bench"])
        if bench is None:
            return _no_such_bench()
        form = parse_qs((await request.body()).decode("utf-8", "replace"))
        if not hmac.compare_digest(form.get("key", [""])[0].encode(), self._key(bench.id).encode()):
            return PlainTextResponse("This did not come from the daemon's own page; nothing was done.", 403)
        who = _printable(form.get("who", [""])[0]) or "somebody at the page"
        problem = await self._lab.halt(bench.id, who, "said on the page")
        if problem:
            return PlainTextResponse(f"NOT HALTED: {problem}.", 503)
        return RedirectResponse(f"/benches/{bench.id}", status_code=303)

    def _view(self, id_: str) -> BenchView:
        bench = self._lab.bench(id_)
        assert bench is not None, "benches do not come and go while the daemon runs"
        return bench

    def _key(self, bench: str) -> str:
        return hmac.new(self._secret, f"halt {bench}".encode(), hashlib.sha256).hexdigest()


def _span(request: Request) -> tuple[float | None, float | None]:
    """The part of the night asked for, in minutes; nothing for anything that is no such part."""
    start, end = (_minutes(request.query_params.get(name)) for name in ("from", "to"))
    return (None, None) if start is None or end is None else (start, end)


def _minutes(text: str | None) -> float | None:
    try:
        value = float(text or "")
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def _printable(text: str) -> str:
    return "".join(c for c in text if c.isprintable()).strip()[:_LONGEST_NAME]


def _no_such_bench() -> Response:
    return PlainTextResponse("There is no such bench in this lab.", 404)
