"""A daemon with five benches at life's own pace and pages left open: what it costs, how fast it answers.

Run: `python -m tests.benchmarks.service [--benches 5] [--pages 5] [--seconds 30]`. Each bench is a simulated
bath that is looked at and read once a second; each page is an open stream of news, as a browser keeps it.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.nights.served_lab import EXAMPLES, holding

ROOT = Path(__file__).resolve().parents[2]
TICKS_PER_S = os.sysconf("SC_CLK_TCK")


def write_lab(folder: Path, benches: int) -> Path:
    """A lab of equal baths, each with the example's night as its plan."""
    text = '[lab]\nname = "Tern Rock"\nport = 0\n'
    bench, plan = ((EXAMPLES / name).read_text("utf-8") for name in ("bench-bath.toml", "overnight.toml"))
    (folder / "register.toml").write_text((EXAMPLES / "register.toml").read_text("utf-8"), "utf-8")
    for number in range(benches):
        name = f"bath-{number}"
        own = bench.replace("Tern Rock bath", f"Tern Rock {name}")
        (folder / f"bench-{name}.toml").write_text(own, "utf-8")
        (folder / f"{name}.toml").write_text(plan.replace("bench-bath.toml", f"bench-{name}.toml"), "utf-8")
        text += f'\n[[benches]]\nid = "{name}"\nbench = "bench-{name}.toml"\npace = 1.0\n'
    (folder / "lab.toml").write_text(text, "utf-8")
    return folder / "lab.toml"


def ask(port: int, path: str, body: object = None, token: str = "") -> bytes:
    """The answer to one request."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30.0)
    headers = {"content-type": "application/json", "authorization": f"Bearer {token}"} if body else {}
    connection.request("POST" if body else "GET", path, json.dumps(body) if body else None, headers)
    answer = connection.getresponse()
    text = answer.read()
    assert answer.status == 200, text
    connection.close()
    return text


class OpenPage(threading.Thread):
    """One open page: counts its news and their bytes until the daemon goes away."""

    def __init__(self, port: int, path: str) -> None:
        super().__init__(daemon=True)
        self._connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60.0)
        self._connection.request("GET", path)
        self.news = self.bytes = 0

    def run(self) -> None:
        """Read on."""
        try:
            for line in self._connection.getresponse():
                self.news += line.startswith(b"data:")
                self.bytes += len(line)
        except (OSError, http.client.HTTPException):
            return


def cpu_s(process: int) -> float:
    """Seconds of CPU a process has used."""
    words = Path(f"/proc/{process}/stat").read_text("utf-8").rpartition(")")[2].split()
    return (int(words[11]) + int(words[12])) / TICKS_PER_S


def memory_mb(process: int) -> float:
    """Resident memory of a process."""
    lines = Path(f"/proc/{process}/status").read_text("utf-8").splitlines()
    return next(int(line.split()[1]) / 1024.0 for line in lines if line.startswith("VmRSS"))


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    for name, usual in (("--benches", 5), ("--pages", 5), ("--seconds", 30)):
        parser.add_argument(name, type=int, default=usual)
    args = parser.parse_args()
    with TemporaryDirectory() as name:
        lab = write_lab(Path(name), args.benches)
        command = [sys.executable, "-m", "daemon", "serve", str(lab)]
        quiet = subprocess.DEVNULL
        daemon = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=quiet, text=True)
        try:
            assert daemon.stdout is not None
            port = int(daemon.stdout.readline().rpartition(":")[2])
            measure(args, lab, port, daemon.pid)
        finally:
            # The benches halt when the daemon is gone; a simulated bath at life's pace would park for hours.
            daemon.kill()
            daemon.wait()
            end_benches(lab.with_suffix(".state"))


def measure(args: argparse.Namespace, lab: Path, port: int, process: int) -> None:
    """Start the runs, open the pages, look at both for a while."""
    token = (lab.with_suffix(".state") / "token").read_text("ascii").strip()
    for number in range(args.benches):
        body = {"plan": f"bath-{number}", "who": "the benchmark"}
        ask(port, f"/api/benches/bath-{number}/submit", body, token)
    while not all(bench["run"] for bench in json.loads(ask(port, "/api/status"))["benches"]):
        pass
    pages = [OpenPage(port, f"/benches/bath-{n % args.benches}/live") for n in range(args.pages)]
    for page in pages:
        page.start()
    before_s, used_s, taken_ms, pause = time.monotonic(), cpu_s(process), [], threading.Event()
    while time.monotonic() - before_s < args.seconds:
        for number in range(args.benches):
            started_s = time.perf_counter()
            ask(port, f"/benches/bath-{number}")
            taken_ms.append(1e3 * (time.perf_counter() - started_s))
        pause.wait(1.0)
    took_s = time.monotonic() - before_s
    share = 100.0 * (cpu_s(process) - used_s) / took_s
    taken_ms.sort()
    p99 = taken_ms[int(0.99 * (len(taken_ms) - 1))]
    print(f"{args.benches} benches, {args.pages} open pages, {args.benches} loads a second, {took_s:.0f} s")
    print(f"daemon: {share:.0f} % of one core, {memory_mb(process):.0f} MB")
    print(f"page load: p50 {taken_ms[len(taken_ms) // 2]:.0f} ms, p99 {p99:.0f} ms")
    news = sum(page.news for page in pages)
    size_kb = sum(page.bytes for page in pages) / 1e3 / news
    print(f"news: {news / took_s / len(pages):.2f} a page and second, {size_kb:.0f} kB each")


def end_benches(state: Path) -> None:
    """End the processes of the benches, found by the locks they hold."""
    for lock in state.glob("*.lock"):
        for process in holding(lock):
            os.kill(process, signal.SIGKILL)


if __name__ == "__main__":
    main()
