"""Words typed at the terminal of an attended run, while it goes on."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import Callable
from typing import TextIO

from daemon.night import Voice

WORDS = ("proceed", "hold", "release", "halt", "cut", "acknowledge")


def heard_at(terminal: TextIO, who: str) -> Callable[[Voice], None]:
    """What hands the night's voice over to whoever types at `terminal`, one word a line."""

    def hand_over(voice: Voice) -> None:
        loop = asyncio.get_running_loop()
        loop.add_reader(terminal, lambda: _hear(terminal, who, voice, loop))

    return hand_over


def _hear(terminal: TextIO, who: str, voice: Voice, loop: asyncio.AbstractEventLoop) -> None:
    line = terminal.readline()
    word = line.strip().lower()
    if not line:  # the end of the input: nobody will say anything here any more
        loop.remove_reader(terminal)
    elif word not in WORDS:
        print(f"{word!r} is not a word for the run; say {', '.join(WORDS)}.", file=sys.stderr)
    elif not voice(word, who, "typed at the terminal"):
        print(f"{word} has no effect now.", file=sys.stderr)
