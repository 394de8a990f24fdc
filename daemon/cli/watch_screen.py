"""The fleet as a table in the terminal: those that call come first, the rest as far as there is room."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from daemon.cli.watch_fleet import BenchSeen, Fleet
from daemon.results.numbers import duration

_COLUMNS = (("bench", 24), ("state", 11), ("source", 10), ("point", 20), ("heard", 14))
_HEAD_LINES = 4


@contextmanager
def show(console: Console | None = None, title: str = "") -> Iterator[Callable[[Fleet], None]]:
    """A live view; the function given is called with the fleet whenever it shall be drawn."""
    out = console or Console(highlight=False)
    with Live(console=out, auto_refresh=False, screen=out.is_terminal) as live:

        def draw(fleet: Fleet) -> None:
            shown = table(fleet, out.height, title)
            live.update(shown, refresh=True) if out.is_terminal else out.print(shown)

        yield draw


def table(fleet: Fleet, height: int = 24, title: str = "") -> RenderableType:
    """What is shown; `title` stands in the first line."""
    room = max(1, height - _HEAD_LINES - sum(bool(one.calls) for one in fleet.ordered()[:height]))
    benches = fleet.ordered()
    alone = len({one.station for one in benches}) == 1  # then its name need not stand in every line
    grid = Table(box=None, padding=(0, 1, 0, 0))
    for name, width in _COLUMNS:
        grid.add_column(name, max_width=width, no_wrap=True, overflow="ellipsis")
    for one in benches[:room]:
        grid.add_row(
            one.bench if alone else one.name, *_cells(one), style="bold reverse" if one.calls else ""
        )
    hidden = len(benches) - room
    calls = [
        Text(f"CALLS  {one.calls}", style="bold", no_wrap=True, overflow="ellipsis")
        for one in benches[:room]
        if one.calls
    ]
    more = [Text(f"… and {hidden} more without a call")] if hidden > 0 else []
    return Group(_head(fleet, title), *calls, grid, *more)


def _head(fleet: Fleet, title: str) -> Text:
    if not fleet.connected:
        return Text(f"BLIND: {fleet.problem}", style="bold reverse")
    calling = sum(bool(one.calls) for one in fleet.benches.values())
    return Text(f"{len(fleet.benches)} benches, {calling} calling  {title}".rstrip(), style="bold")


def _cells(one: BenchSeen) -> tuple[str, ...]:
    source = "–" if one.temperature_c is None else f"{one.temperature_c:.2f} °C"
    return one.state or one.status, source, one.point, f"{duration(one.quiet_s)} ago"
