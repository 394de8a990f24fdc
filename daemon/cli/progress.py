"""How far long work over many records is, and when it will be done: a line on the terminal that goes away."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def told(doing: str, total: int) -> Iterator[Callable[[int], None]]:
    """What is given is called with the number of records done; `doing` is a word such as "replaying"."""
    columns = (TextColumn(doing), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("", total=total)
        yield lambda done: progress.update(task, completed=done)
