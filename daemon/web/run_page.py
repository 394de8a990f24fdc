"""The view of one bench: everything one wants to know at 03:00, the most important first."""

from __future__ import annotations

from daemon.results.markup import Html, bullets, element, joined, section
from daemon.results.numbers import duration
from daemon.web.chart import Window
from daemon.web.events import events, verdicts
from daemon.web.frame import badge, heart, page, part, state_of
from daemon.web.lanes import lanes
from daemon.web.margins import margins, touch
from daemon.web.night import chosen, closer, night
from daemon.web.progress import point_in_words
from daemon.web.schedule import ending, schedule
from daemon.web.view import BenchView

STRIP_S = 900.0
STRIP_COLUMNS = 180


def run_page(bench: BenchView, key: str, from_min: float | None, to_min: float | None) -> str:
    """The whole document; `key` proves that a halt came from this page."""
    query = "" if from_min is None or to_min is None else f"?from={from_min:g}&to={to_min:g}"
    parts = quick_parts(bench) | slow_parts(bench, from_min, to_min)
    window = chosen(bench.live, from_min, to_min) if bench.live else None
    links = closer(bench.live, window) if bench.live and window else Html("")
    body = [
        element("header", Html('<a href="/">all benches</a>'), element("h1", bench.name), heart()),
        part("glance", parts["glance"], "section"),
        _halt(bench, key),
        section("The newest quarter of an hour", part("strip", parts["strip"])),
        section("Margins", part("margins", parts["margins"])),
        section("May I touch it?", part("touch", parts["touch"])),
        section("Guards", part("verdicts", parts["verdicts"])),
        section("The night", links, part("whole", parts["whole"]), name="night"),
        section("Timetable", part("schedule", parts["schedule"])),
        section("What happened", part("events", parts["events"])),
    ]
    return page(f"{bench.name}: {state_of(bench)}", f"/benches/{bench.id}/live{query}", *body)


def quick_parts(bench: BenchView) -> dict[str, Html]:
    """What is renewed every second or two, by the name of its place."""
    live = bench.live
    if live is None:
        return {"glance": _glance(bench)} | dict.fromkeys(
            ("strip", "margins", "touch", "verdicts", "events"), Html("<p>Nothing has run yet.</p>")
        )
    end_s = max(live.now_s, STRIP_S)
    strip = Window(end_s - STRIP_S, end_s, STRIP_COLUMNS)
    newest = "the end" if live.closed else "now"
    marks = [element("span", words) for words in ("15 min before", "10 min", "5 min", newest)]
    return {
        "glance": _glance(bench),
        "strip": joined([lanes(live, live.traces(), strip), element("div", *marks, cls="marks")]),
        "margins": margins(live),
        "touch": touch(live),
        "verdicts": verdicts(live),
        "events": events(live),
    }


def slow_parts(bench: BenchView, from_min: float | None, to_min: float | None) -> dict[str, Html]:
    """What changes slowly and is larger: the night and the timetable."""
    live = bench.live
    if live is None:
        return {"whole": Html(""), "schedule": Html("")}
    window, traces = chosen(live, from_min, to_min), live.traces()
    whole = night(live, traces, window)
    if from_min is not None:
        whole = joined([whole, lanes(live, traces, window)])
    return {"whole": whole, "schedule": schedule(live)}


def _glance(bench: BenchView) -> Html:
    live = bench.live
    words = [element("p", badge(state_of(bench)), " ", bench.sentence if not bench.busy else "", cls="big")]
    if bench.calls:
        words.append(element("p", bench.calls, cls="calls", role="alert"))
    if live is not None:
        words.append(element("p", *_run_words(bench)))
    if bench.waiting:
        words.append(element("p", "Waiting:"))
        words.append(bullets(bench.waiting))
    return joined(words)


def _run_words(bench: BenchView) -> list[str]:
    live = bench.live
    assert live is not None
    point = f" Point {point_in_words(live.phases.points[-1])}." if live.phases.points else ""
    simulated = " Simulated." if bench.simulated else ""
    if live.closed:
        return [element("b", live.title), f".{simulated} The run is {live.state}; it {ending(live)}."]
    since = f" {duration(live.now_s)} since the start; "
    return [element("b", live.title), f".{simulated}{point}{since}{ending(live)}."]


def _halt(bench: BenchView, key: str) -> Html:
    """Two steps, no login: the first opens, the second halts. It parks, and never cuts."""
    form = element(
        "form",
        Html(f'<input type="hidden" name="key" value="{key}">'),
        element(
            "label", "Your name ", Html('<input name="who" maxlength="80" required autocomplete="name">')
        ),
        element("button", "Yes, halt and park", type="submit"),
        method="post",
        action=f"/benches/{bench.id}/halt",
    )
    said = "A run on its way ends here; the source is cooled in a controlled way. Nothing leads back to heat."
    summary = element("summary", "Halt this bench …", **{"data-key": "h"})
    return element("details", summary, element("p", said), form, cls="halt")
