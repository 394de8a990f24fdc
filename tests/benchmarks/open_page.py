"""A page left open all night in a real browser, the night's news sent as fast as page and daemon can.

Run: `python -m tests.benchmarks.open_page [--minutes 5]`. The daemon sends what has changed up to fifty times
a second instead of once, and the night goes a hundred times faster than life; ten hours are 36 000 news.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.benchmarks.service import ROOT, ask, end_benches, memory_mb
from tests.nights.browser import Page, browsing
from tests.nights.served_lab import make_lab

_SERVE = """
import sys
import daemon.service.follower
import daemon.web.news
from daemon.cli import main
daemon.service.follower.INTERVAL_S = daemon.web.news.QUICK_S = 0.02
main(["serve", sys.argv[1]])
"""
_COUNT = """(() => {
  window.news = 0;
  new MutationObserver(() => { window.news += 1; }).observe(
    document.getElementById('strip'), {childList: true});
})()"""


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=5.0)
    args = parser.parse_args()
    with TemporaryDirectory() as name:
        lab = make_lab(Path(name), 100.0)
        command = [sys.executable, "-c", _SERVE, str(lab)]
        quiet = subprocess.DEVNULL
        daemon = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=quiet, text=True)
        try:
            assert daemon.stdout is not None
            port = int(daemon.stdout.readline().rpartition(":")[2])
            token = (lab.with_suffix(".state") / "token").read_text("ascii").strip()
            ask(port, "/api/benches/bath/submit", {"plan": "overnight", "who": "the benchmark"}, token)
            with browsing(Path(name) / "profile", 60.0 * args.minutes + 120.0) as page:
                watch(page, f"http://127.0.0.1:{port}/benches/bath", daemon.pid, args.minutes)
        finally:
            daemon.kill()
            daemon.wait()
            end_benches(lab.with_suffix(".state"))


def watch(page: Page, address: str, process: int, minutes: float) -> None:
    """A line of figures every half minute."""
    page.open(address)
    page.until("document.getElementById('heart').className === 'alive'")
    page.value(_COUNT)
    pause, began_s = threading.Event(), time.monotonic()
    while (now_s := time.monotonic() - began_s) < 60.0 * minutes + 1.0:
        heap_mb, nodes = page.memory()
        news = page.value("window.news")
        print(
            f"{now_s:5.0f} s  {news:6d} news  page {heap_mb:5.1f} MB, {nodes:5d} nodes  "
            f"daemon {memory_mb(process):4.0f} MB",
            flush=True,
        )
        pause.wait(30.0)


if __name__ == "__main__":
    main()
