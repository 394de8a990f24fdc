"""The page around everything: no script but our own file, nothing from elsewhere, readable without either."""

from __future__ import annotations

from daemon.results.markup import Html, element
from daemon.web.view import BenchView

STATES = {
    "idle": ("○", "calm"),
    "running": ("▶", "good"),
    "holding": ("❚❚", "care"),
    "parking": ("▼", "care"),
    "cut": ("■", "alarm"),
    "interrupted": ("⚡", "alarm"),
    "finished": ("✔", "good"),
    "parked": ("●", "care"),
    "free": ("○", "calm"),
    "recovering": ("↻", "care"),
    "needs arming": ("☞", "care"),
    "needs a person": ("☞", "alarm"),
    "occupied": ("…", "care"),
    "broken": ("✖", "alarm"),
}
"""Sign and loudness of each word: sign and word say the same as the colour."""


def page(title: str, live: str, *body: Html, whose: str = "the daemon") -> str:
    """A whole document; `live` is where its news come from, `whose` who sends them."""
    head = element(
        "head",
        Html('<meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'),
        element("title", title),
        Html('<link rel="stylesheet" href="/style.css"><link rel="icon" href="/icon.svg">'),
        Html('<script src="/live.js" defer></script>'),
        Html('<noscript><meta http-equiv="refresh" content="10"></noscript>'),
    )
    whole = element(
        "html", head, element("body", *body, **{"data-live": live, "data-whose": whose}), lang="en"
    )
    return f"<!DOCTYPE html>\n{whole}"


def part(name: str, content: Html, tag: str = "div") -> Html:
    """A piece that is renewed while the page is open."""
    return element(tag, content, id=name)


def badge(word: str) -> Html:
    """A state as sign and word."""
    sign, loud = STATES.get(word, ("?", "care"))
    return element("span", element("i", sign, **{"aria-hidden": "true"}), f" {word}", cls=f"badge {loud}")


def heart() -> Html:
    """Whether anything is moving: judged by the page's own clock, so that a dead daemon shows."""
    return element(
        "p",
        element("span", "●", cls="beat", **{"aria-hidden": "true"}),
        element("span", "not live: this page was drawn once", id="heart-says"),
        id="heart",
        role="status",
    )


def state_of(bench: BenchView) -> str:
    """The word that says most: the run's state while it is on its way, else what the bench is doing."""
    if bench.busy and bench.live is not None and not bench.live.closed:
        return bench.live.state
    return bench.standing
