"""A lab served for real on loopback, in a thread of the test; its benches are processes of their own."""

from __future__ import annotations

import asyncio
import http.client
import json
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from daemon.service.serving import serve
from plans.lab import load_lab

EXAMPLES = Path(__file__).resolve().parents[2] / "plans" / "examples"
PATIENCE_S = 60.0
"""How long a test waits for something that takes seconds on a quiet machine."""

_LAB = """
[lab]
name = "Tern Rock"
port = 0

[[benches]]
id = "bath"
bench = "bench-bath.toml"
pace = {pace}

[[benches]]
id = "block"
bench = "bench-block.toml"
pace = {pace}
"""
_QUICK = """
[plan]
title = "one point near the room"
bench = "bench-{bench}.toml"
register = "register.toml"
order = "custom"
order_reason = "a point for quick tests"

[reference]
serial = "TR-REF-01"
channel = 1

[[items]]
serial = "TR-CHK-31"
channel = {channel}
role = "check_standard"

[zero]
first = false
last = false
reason = "a point for quick tests"

[[points]]
temperature_c = {top}
minimum_soak_minutes = 1

[finish]
parking_c = {parking}
"""


def make_lab(folder: Path, pace: float = 1e6, extra: str = "") -> Path:
    """A lab file with both example benches, a quick plan for each, and all example plans."""
    for path in EXAMPLES.glob("*.toml"):
        (folder / path.name).write_text(path.read_text("utf-8"), encoding="utf-8")
    (folder / "lab.toml").write_text(_LAB.format(pace=float(pace)) + extra, encoding="utf-8")
    for bench, top, parking in (("bath", 30.0, 25.0), ("block", 50.0, 40.0)):
        text = _QUICK.format(bench=bench, channel=2, top=top, parking=parking)
        (folder / f"quick-{bench}.toml").write_text(text, encoding="utf-8")
    return folder / "lab.toml"


@dataclass
class ServedLab:
    """The daemon as a client sees it; `stop` asks for an orderly end, `leave` ends at once."""

    lab: Path
    address: str = ""
    failure: BaseException | None = None
    _loop: asyncio.AbstractEventLoop | None = None
    _task: asyncio.Task[None] | None = None
    _stop: asyncio.Event = field(default_factory=asyncio.Event)
    _ready: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    @property
    def token(self) -> str:
        """The daemon's token."""
        return (self.lab.with_suffix(".state") / "token").read_text("ascii").strip()

    @property
    def port(self) -> int:
        """The port it listens on."""
        return int(self.address.rpartition(":")[2])

    def start(self) -> None:
        """Returns when requests are answered."""
        self._thread = threading.Thread(target=self._work, name="served lab")
        self._thread.start()
        assert self._ready.wait(PATIENCE_S)
        if self.failure is not None:
            raise self.failure

    def stop(self) -> None:
        """Park everything, then end."""
        assert self._loop is not None
        self._loop.call_soon_threadsafe(self._stop.set)
        self.join()

    def leave(self) -> None:
        """End now."""
        if self._thread is not None and self._thread.is_alive():
            assert self._loop is not None and self._task is not None
            self._loop.call_soon_threadsafe(self._task.cancel)
            self.join()

    def join(self) -> None:
        """Wait for the end."""
        assert self._thread is not None
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()

    def get(self, path: str, **headers: str) -> tuple[int, str]:
        """Status code and text of a GET."""
        return self.ask("GET", path, None, headers)

    def post(self, path: str, body: object, token: str | None = "own", **headers: str) -> tuple[int, Any]:
        """Status code and answer of a POST of JSON; `token` "own" is the daemon's, None sends none."""
        sent = {"content-type": "application/json"} | headers
        if token is not None:
            sent["authorization"] = f"Bearer {self.token if token == 'own' else token}"
        code, text = self.ask("POST", path, json.dumps(body).encode(), sent)
        return code, json.loads(text)

    def ask(self, method: str, path: str, body: bytes | None, headers: dict[str, str]) -> tuple[int, str]:
        """Any request; a header's name may be written with _ for -."""
        named = {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=PATIENCE_S)
        try:
            connection.request(method, path, body, named)
            answer = connection.getresponse()
            return answer.status, answer.read().decode("utf-8")
        finally:
            connection.close()

    def bench(self, id_: str) -> dict[str, Any]:
        """A bench as the daemon tells of it."""
        code, text = self.get(f"/api/benches/{id_}")
        assert code == 200, text
        found: dict[str, Any] = json.loads(text)
        return found

    def submit(self, bench: str, plan: str) -> None:
        """Queue a plan."""
        code, answer = self.post(f"/api/benches/{bench}/submit", {"plan": plan, "who": "the night watch"})
        assert code == 200, answer

    def until(self, bench: str, condition: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
        """The bench's state once the condition holds for it."""
        asked = threading.Event()
        for _ in range(int(PATIENCE_S / 0.05)):
            found = self.bench(bench)
            if condition(found):
                return found
            asked.wait(0.05)  # never set: a look at the condition is put off
        raise AssertionError(f"{bench} stays at {found}")

    def until_standing(self, bench: str, *standings: str) -> dict[str, Any]:
        """The bench's state once it stands so."""
        return self.until(bench, lambda found: found["standing"] in standings)

    def until_readings(self, bench: str) -> dict[str, Any]:
        """The bench's state once its run shows temperatures."""
        return self.until(
            bench, lambda f: bool(f["run"] and len(f["run"]["channels"]) > 2 and f["run"]["point"])
        )

    def process_of(self, bench: str) -> int:
        """Process of a bench: the one that holds its lock."""
        (found,) = holding(self.lab.with_suffix(".state") / f"{bench}.lock")
        return found

    def kill_benches(self) -> None:
        """End every bench's process, and its guardian, which would otherwise go on parking for long."""
        for lock in self.lab.with_suffix(".state").glob("*.lock"):
            for process in holding(lock):
                for one in (*_children(process), process):
                    with suppress(ProcessLookupError):
                        os.kill(one, signal.SIGKILL)

    def _work(self) -> None:
        try:
            asyncio.run(self._main())
        except asyncio.CancelledError:
            pass
        except BaseException as error:  # noqa: BLE001  told to the test's own thread
            self.failure = error
        finally:
            self._ready.set()

    async def _main(self) -> None:
        self._loop, self._task = asyncio.get_running_loop(), asyncio.current_task()
        await serve(load_lab(self.lab), self._stop, self._is_ready)

    def _is_ready(self, address: str) -> None:
        self.address = address
        self._ready.set()


def holding(lock: Path) -> list[int]:
    """Processes that have a lock file open."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        with suppress(OSError):
            if lock.resolve() in [link.resolve() for link in (process / "fd").iterdir()]:
                found.append(int(process.name))
    return found


def _children(process: int) -> list[int]:
    found = []
    for other in Path("/proc").glob("[0-9]*/stat"):
        with suppress(OSError):
            if other.read_text("utf-8").rpartition(")")[2].split()[1] == str(process):
                found.append(int(other.parent.name))
    return found


@contextmanager
def served_lab(lab: Path, *, benches_stay: bool = False) -> Iterator[ServedLab]:
    """The lab being served; left at once at the end of the test, its benches killed unless they stay."""
    served = ServedLab(lab)
    served.start()
    try:
        yield served
    finally:
        served.leave()
        if not benches_stay:
            served.kill_benches()
