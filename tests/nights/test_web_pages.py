"""The pages in a real browser: one glance says fine, or what is wrong; nothing comes from elsewhere."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house.test_import_directions import files, imports, within
from tests.nights.browser import Page, browsing
from tests.nights.served_lab import ServedLab, make_lab, served_lab

SAYS = "document.getElementById('heart-says').textContent"


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedLab]:
    """A night on its way: sixty times faster than life."""
    with served_lab(make_lab(tmp_path_factory.mktemp("lab"), 60.0)) as served:
        served.submit("bath", "overnight")
        served.until("bath", lambda b: bool(b["run"]) and b["run"]["elapsed_s"] > 300.0)
        yield served


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    with browsing(tmp_path / "profile") as one:
        yield one


def test_the_page_shows_a_night_that_moves(lab: ServedLab, page: Page) -> None:
    page.open(f"{lab.address}/benches/bath")
    page.until(f"{SAYS}.startsWith('moving: last reading')")
    before = page.text("glance")
    page.until(f"document.getElementById('glance').innerText !== {before!r}")
    words = page.value("document.body.innerText")
    for expected in ("TR-REF-01", "Each thermometer less the reference", "K left", "ends at about", "mK"):
        assert expected in words
    assert page.value("document.querySelectorAll('#strip svg').length") == 8
    assert page.value("document.querySelectorAll('#margins svg').length") >= 8
    assert page.console == []


def test_everything_comes_from_this_machine_and_the_policy_is_kept(lab: ServedLab, page: Page) -> None:
    page.open(f"{lab.address}/benches/bath?from=0&to=10")
    page.until(f"{SAYS}.startsWith('moving')")
    page.open(lab.address)
    page.until(f"{SAYS}.startsWith('moving')")
    asked = [address for address in page.asked if not address.startswith("data:")]
    assert len(asked) >= 8 and all(address.startswith(lab.address) for address in asked)
    assert page.console == []
    html = lab.get("/benches/bath?from=0&to=10")[1] + lab.get("/")[1]
    assert " style=" not in html and "<style" not in html and not re.search(r"\son\w+=", html)
    assert re.findall(r"<script(?! src=\"/live\.js\" defer)", html) == []


def test_a_page_left_open_says_by_its_own_clock_that_the_daemon_is_gone(tmp_path: Path, page: Page) -> None:
    with served_lab(make_lab(tmp_path, 60.0)) as lab:
        page.open(lab.address)
        page.until(f"{SAYS} === 'the daemon is there; nothing runs'")
    page.until(f"{SAYS}.startsWith('NOTHING HEARD from the daemon')")
    assert page.value("document.getElementById('heart').className") == "dead"


def test_a_run_that_stands_still_is_noticed_though_the_daemon_lives(tmp_path: Path, page: Page) -> None:
    with served_lab(make_lab(tmp_path, 60.0)) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        page.open(f"{lab.address}/benches/bath")
        page.until(f"{SAYS}.startsWith('moving')")
        pid = lab.process_of("bath")
        os.kill(pid, signal.SIGSTOP)
        try:
            page.until(f"{SAYS}.startsWith('NO NEW READING for')")
        finally:
            os.kill(pid, signal.SIGCONT)
        page.until(f"{SAYS}.startsWith('moving')")


def test_a_halt_by_keyboard_alone_parks_and_says_so(tmp_path: Path, page: Page) -> None:
    with served_lab(make_lab(tmp_path, 60.0)) as lab:
        lab.submit("bath", "overnight")
        lab.until_readings("bath")
        page.open(f"{lab.address}/benches/bath")
        page.until(f"{SAYS}.startsWith('moving')")
        page.key("h")
        assert page.value("document.activeElement.tagName") == "SUMMARY"
        page.key("Enter")
        page.until("document.querySelector('details').open")
        assert lab.bench("bath")["run"]["state"] == "running"
        page.value("document.querySelector('input[name=who]').value = 'the night watch'")
        page.value("document.querySelector('form').requestSubmit()")
        lab.until("bath", lambda b: b["run"]["state"] in ("parking", "parked"))
        page.until("document.getElementById('glance')?.innerText.includes('the night watch said halt')")


def test_a_bench_that_calls_comes_first_and_says_why(tmp_path: Path, page: Page) -> None:
    with served_lab(make_lab(tmp_path, 60.0)) as lab:
        lab.submit("block", "block-night")
        lab.until_readings("block")
        assert lab.post("/api/benches/block/hold", {"who": "the night watch"})[1]["effect"]
        lab.until("block", lambda b: bool(b["calls"]))
        page.open(lab.address)
        words = page.value("document.body.innerText")
        assert words.index("Tern Rock block bench") < words.index("Tern Rock bath bench")
        assert "is holding: the night watch said hold" in words and "❚❚" in words


@pytest.mark.parametrize("width", [360, 768, 1100])
def test_at_no_width_does_the_page_scroll_sideways(width: int, lab: ServedLab, page: Page) -> None:
    page.open(f"{lab.address}/benches/bath", width=width)
    page.until(f"{SAYS}.startsWith('moving')")
    assert page.value("document.documentElement.scrollWidth") <= width
    texts = "[...document.querySelectorAll('.row span, p, td')]"
    sizes_px = f"{texts}.map(one => parseFloat(getComputedStyle(one).fontSize))"
    assert min(page.value(sizes_px)) >= 12.0


def test_the_keys_look_closer_and_further(lab: ServedLab, page: Page) -> None:
    page.open(f"{lab.address}/benches/bath")
    page.key("+")
    page.until("location.search.includes('from=') && document.readyState === 'complete'")
    assert page.value("document.querySelectorAll('#whole svg').length") > 8
    page.key("0")
    page.until("location.search === '' && document.readyState === 'complete'")


def test_without_scripts_all_is_there_but_no_claim_to_be_live(lab: ServedLab) -> None:
    code, html = lab.get("/benches/bath")
    assert code == 200 and "not live: this page was drawn once" in html
    assert "Margins" in html and "Halt this bench" in html and '<meta http-equiv="refresh"' in html


@pytest.mark.parametrize(
    "query", ["from=1&to=4", "from=-5&to=2", "from=nan&to=inf", "from=9e99&to=1", "from=x", "to=5"]
)
def test_any_part_of_the_night_can_be_asked_for_and_nonsense_shows_all(query: str, lab: ServedLab) -> None:
    code, html = lab.get(f"/benches/bath?{query}")
    assert code == 200 and "whole night" in html and "the night in °C" in html


def test_an_unknown_bench_is_a_sentence(lab: ServedLab) -> None:
    for path in ("/benches/none", "/benches/none/live"):
        assert lab.get(path) == (404, "There is no such bench in this lab.")


def test_the_pages_cannot_reach_an_instrument() -> None:
    above = ("daemon.executor", "daemon.service", "daemon.night", "daemon.rehearsal")
    floors = (*above, "drivers", "simulators")
    wrong = [
        f"{path.name} imports {name}"
        for path in files("daemon/web")
        for name in imports(path)
        if within(name, floors)
    ]
    assert wrong == []
