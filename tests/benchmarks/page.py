"""The page of a long night: 8 channels of 50 000 readings each, read from a real record and drawn.

Run: `python -m tests.benchmarks.page`; with `--browser` in a real Chromium: how long a step closer or along
the night takes from the key to the picture, and the longest frame while the page is scrolled.
"""

from __future__ import annotations

import argparse
import math
import resource
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from daemon.journal import store
from daemon.journal.entry import FIRST_LINK, Kind, encode
from daemon.web.live_record import LiveRecord
from daemon.web.run_page import quick_parts, run_page, slow_parts
from daemon.web.view import BenchView
from plans.loading import load_plan
from tests.nights.browser import Page, browsing
from tests.nights.served_lab import EXAMPLES, make_lab, served_lab

CHANNELS, READINGS = 7, 50_000
SECONDS = 1.0
_SCROLL = """new Promise((done) => {
  let last = performance.now(), longest = 0; const begun = last;
  const frame = (now) => {
    longest = Math.max(longest, now - last); last = now;
    window.scrollTo(0, (document.body.scrollHeight - innerHeight) * Math.abs(Math.sin((now - begun) / 300)));
    now - begun < 2000 ? requestAnimationFrame(frame) : done(longest);
  };
  requestAnimationFrame(frame);
})"""


def write_record(path: Path) -> None:
    """A record as a night leaves it: a look and a reading of every channel each second."""
    run = load_plan(EXAMPLES / "overnight.toml")
    texts = run.texts
    opening = {"simulated": True, "plan": texts.plan, "bench": texts.bench, "register": texts.register}
    rows: list[tuple[int, str, float, float, str, bytes]] = []

    def add(kind: Kind, when_s: float, body: dict[str, Any]) -> None:
        rows.append((len(rows) + 1, str(kind), when_s, 1.8e9 + when_s, encode(body), FIRST_LINK))

    add(Kind.OPENED, 0.0, opening)
    add(Kind.STATE, 0.0, {"from": "idle", "to": "running", "cause": "started"})
    for number in range(READINGS):
        when_s = SECONDS * number
        celsius = 100.0 + 0.01 * math.sin(number / 500.0)
        look = {"what": "source", "temperature_c": celsius, "set_point_c": 100.0}
        add(Kind.OBSERVATION, when_s, look)
        for channel in range(1, CHANNELS + 1):
            ohm = 138.5 + 1e-4 * math.sin(number / 40.0 + channel)
            reading = {"what": "resistance", "channel": channel, "value": ohm, "use": "scan"}
            add(Kind.OBSERVATION, when_s, reading)
    add(Kind.STATE, SECONDS * READINGS, {"from": "running", "to": "finished", "cause": "the plan is done"})
    add(Kind.CLOSED, SECONDS * READINGS, {"outcome": "finished", "entries": len(rows) + 1})
    connection = store.create(path, synced=False)
    store.append(connection, rows)
    store.close(connection)


def timed_ms(work: Callable[[], object]) -> float:
    """The middle of five."""
    taken = []
    for _ in range(5):
        started_s = time.perf_counter()
        work()
        taken.append(1e3 * (time.perf_counter() - started_s))
    return sorted(taken)[2]


def in_a_browser(folder: Path) -> None:
    """Serve the record as the last night of a bench and walk through it by keyboard."""
    lab = make_lab(folder)
    (folder / "records").mkdir()
    write_record(folder / "records" / "night.record")
    with served_lab(lab) as served, browsing(folder / "profile", 300.0) as page:
        served.until("bath", lambda b: bool(b["run"]) and b["run"]["state"] == "finished")
        page.open(f"{served.address}/benches/bath")
        for words, keys in (("closer", "++++++"), ("earlier", "←←←←←←"), ("further", "------")):
            taken = sorted(_step_ms(page, {"←": "ArrowLeft"}.get(key, key)) for key in keys)
            print(f"{words}: key to picture, middle {taken[3]:.0f} ms, longest {taken[-1]:.0f} ms")
        print(f"longest frame while scrolling for 2 s: {page.value(_SCROLL):.0f} ms (60 a second are 17 ms)")


def _step_ms(page: Page, key: str) -> float:
    page.value("window.old = true")
    started_s = time.perf_counter()
    page.key(key)
    page.until("!window.old && document.readyState === 'complete'")
    page.value("new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))")
    return 1e3 * (time.perf_counter() - started_s)


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--browser", action="store_true")
    if parser.parse_args().browser:
        with TemporaryDirectory() as name:
            in_a_browser(Path(name))
        return
    with TemporaryDirectory() as name:
        path = Path(name) / "night.record"
        write_record(path)
        live = LiveRecord(path)
        started_s = time.perf_counter()
        while live.catch_up():
            pass
        print(f"entries read: {live.seq} in {time.perf_counter() - started_s:.1f} s, once")
        print(f"a look that finds nothing new: {timed_ms(live.catch_up):.2f} ms")
    view = BenchView("bath", "bath", True, "running", "", True, "", 0.0, [], live)
    for words, span in (
        ("whole night", (None, None)),
        ("one hour", (600.0, 660.0)),
        ("10 min", (700.0, 710.0)),
    ):
        size_kb = len("".join(slow_parts(view, *span).values())) / 1e3
        print(f"{words}: {timed_ms(lambda span=span: slow_parts(view, *span)):.0f} ms, {size_kb:.0f} kB")
    quick = quick_parts(view)
    print(f"what is sent each second at most: {timed_ms(lambda: quick_parts(view)):.0f} ms, ", end="")
    print(f"{sum(map(len, quick.values())) / 1e3:.0f} kB")
    print(f"whole page: {timed_ms(lambda: run_page(view, 'key', None, None)):.0f} ms")
    print(f"memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0:.0f} MB")


if __name__ == "__main__":
    main()
