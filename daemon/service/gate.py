"""What every request passes first: foreign hosts and pages are turned away, large and slow bodies too.

A page from elsewhere can make a browser on this machine send requests here (by rebinding a name to
loopback, or by posting across sites); the lists of hosts and origins are what stops it.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import JSONResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 64 * 1024
BODY_WITHIN_S = 10.0
SAFE = frozenset({"GET", "HEAD"})

# With no referrer at all a browser would name no origin for our own page either, and its halt be refused.
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}


class _Refused(Exception):
    def __init__(self, code: int, sentence: str) -> None:
        self.code, self.sentence = code, sentence
        super().__init__(sentence)


class Gate:
    """ASGI middleware; `port` is the one that is listened on."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self._app = app
        self._hosts = frozenset(f"{name}:{port}" for name in ("127.0.0.1", "localhost", "[::1]"))
        self._origins = frozenset(f"http://{host}" for host in self._hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through or answer it."""
        if scope["type"] != "http":
            return  # no websockets here
        guarded = _with_headers(send)
        try:
            self._check(scope["method"], Headers(scope=scope))
            body = b"" if scope["method"] in SAFE else await _body(Headers(scope=scope), receive)
        except _Refused as refusal:
            answer = {"refused": refusal.sentence, "problems": []}
            await JSONResponse(answer, refusal.code)(scope, receive, guarded)
            return
        await self._app(scope, _again(body, receive), guarded)

    def _check(self, method: str, headers: Mapping[str, str]) -> None:
        if headers.get("host", "").lower() not in self._hosts:
            raise _Refused(403, "this daemon answers only to 127.0.0.1 and localhost.")
        if method in SAFE:
            return
        origin = headers.get("origin")
        if origin is not None and origin.lower() not in self._origins:
            raise _Refused(403, "a page from elsewhere may not speak to this daemon.")
        if headers.get("sec-fetch-site", "none") not in ("same-origin", "none"):
            raise _Refused(403, "a page from elsewhere may not speak to this daemon.")


async def _body(headers: Mapping[str, str], receive: Receive) -> bytes:
    too_large = _Refused(413, f"a body holds {LARGEST_BODY // 1024} KiB at most.")
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit() and int(length[:12]) <= LARGEST_BODY):
        raise too_large
    body: bytes = b""
    try:
        async with asyncio.timeout(BODY_WITHIN_S):
            while True:
                message = await receive()
                body += bytes(message.get("body", b""))
                if len(body) > LARGEST_BODY:
                    raise too_large
                if not message.get("more_body"):
                    return body
    except TimeoutError:
        raise _Refused(408, f"the body did not come within {BODY_WITHIN_S:.0f} s.") from None


def _again(body: bytes, receive: Receive) -> Receive:
    given = False

    async def replay() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return replay


def _with_headers(send: Send) -> Send:
    async def guarded(message: Any) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers[name] = value
        await send(message)

    return guarded
