"""A real bench under the daemon: no heat without arming at the bench and a guardian that was drilled."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.rehearsal import make_scene
from plans.loading import load_plan
from simulators.served import served
from tests.nights.served_lab import EXAMPLES, ServedLab, make_lab, served_lab


def make_real(folder: Path, source: str, bridge: str) -> Path:
    """The lab with its bath bench on real addresses."""
    path = make_lab(folder)
    bench = folder / "bench-bath.toml"
    text = bench.read_text("utf-8").partition("\n[simulation]")[0]
    text = text.replace("simulated:source", source).replace("simulated:bridge", bridge)
    # The example's dates lie in the past of whoever runs this test one day.
    text = text.replace("2026-09-01", "2099-09-01").replace("2025-10-06", date.today().isoformat())
    bench.write_text(text, encoding="utf-8")
    register = folder / "register.toml"
    register.write_text(register.read_text("utf-8").replace("due = 2026", "due = 2099"), encoding="utf-8")
    return path


def confirm_all(lab: ServedLab, but: int = 0) -> dict[str, Any]:
    """Confirm the whole checklist, but the last items."""
    bench = lab.until_standing("bath", "needs arming")
    keys = [item["key"] for item in bench["checklist"]]
    for key in keys[: len(keys) - but]:
        assert lab.post("/api/benches/bath/confirm", {"key": key, "who": "the night watch"})[0] == 200
    return lab.bench("bath")


@contextmanager
def simulated_instruments() -> Iterator[dict[str, str]]:
    """The example bath's instruments on TCP, in real time, in a thread of their own."""
    ready, leave = threading.Event(), threading.Event()
    found: dict[str, str] = {}

    async def serve() -> None:
        scene = make_scene(load_plan(EXAMPLES / "short.toml"))
        async with served(scene, {"source": "tcp", "bridge": "tcp"}) as addresses:
            found.update(addresses)
            ready.set()
            await asyncio.to_thread(leave.wait)

    thread = threading.Thread(target=lambda: asyncio.run(serve()))
    thread.start()
    try:
        assert ready.wait(30.0)
        yield found
    finally:
        leave.set()
        thread.join()


def test_nothing_starts_before_the_whole_checklist_is_confirmed(tmp_path: Path) -> None:
    with served_lab(make_real(tmp_path, "tcp://127.0.0.1:9", "tcp://127.0.0.1:9")) as lab:
        lab.submit("bath", "quick-bath")
        bench = confirm_all(lab, but=1)
        assert bench["standing"] == "needs arming" and len(bench["queue"]) == 1
        assert [item["confirmed"] for item in bench["checklist"]].count(False) == 1
        code, answer = lab.post("/api/benches/bath/confirm", {"key": "nonsense", "who": "somebody"})
        assert code == 409 and "no item" in answer["refused"]


def test_without_a_working_guardian_nothing_is_heated_and_a_person_is_called(tmp_path: Path) -> None:
    with served_lab(make_real(tmp_path, "tcp://127.0.0.1:9", "tcp://127.0.0.1:9")) as lab:
        lab.submit("bath", "quick-bath")
        confirm_all(lab)
        bench = lab.until_standing("bath", "needs a person")
        assert bench["sentence"].startswith("Nothing was heated.")
    assert list(tmp_path.glob("records/*.record")) == []


def test_an_armed_bench_runs_guarded_and_a_halt_parks_it(tmp_path: Path) -> None:
    with simulated_instruments() as found, served_lab(make_real(tmp_path, **found)) as lab:
        lab.submit("bath", "quick-bath")
        confirm_all(lab)
        lab.until_readings("bath")
        assert lab.post("/api/benches/bath/halt", {"who": "a passer-by"}, token=None)[1]["effect"]
        lab.until("bath", lambda b: b["run"]["state"] == "parking")
    (record,) = tmp_path.glob("records/*.record")
    words = [entry.body["word"] for entry in read_entries(record, frozenset({Kind.OPERATOR}))]
    assert words.count("confirm") >= 8 and words[-1] == "halt"
    states = [entry.body["to"] for entry in read_entries(record, frozenset({Kind.STATE}))]
    assert states == ["running", "parking"]
    log = record.with_suffix(".guardian.log")
    assert log.is_file() and log.stat().st_size > 0


def test_a_bench_that_is_simulated_has_nothing_to_arm(tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as lab:
        code, answer = lab.post("/api/benches/bath/confirm", {"key": "limits", "who": "somebody"})
        assert code == 409 and "no run waits" in answer["refused"]


@pytest.mark.parametrize("who", ["", " ", "\n"])
def test_a_confirmation_needs_a_name(who: str, tmp_path: Path) -> None:
    with served_lab(make_lab(tmp_path)) as lab:
        assert lab.post("/api/benches/bath/confirm", {"key": "limits", "who": who})[0] == 422
