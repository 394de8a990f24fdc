"""Records of the morning after, for the tests of review and certificate."""

from __future__ import annotations

import io
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pypdf import PdfReader

from daemon.journal.entry import Entry, Kind
from daemon.results.certificate.papers import Papers, parse_papers
from daemon.review.desk import DeskClock
from daemon.review.sign import Signer
from plans.loading import parse_plan
from tests.nights.rehearsed import EXAMPLES, rehearsed_once
from tests.nights.report_nights import told_again

ROOT = Path(__file__).resolve().parents[2]
SCHEMAS = ROOT.parent / "shared" / "dcc"
PAPERS = EXAMPLES / "papers"
PLAN = """
[plan]
title = "Tern Rock, the morning after"
bench = "bench-bath.toml"
register = "register.toml"
order = "up_and_down"
[reference]
serial = "TR-REF-01"
channel = 1
[[items]]
serial = "TR-IPRT-11"
channel = 2
[[items]]
serial = "TR-IPRT-14"
channel = 3
[[items]]
serial = "TR-SEMI-21"
channel = 4
[defaults]
ramp_k_per_min = 3.0
minimum_soak_minutes = 5
maximum_wait_minutes = 200
[defaults.equilibrium]
window_minutes = 3
drift_mk = 9.0
scatter_mk = 5.0
item_drift_mk = 9.0
[zero]
temperature_c = 0.0
[[points]]
temperature_c = 20.0
[[points]]
temperature_c = 45.0
label = "never at rest"
maximum_wait_minutes = 20
[points.equilibrium]
drift_mk = 0.01
[[points]]
temperature_c = 60.0
[[points]]
temperature_c = 80.0
[[points]]
temperature_c = 60.0
[[points]]
temperature_c = 20.0
[finish]
parking_c = 20.0
"""
"""Eight points, of which number 3 never comes to rest."""
ROOM = """
[ambient]
profile = "text-ambient"
address = "simulated:ambient"
"""
KEEPER = Signer("ks", "K. Sund")
EIGHT_OCLOCK = DeskClock(datetime(2026, 1, 16, 8, 0, tzinfo=UTC))
NINE_OCLOCK = DeskClock(datetime(2026, 1, 16, 9, 0, tzinfo=UTC))


def morning_night(record: Path, *faults: str) -> Path:
    """Rehearse the plan; returns the record."""
    bench = (EXAMPLES / "bench-bath.toml").read_text(encoding="utf-8")
    bench = bench.replace("\n[record]", f"{ROOM}\n[record]", 1)
    register = (EXAMPLES / "register.toml").read_text(encoding="utf-8")
    rehearsed_once(parse_plan(PLAN, bench, register), record, *faults)
    return record


def as_real(record: Path, new: Path) -> Path:
    """The same night told as one on real instruments."""

    def real(entry: Entry) -> Iterable[tuple[str, Mapping[str, Any]]]:
        body = entry.body
        yield entry.kind, {**body, "simulated": False, "seed": None} if entry.kind == Kind.OPENED else body

    return told_again(record, new, real)


def troubled_night(folder: Path) -> Path:
    """Told as real: the second probe's lead breaks, and for five minutes nobody looks at the source."""

    def silent(entry: Entry) -> Iterable[tuple[str, Mapping[str, Any]]]:
        quiet = 7000.0 < entry.when_s < 7300.0
        if not (quiet and entry.kind == Kind.OBSERVATION and entry.body["what"] == "source"):
            yield entry.kind, entry.body

    record = morning_night(folder / "rehearsed.record", "open-lead@1:10=3")
    return as_real(told_again(record, folder / "silent.record", silent), folder / "troubled.record")


def papers(order: str = "") -> Papers:
    """The example laboratory with the example order, or with another one."""
    laboratory = (PAPERS / "laboratory.toml").read_text("utf-8")
    return parse_papers(laboratory, order or (PAPERS / "order.toml").read_text("utf-8"), PAPERS)


def words_of(pdf: bytes) -> str:
    """All text of a PDF, blanks made even."""
    pages = PdfReader(io.BytesIO(pdf)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).replace("\u00a0", " ").split())
