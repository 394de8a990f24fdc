"""The daemon's side: starts the guardian, has it drilled and armed, beats to it, and watches it in turn."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

from daemon.guardian.manager import tell_manager
from daemon.guardian.now import monotonic_s
from daemon.guardian.orders import Orders, to_text
from daemon.guardian.watch import DISARMED, LONGEST_MESSAGE, tell

ANSWER_WITHIN_S = 5.0
DRILL_WITHIN_S = 10.0
STANDING_ORDERS = "armed.json"
_SILENT_FOR_S = 5.0
_ROOT = Path(__file__).resolve().parents[2]


class GuardianFailed(Exception):
    """No guardian can be had, or its drill failed; the message says why."""


class Keeper:
    """One guardian for one run. `beat` belongs at the end of the control cycle and nowhere else.

    `connect` gives a connected socket and, when the guardian is our own child, its process.
    """

    def __init__(
        self, orders: Orders, connect: Connect, say: Callable[[str], None] = lambda text: None
    ) -> None:
        self._orders, self._connect, self._say = orders, connect, say
        self._digest = orders.digest
        self._restarted = self._lost = False
        self._start()

    def drill(self) -> float:
        """Let it park the cold source once; returns the seconds that took. Raises GuardianFailed."""
        tell(self._socket, {"say": "drill"})
        told = self._answer("drilled", DRILL_WITHIN_S)
        if told["wrong"]:
            raise GuardianFailed(f"the guardian's drill failed: {told['wrong']}")
        return float(told["took_s"])

    def arm(self) -> None:
        """From now on an end without `disarm` counts as a death; raises GuardianFailed."""
        tell(self._socket, {"say": "arm"})
        self._answer("armed", ANSWER_WITHIN_S)
        for place in _standing_orders():
            place.write_text(to_text(self._orders), encoding="utf-8")
        self._here_s = monotonic_s()
        tell_manager("READY=1")

    def beat(self, cycle: int, judged: int, age_s: float) -> str:
        """End of a control cycle; returns why the run must park, empty when it is guarded.

        A guardian that died or fell silent is started anew once; the second time the run must park.
        """
        beat = {"say": "beat", "cycle": cycle, "judged": judged, "age_s": age_s, "script": self._digest}
        tell(self._socket, beat)
        tell_manager("WATCHDOG=1")
        if self._lost or self._is_here():
            return self._reason if self._lost else ""
        self._end()
        if not self._restarted:
            self._restarted = True
            return self._start_anew(beat)
        return self._give_up("the guardian died a second time")

    def disarm(self) -> None:
        """The source is safe and this run ends: the guardian's work is done."""
        for place in _standing_orders():
            place.unlink(missing_ok=True)
        tell(self._socket, {"say": DISARMED})
        if self._process is not None:
            with suppress(subprocess.TimeoutExpired):
                self._process.wait(ANSWER_WITHIN_S)
        self._socket.close()

    @property
    def pid(self) -> int | None:
        """The guardian's process, when it is our own child."""
        return self._process.pid if self._process is not None else None

    def _start(self) -> None:
        try:
            self._socket, self._process = self._connect()
        except OSError as error:
            raise GuardianFailed(f"no guardian could be started: {error}") from error
        try:
            self._socket.send(to_text(self._orders).encode())
            if self._answer("ready", ANSWER_WITHIN_S)["script"] != self._digest:
                raise GuardianFailed("the guardian has understood another park script")
        except GuardianFailed:
            self._end()
            raise

    def _start_anew(self, beat: dict[str, Any]) -> str:
        try:
            self._start()
            self.arm()
        except (GuardianFailed, OSError) as error:
            return self._give_up(f"the guardian died and cannot be started anew: {error}")
        tell(self._socket, beat)
        self._say("the guardian died and was started anew")
        return ""

    def _give_up(self, reason: str) -> str:
        self._lost, self._reason = True, reason
        self._say(reason)
        return reason

    def _is_here(self) -> bool:
        """Take what it said; False when it is gone or has said nothing for too long."""
        try:
            while self._socket.recv(LONGEST_MESSAGE, socket.MSG_DONTWAIT):
                self._here_s = monotonic_s()
        except BlockingIOError:
            return monotonic_s() - self._here_s <= _SILENT_FOR_S
        except OSError:
            return False
        return False

    def _end(self) -> None:
        # A hung guardian that wakes up later would park over whoever commands then.
        if self._process is not None:
            self._process.kill()
            self._process.wait()
        self._socket.close()

    def _answer(self, say: str, within_s: float) -> dict[str, Any]:
        self._socket.settimeout(within_s)
        try:
            while message := self._socket.recv(LONGEST_MESSAGE):
                told: dict[str, Any] = json.loads(message)
                if told["say"] == "refused":
                    raise GuardianFailed(told["why"])
                if told["say"] == say:
                    return told
        except TimeoutError as error:
            raise GuardianFailed(f"the guardian did not answer within {within_s:g} s") from error
        except OSError as error:
            raise GuardianFailed(f"the guardian is gone: {error}") from error
        finally:
            # A socket with a time-out waits even where it is told not to; a beat must never wait.
            self._socket.setblocking(False)
        raise GuardianFailed("the guardian ended at once")


def _standing_orders() -> list[Path]:
    """Where the service manager finds what to park by when daemon and guardian are both dead."""
    folder = os.environ.get("RUNTIME_DIRECTORY")
    return [Path(folder) / STANDING_ORDERS] if folder else []


Connect = Callable[[], tuple[socket.socket, "subprocess.Popen[bytes] | None"]]


def spawned() -> tuple[socket.socket, subprocess.Popen[bytes]]:
    """A guardian as our own child, in a session of its own: what stops our terminal must not stop it."""
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    with theirs:
        process = subprocess.Popen(
            [sys.executable, "-S", "-s", "-m", "daemon.guardian", "--socket", str(theirs.fileno())],
            pass_fds=[theirs.fileno()],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
            cwd="/",
            env={**os.environ, "PYTHONPATH": str(_ROOT)},
        )
    return ours, process


def connected(path: Path) -> Connect:
    """A guardian that the service manager keeps in a unit of its own."""

    def connect() -> tuple[socket.socket, None]:
        ours = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        try:
            ours.connect(str(path))
        except OSError:
            ours.close()
            raise
        return ours, None

    return connect
