"""Has a descriptor bytes to read right now?"""

from __future__ import annotations

import select
from collections.abc import Callable


def readable(descriptor: int) -> Callable[[], bool]:
    """A question about one open descriptor, answered without waiting."""
    if hasattr(select, "poll"):
        poller = select.poll()
        poller.register(descriptor, select.POLLIN)
        return lambda: bool(poller.poll(0))
    return lambda: bool(select.select([descriptor], [], [], 0)[0])
