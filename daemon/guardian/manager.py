"""Telling the service manager that the daemon is ready and alive (sd_notify(3): one datagram)."""

from __future__ import annotations

import os
import socket
from contextlib import suppress


def tell_manager(text: str) -> None:
    """Send "READY=1", "WATCHDOG=1" or "STOPPING=1"; does nothing where no service manager listens."""
    place = os.environ.get("NOTIFY_SOCKET")
    if not place:
        return
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as out:
        out.connect("\0" + place[1:] if place.startswith("@") else place)
        out.send(text.encode())
