"""A resistance bridge with an 8-channel scanner that speaks IEEE 488.2 style text, LF at the end.

A conversion takes 1 s and starts when the question arrives; what the scanner or a change of current
leaves behind decays from the moment of switching. A negative current flows the other way: thermal EMF then
counts with the other sign.
"""

from __future__ import annotations

import math
import random
from collections import deque
from collections.abc import Callable, Mapping
from typing import Protocol

IDENTITY = "TERN ROCK WORKSHOP,BRIDGE-8,0042,1.0"
CHANNELS = 8
CURRENTS_MA = (0.1, 0.5, 1.0, 1.4142, 2.0)
HIGHEST_OHM = 500.0
OVERLOAD = 9.9e37
INTEGRATION_S = 1.0
JITTER_S = 0.02
ANSWER_S = 0.004
SETTLING_PPM = 20.0
SETTLING_S = 0.15
NOISE_PPM = 0.5
NOISE_FLOOR_OHM = 5.0
LONGEST_LINE = 512
ERROR_PLACES = 16


class Input(Protocol):
    """What is connected to a channel."""

    noise_factor: float
    emf_uv: float

    def drive(self, when_s: float, current_ma: float) -> None:
        """Let a current in mA flow."""

    def ohm(self, when_s: float) -> float:
        """Resistance in Ω at a moment."""


class TextBridge:
    """The far end of the bridge's wire.

    `prepare(now_s)` brings the physics up to the moment. Faults act by the plain attributes `identity`,
    `wiring` (channel asked for → channel reached), `frozen` (channels that repeat their last text).
    `integration_s` and `range_ohm` are as the panel sets them.
    """

    own_identity = IDENTITY

    def __init__(
        self,
        inputs: Mapping[int, Input],
        prepare: Callable[[float], None],
        chance: random.Random,
        gain_ppm: float = 0.0,
    ) -> None:
        self.identity = self.own_identity
        self.wiring = {channel: channel for channel in range(1, CHANNELS + 1)}
        self.frozen: set[int] = set()
        self.integration_s, self.range_ohm = INTEGRATION_S, HIGHEST_OHM
        self._inputs = inputs
        self._prepare = prepare
        self._chance = chance
        self._gain = 1.0 + 1e-6 * gain_ppm
        self._buffer = b""
        self._errors: deque[str] = deque(maxlen=ERROR_PLACES)
        self._channel, self._current_ma = 1, 1.0
        self._switched_s, self._free_s = -math.inf, -math.inf
        self._mv_before = self._mv = 0.0
        self._last_texts: dict[int, str] = {}
        self._questions: dict[str, Callable[[float], str]] = {
            "FRES?": self._conversion,
            "ROUT:CLOS:STAT?": lambda at_s: f"(@{self._channel})",
            "SOUR:CURR?": lambda at_s: f"{self._current_ma * 1e-3:+.8E}",
            "*IDN?": lambda at_s: self.identity,
            "SYST:ERR?": lambda at_s: self._next_error(),
        }

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at `now_s`; replies as (delay in s, bytes)."""
        self._prepare(now_s)
        *lines, self._buffer = (self._buffer + data).split(b"\n")
        self._buffer = self._buffer[-LONGEST_LINE:]
        return [reply for line in lines for reply in self._line(line, now_s)]

    def restart(self) -> None:
        """As after power-up: first channel, 1 mA, nothing in the queues."""
        self._buffer = b""
        self._errors.clear()
        self._channel, self._current_ma = 1, 1.0
        self._free_s = -math.inf

    def _line(self, line: bytes, now_s: float) -> list[tuple[float, bytes]]:
        at_s = max(now_s, self._free_s)
        answers = []
        for command in line.decode("ascii", "replace").strip().split(";"):
            answer = self._command(command.lstrip(":").strip().upper(), at_s)
            at_s = max(at_s, self._free_s)
            if answer is not None:
                answers.append(answer)
        return [(at_s - now_s + ANSWER_S, (";".join(answers) + "\n").encode())] if answers else []

    def _command(self, command: str, at_s: float) -> str | None:
        """Carry out one command; the answer when it is a question."""
        header, _, argument = command.partition(" ")
        if question := self._questions.get(header):
            return question(at_s)
        if header and not self._order(header, argument.strip(), at_s):
            self._errors.append('-113,"Undefined header"')
        return None

    def _order(self, header: str, argument: str, at_s: float) -> bool:
        """Carry out a command without an answer; False when it is unknown."""
        match header:
            case "ROUT:CLOS":
                self._select(argument, at_s)
            case "SOUR:CURR":
                self._drive(argument, at_s)
            case "*CLS":
                self._errors.clear()
            case _:
                return False
        return True

    def _next_error(self) -> str:
        return self._errors.popleft() if self._errors else '0,"No error"'

    def _select(self, argument: str, at_s: float) -> None:
        number = argument[2:-1]
        known = argument[:2] == "(@" and argument[-1:] == ")" and number.isascii() and number.isdigit()
        if not known or int(number) not in self.wiring:
            self._errors.append('-222,"Data out of range"')
        elif int(number) != self._channel:
            self._channel = int(number)
            self._switch(at_s)

    def _drive(self, argument: str, at_s: float) -> None:
        try:
            asked_ma = float(argument) * 1e3
        except ValueError:
            self._errors.append('-104,"Data type error"')
            return
        offered = [math.copysign(ma, asked_ma) for ma in CURRENTS_MA if abs(ma - abs(asked_ma)) <= 1e-3 * ma]
        if not offered:
            self._errors.append('-222,"Data out of range"')
        elif offered[0] != self._current_ma:
            self._current_ma = offered[0]
            self._switch(at_s)

    def _switch(self, at_s: float) -> None:
        self._switched_s, self._mv_before = at_s, self._mv
        if source := self._input():
            source.drive(at_s, abs(self._current_ma))

    def _input(self) -> Input | None:
        return self._inputs.get(self.wiring.get(self._channel, 0))

    def _conversion(self, at_s: float) -> str:
        self._free_s = at_s + self.integration_s + self._chance.random() * JITTER_S
        text = self._shown(self._reading(at_s))
        if self._channel in self.frozen:
            text = self._last_texts.get(self._channel, text)
        self._last_texts[self._channel] = text
        return text

    def _shown(self, ohm: float) -> str:
        return f"{ohm:+.8E}"

    def _reading(self, at_s: float) -> float:
        noise = self._chance.gauss(0.0, NOISE_PPM * 1e-6 / math.sqrt(self.integration_s / INTEGRATION_S))
        source = self._input()
        ohm = source.ohm(at_s + self.integration_s / 2) if source else math.inf
        if source is None or not (0.0 <= ohm <= self.range_ohm):
            self._mv = 0.0
            return OVERLOAD
        self._mv = ohm * self._current_ma
        spread_ohm = max(ohm, NOISE_FLOOR_OHM) * source.noise_factor / self._current_ma
        emf_ohm = 1e-3 * source.emf_uv / self._current_ma
        return ohm * self._gain + noise * spread_ohm + emf_ohm + self._left_behind_ohm(at_s)

    def _left_behind_ohm(self, at_s: float) -> float:
        """Mean over the conversion of the decaying rest of the last switching step."""
        waited = (at_s - self._switched_s) / SETTLING_S
        if waited > 40.0:
            return 0.0
        through = math.exp(-waited) * (1.0 - math.exp(-self.integration_s / SETTLING_S))
        step_ohm = (self._mv_before - self._mv) / self._current_ma
        return SETTLING_PPM * 1e-6 * step_ohm * through * SETTLING_S / self.integration_s
