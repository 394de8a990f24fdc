"""`ohmvigil status --follow`: a live view that fits into 80 by 24, also through tmux and ssh."""

from __future__ import annotations

import asyncio
from itertools import count
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from daemon.cli import EXIT_BAD_OUTCOME, EXIT_DONE
from daemon.cli.say import hours
from daemon.cli.service_client import NoService, Service
from drivers.clock import Clock

_EVERY_S = 1.0
_QUIET_S = 5.0
_CURVE = 24
_LEVELS = "▁▂▃▄▅▆▇█"
_MOST_CHANNELS = 14
_ON_ITS_WAY = ("running", "recovering", "occupied")
_NOTHING: dict[str, Any] = {"benches": []}


def follow(service: Service, console: Console | None = None, looks: int | None = None) -> int:
    """Show until interrupted (or `looks` times); exit 1 when a bench calls for a person at the end."""
    lab = asyncio.run(_follow(service, console or Console(highlight=False), looks))
    return EXIT_BAD_OUTCOME if any(one["calls"] for one in lab["benches"]) else EXIT_DONE


async def _follow(service: Service, console: Console, looks: int | None) -> dict[str, Any]:
    clock, lab = Clock(), _NOTHING
    with Live(console=console, auto_refresh=False, screen=console.is_terminal) as live:
        for number in count(1):
            try:
                lab = service.ask("/api/status")
                shown = screen(lab, console.height)
            except NoService as error:
                shown = Text(f"NOTHING HEARD: {error}", style="bold red")
            if console.is_terminal:
                live.update(shown, refresh=True)
            else:
                console.print(shown)  # in a pipe one picture after another
            if number == looks:
                break
            await clock.sleep(_EVERY_S)
    return lab


def screen(lab: dict[str, Any], height: int = 24) -> RenderableType:
    """All benches, the room shared between those with a run."""
    running = [one for one in lab["benches"] if _on_its_way(one)]
    calling = sum(bool(one["calls"]) for one in lab["benches"])
    # One line stays for the head and one for the cursor.
    room = height - 2 - len(lab["benches"]) - calling - sum(bool(one["run"]) for one in lab["benches"])
    rows = max(2, room // max(1, len(running)))
    head = f"{lab['lab']}  {lab['utc']}  curves: the last 15 min"
    parts: list[Text | Table] = [_line(head, "bold")]
    for bench in lab["benches"]:
        parts += _bench(bench, min(rows, _MOST_CHANNELS))
    return Group(*parts)


def curve(values: list[float], width: int = _CURVE) -> str:
    """The latest values as small blocks between their lowest and highest."""
    latest = values[-width:]
    low, high = min(latest, default=0.0), max(latest, default=0.0)
    span = (high - low) or 1.0
    return "".join(_LEVELS[round((value - low) / span * (len(_LEVELS) - 1))] for value in latest)


def _bench(bench: dict[str, Any], rows: int) -> list[Text | Table]:
    run = bench["run"]
    word = run["state"] if _on_its_way(bench) else bench["standing"]
    parts: list[Text | Table] = [_line(f"{bench['id']}  {word.upper()}  {bench['sentence']}", "bold")]
    if bench["calls"]:
        parts.append(_line(f"CALLS FOR A PERSON  {bench['calls']}", "bold reverse"))
    if _on_its_way(bench):
        parts += [_line(_where(run), ""), _channels(run["channels"], rows)]
    elif run:
        parts.append(_line(f"  last run: {run['title']}: {run['state']} after {hours(run['elapsed_s'])}", ""))
    return parts


def _on_its_way(bench: dict[str, Any]) -> bool:
    return bool(bench["run"]) and bench["standing"] in _ON_ITS_WAY


def _where(run: dict[str, Any]) -> str:
    quiet = f"  NOTHING NEW for {run['quiet_s']:.0f} s" if run["quiet_s"] > _QUIET_S else ""
    end_s = run["estimated_end_s"]
    left = f", about {hours(max(0.0, end_s - run['elapsed_s']))} to go" if end_s is not None else ""
    place = f"point {run['point']}" if run["point"] else run["title"]
    return f"  {place}: {hours(run['elapsed_s'])}{left}{quiet}"


def _channels(channels: list[dict[str, Any]], rows: int) -> Table:
    table = Table.grid(padding=(0, 1))
    for one in channels[:rows]:
        now = "–" if one["temperature_c"] is None else f"{one['temperature_c']:.3f} °C"
        spread_mk = 1e3 * (max(one["recent_c"], default=0.0) - min(one["recent_c"], default=0.0))
        spread = f"{spread_mk:.1f} mK" if spread_mk < 1e3 else f"{spread_mk / 1e3:.1f} K"
        table.add_row(f"  {one['name']:<13}", f"{now:>13}", curve(one["recent_c"]), f"{spread:>9}")
    return table


def _line(words: str, style: str) -> Text:
    return Text(words, style=style, no_wrap=True, overflow="ellipsis")
