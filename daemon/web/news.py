"""Server-sent events: the parts of a page that have changed, and how long nothing has moved."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable

Parts = Callable[[], dict[str, str]]

QUICK_S = 1.0
SLOW_EVERY = 15


class News:
    """One open page. Only what has changed is sent; a page that is slow is sent the newest only."""

    def __init__(
        self, quick: Parts, slow: Parts, quiet_s: Callable[[], float], busy: Callable[[], bool]
    ) -> None:
        self._quick, self._slow, self._quiet_s, self._busy = quick, slow, quiet_s, busy
        self._sent: dict[str, int] = {}

    async def stream(self, leaving: asyncio.Event) -> AsyncIterator[bytes]:
        """Until the page or the daemon goes away."""
        number = 0
        while not leaving.is_set():
            parts = await asyncio.to_thread(self._quick)
            if number % SLOW_EVERY == 0:
                parts |= await asyncio.to_thread(self._slow)
            number += 1
            yield self._event(parts)
            try:
                await asyncio.wait_for(leaving.wait(), QUICK_S)
            except TimeoutError:
                continue

    def _event(self, parts: dict[str, str]) -> bytes:
        changed = {name: text for name, text in parts.items() if self._sent.get(name) != hash(text)}
        self._sent |= {name: hash(text) for name, text in changed.items()}
        told = {"quiet_s": round(self._quiet_s(), 2), "busy": self._busy(), "parts": changed}
        return b"data: " + json.dumps(told, ensure_ascii=False).encode() + b"\n\n"
