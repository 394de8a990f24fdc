"""All benches at one glance."""

from __future__ import annotations

from daemon.results.markup import Html, element, joined
from daemon.results.numbers import fixed
from daemon.web.frame import badge, heart, page, part, state_of
from daemon.web.live_record import SOURCE, LiveRecord
from daemon.web.progress import point_in_words
from daemon.web.schedule import ending
from daemon.web.view import BenchView, Lab


def overview_page(lab: Lab) -> str:
    """The whole document."""
    header = element("header", element("h1", lab.name), heart())
    return page(f"{lab.name}: benches", "/live", header, part("benches", benches(lab)))


def benches(lab: Lab) -> Html:
    """A card a bench; one that calls for a person comes first."""
    order = sorted(lab.benches, key=lambda one: not one.calls)
    return element("div", joined(_card(one) for one in order), cls="cards")


def _card(bench: BenchView) -> Html:
    words = [element("h2", element("a", bench.name, href=f"/benches/{bench.id}"))]
    words.append(element("p", badge(state_of(bench)), cls="big"))
    if bench.calls:
        words.append(element("p", bench.calls, cls="calls", role="alert"))
    words += [element("p", line) for line in _lines(bench)]
    return element("article", *words)


def _lines(bench: BenchView) -> list[str]:
    live = bench.live
    lines = [bench.sentence] if not bench.busy and not bench.calls else []
    if live is not None and live.closed:
        lines.append(f"last run: {live.title}, {live.state}, {ending(live)}")
    elif live is not None:
        lines.append(f"source {fixed(_source_c(live), 1, '°C')}")
        if live.phases.points:
            lines.append(f"point {point_in_words(live.phases.points[-1])}")
        lines.append(ending(live))
    if bench.waiting:
        lines.append(f"{len(bench.waiting)} waiting")
    return lines


def _source_c(live: LiveRecord) -> float | None:
    with live.lock:
        column = live.columns.get(SOURCE)
        return column.value[-1] if column is not None and column.value else None
