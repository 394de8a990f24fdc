"""A bridge with one input that shows resistance / standard resistor; a scanner of its own feeds the input."""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping

from simulators.instruments.text_bridge import OVERLOAD, Input, TextBridge

IDENTITY = "TERN ROCK WORKSHOP,RATIO-1,0051,1.0"
SHORTEST_S, LONGEST_S = 0.5, 8.0
LOWEST_OHM, HIGHEST_OHM = 1.0, 500.0


class RatioBridge(TextBridge):
    """The far end of its wire. `resistor_ohm` is what its standard resistor really has."""

    own_identity = IDENTITY

    def __init__(
        self,
        inputs: Mapping[int, Input],
        prepare: Callable[[float], None],
        chance: random.Random,
        resistor_ohm: float,
    ) -> None:
        super().__init__(inputs, prepare, chance)
        self.wiring = {channel: channel for channel in range(1, 97)}
        self._channel = 0
        self._resistor_ohm = resistor_ohm
        self._reversed = False
        self._questions["SOUR:CURR?"] = lambda at_s: f"{abs(self._current_ma) * 1e-3:.8E}"
        self._questions["SOUR:POL?"] = lambda at_s: "INV" if self._reversed else "NORM"
        self._questions["SENS:RANG?"] = lambda at_s: f"{self.range_ohm:.1f}"
        self._questions["SENS:APER?"] = lambda at_s: f"{self.integration_s:.2f}"
        self._questions["RAT?"] = self._questions.pop("FRES?")

    def connect(self, channel: int, now_s: float) -> None:
        """The scanner puts another thermometer to the input; 0 when none."""
        self._channel = channel
        self._switch(now_s)

    def restart(self) -> None:
        """As after power-up; what the scanner has closed stays closed."""
        channel, self._reversed = self._channel, False
        super().restart()
        self._channel = channel

    def _order(self, header: str, argument: str, at_s: float) -> bool:
        match header:
            case "ROUT:CLOS":
                return False  # it has no scanner
            case "SOUR:POL" if argument in ("INV", "NORM"):
                self._turn(argument == "INV", at_s)
            case "SOUR:CURR":
                # Its current has no sign; which way it flows is a switch.
                signed = f"{'-' if self._reversed else '+'}{argument}"
                self._drive(signed if argument[:1].isdigit() else "", at_s)
            case "SENS:RANG":
                self.range_ohm = self._number(argument, LOWEST_OHM, HIGHEST_OHM, self.range_ohm)
            case "SENS:APER":
                self.integration_s = self._number(argument, SHORTEST_S, LONGEST_S, self.integration_s)
            case _:
                return super()._order(header, argument, at_s)
        return True

    def _turn(self, reverse: bool, at_s: float) -> None:
        if reverse != self._reversed:
            self._reversed, self._current_ma = reverse, -self._current_ma
            self._switch(at_s)

    def _number(self, argument: str, low: float, high: float, before: float) -> float:
        try:
            number = float(argument)
        except ValueError:
            number = low - 1.0
        if low <= number <= high:
            return number
        self._errors.append('-222,"Data out of range"')
        return before

    def _shown(self, ohm: float) -> str:
        return f"{ohm if ohm == OVERLOAD else ohm / self._resistor_ohm:+.9E}"
