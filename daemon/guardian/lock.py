"""One guardian at a time for one source."""

from __future__ import annotations

import socket

from daemon.guardian.orders import Way


def only_guardian_of(way: Way) -> socket.socket:
    """A name that only one guardian of a source can hold and that ends with it; raises OSError."""
    lock = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    try:
        lock.bind(f"\0ohmvigil guardian {way.kind} {way.place} {way.port}")
    except OSError:
        lock.close()
        raise
    return lock
