"""Watching the daemon: its process, the socket's end and the age of its beat, all three together."""

from __future__ import annotations

import json
import os
import select
import signal
import socket
import struct
from contextlib import suppress
from typing import Any

from daemon.guardian.now import monotonic_s
from daemon.guardian.orders import Limits

HERE_S = 1.0
LONGEST_MESSAGE = 1 << 18
DISARMED = "disarmed"


class Daemon:
    """The process at the other end of the socket, held by a descriptor that no other process can take."""

    def __init__(self, connection: socket.socket) -> None:
        credentials = connection.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, struct.calcsize("3i"))
        self.pid: int = struct.unpack("3i", credentials)[0]
        self.descriptor = os.pidfd_open(self.pid)

    def fence(self, within_s: float = 5.0) -> bool:
        """Kill it and wait until it is gone: a hung daemon that wakes up would command heat again."""
        with suppress(ProcessLookupError):
            signal.pidfd_send_signal(self.descriptor, signal.SIGKILL)
        gone = select.poll()
        gone.register(self.descriptor, select.POLLIN)
        return bool(gone.poll(within_s * 1000.0))

    def close(self) -> None:
        """Let go of the process."""
        os.close(self.descriptor)


class Watch:
    """Reads the daemon's messages and says why it must be taken for dead.

    A beat counts only when its cycle number has grown. `disarmed` ends the watch in peace; an end
    without it is a death.
    """

    def __init__(self, connection: socket.socket, daemon: Daemon, limits: Limits, digest: str) -> None:
        self._connection, self._daemon, self._limits, self._digest = connection, daemon, limits, digest
        self._poll = select.poll()
        self._poll.register(connection, select.POLLIN)
        self._poll.register(daemon.descriptor, select.POLLIN)
        self._cycle = self._judged = -1
        self._beat_s = self._judged_s = self._here_s = monotonic_s()
        self._age_s = 0.0

    def until_the_end(self) -> str:
        """Watch until the daemon disarms (DISARMED) or is dead (the cause)."""
        self._beat_s = self._judged_s = monotonic_s()
        while True:
            ready = {descriptor for descriptor, _ in self._poll.poll(1000.0 * self._next_s())}
            # What was said comes before the end of who said it.
            said = self._listen() if self._connection.fileno() in ready else ""
            if not said and self._daemon.descriptor in ready:
                said = self._listen() or "the daemon's process is gone"
            said = said or self._judge()
            if said:
                return said
            self._say_here()

    def _next_s(self) -> float:
        now_s = monotonic_s()
        dead_s = self._beat_s + self._limits.dead_after_s
        return max(0.0, min(dead_s, self._here_s + HERE_S) - now_s) + 0.001

    def _listen(self) -> str:
        """Take every message that has come; the cause when they end, DISARMED, or nothing."""
        while True:
            try:
                message = self._connection.recv(LONGEST_MESSAGE, socket.MSG_DONTWAIT)
            except BlockingIOError:
                return ""
            except OSError as error:
                return f"the daemon's socket broke: {error}"
            if not message:
                return "the daemon's socket was closed"
            if said := self._take(message):
                return said

    def _take(self, message: bytes) -> str:
        with suppress(ValueError, KeyError, TypeError, AttributeError):  # what is no beat does not count
            told = json.loads(message)
            if told["say"] == DISARMED:
                return DISARMED
            if told["say"] == "beat":
                return self._beat(
                    int(told["cycle"]), int(told["judged"]), float(told["age_s"]), told["script"]
                )
        return ""

    def _beat(self, cycle: int, judged: int, age_s: float, digest: str) -> str:
        if digest != self._digest:
            return "the daemon means another park script"
        now_s = monotonic_s()
        if cycle > self._cycle:
            self._cycle, self._beat_s = cycle, now_s
        if judged > self._judged:
            self._judged, self._judged_s = judged, now_s
        self._age_s = age_s
        return ""

    def _judge(self) -> str:
        limits, now_s = self._limits, monotonic_s()
        silent_s, unjudged_s = now_s - self._beat_s, now_s - self._judged_s
        if not silent_s <= limits.dead_after_s:
            return f"no new control cycle for {silent_s:.2f} s (last was cycle {self._cycle})"
        if not self._age_s + silent_s <= limits.stale_after_s:
            return f"the newest reading is {self._age_s + silent_s:.1f} s old"
        if not unjudged_s <= limits.stale_after_s:
            return f"the guards have judged nothing for {unjudged_s:.1f} s"
        return ""

    def _say_here(self) -> None:
        if monotonic_s() - self._here_s >= HERE_S:
            self._here_s = monotonic_s()
            tell(self._connection, {"say": "here"})


def tell(connection: socket.socket, message: dict[str, Any]) -> None:
    """Send one message without ever waiting; one that cannot be sent is lost."""
    with suppress(OSError):
        connection.send(json.dumps(message).encode(), socket.MSG_DONTWAIT | socket.MSG_NOSIGNAL)
