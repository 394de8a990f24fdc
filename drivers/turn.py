"""Whose turn it is on a link: first come, first served; a halt goes to the front."""

from __future__ import annotations

import asyncio
from collections import deque


class Turn:
    """A lock that hands over in order of arrival; `urgent` callers are served next."""

    def __init__(self) -> None:
        self._taken = False
        self._waiting: deque[asyncio.Future[None]] = deque()

    @property
    def taken(self) -> bool:
        """True while somebody has the turn."""
        return self._taken

    async def take(self, urgent: bool = False) -> None:
        """Wait for the turn; the caller must `give` it back."""
        if not self._taken:
            self._taken = True
            return
        mine = asyncio.get_running_loop().create_future()
        if urgent:
            self._waiting.appendleft(mine)
        else:
            self._waiting.append(mine)
        try:
            await mine
        except asyncio.CancelledError:
            if mine.done() and not mine.cancelled():
                self.give()
            raise

    def give(self) -> None:
        """Hand the turn to the next who still wants it."""
        while self._waiting:
            following = self._waiting.popleft()
            if not following.done():
                following.set_result(None)
                return
        self._taken = False
