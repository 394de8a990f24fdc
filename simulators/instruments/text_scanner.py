"""A scanner of its own with 16 channels and one output, IEEE 488.2 style text, LF at the end."""

from __future__ import annotations

from collections.abc import Callable

from simulators.instruments.text_lines import TextLines

CHANNELS = 16
NO_ERROR = '0,"No error"'


class TextScanner(TextLines):
    """The far end of its wire. `connect(channel, now_s)` puts a channel to the bridge's input; 0 puts none.

    A fault acts by the plain attribute `stuck`: it then confirms a selection by its error queue, and does
    nothing.
    """

    def __init__(self, prepare: Callable[[float], None], connect: Callable[[int, float], None]) -> None:
        super().__init__(b"\n", "*IDN?", "TERN ROCK WORKSHOP,SCAN-16,0009,1.0", prepare)
        self.closed = 0
        self.stuck = False
        self._connect = connect
        self._errors: list[str] = []

    def answer(self, line: str, now_s: float) -> str:
        """Which channel is closed, or the oldest error; a selection has no answer."""
        if line == "ROUT:CLOS:STAT?":
            return f"(@{self.closed})"
        if line == "SYST:ERR?":
            return self._errors.pop(0) if self._errors else NO_ERROR
        number = line.removeprefix("ROUT:CLOS (@").removesuffix(")")
        if not (number.isdecimal() and 1 <= int(number) <= CHANNELS):
            self._errors.append('-222,"Data out of range"')
        elif not self.stuck:
            self.close_channel(int(number), now_s)
        return ""

    def close_channel(self, channel: int, now_s: float) -> None:
        """Close one channel and open the others; 0 opens all."""
        if channel != self.closed:
            self.closed = channel
            self._connect(channel, now_s)
