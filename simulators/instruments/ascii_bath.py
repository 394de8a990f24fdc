"""A stirred bath's controller: framed text with an exclusive-or check, CR at the end both ways."""

from __future__ import annotations

import random
from collections.abc import Callable
from functools import reduce
from operator import xor

from simulators.physics.heat import HeatSource

IDENTITY = "EXBATH-0007"
ANSWER_S = 0.030
JITTER_S = 0.006
SET_POINT_RANGE_C = (-40.0, 300.0)
RAMP_RANGE_K_PER_MIN = (0.05, 20.0)
LONGEST_FRAME = 64
UNKNOWN = "??E2"


def check(text: bytes) -> bytes:
    """Two upper-case hexadecimal digits of the exclusive-or of all bytes."""
    return b"%02X" % reduce(xor, text, 0)


class AsciiBath:
    """The far end of the bath's wire; unit number 01.

    `prepare(now_s)` brings the physics up to the moment. Faults act by the plain attributes `identity`,
    `deaf_to_writes` (confirms and does nothing) and `frozen` (repeats the last temperature).
    """

    def __init__(self, source: HeatSource, prepare: Callable[[float], None], chance: random.Random) -> None:
        self.identity = IDENTITY
        self.deaf_to_writes = False
        self.frozen = False
        self._source = source
        self._prepare = prepare
        self._chance = chance
        self._buffer = b""
        self._shown = ""

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at `now_s`; replies as (delay in s, bytes). A wrong check is not answered."""
        self._prepare(now_s)
        if not self._source.powered:
            self._buffer = b""
            return []
        *frames, self._buffer = (self._buffer + data).split(b"\r")
        self._buffer = self._buffer[-LONGEST_FRAME:]
        return [self._reply(frame[3:-2].decode("ascii", "replace")) for frame in frames if _sound(frame)]

    def _reply(self, body: str) -> tuple[float, bytes]:
        text = b">01" + self._answer(body).encode()
        return ANSWER_S + self._chance.random() * JITTER_S, text + check(text) + b"\r"

    def _answer(self, body: str) -> str:
        controller = self._source.controller
        match body:
            case "ID":
                return f"ID{self.identity}"
            case "RA":
                return self._look()
            case "RU":
                return f"RU{self._source.on_s:07d}"
            case "RS":
                return f"RS{controller.set_point_c:+09.3f}"
            case "RR":
                return f"RR{controller.ramp_k_per_min:+06.2f}"
            case "WH0" | "WH1" | "WC0" | "WC1":
                return self._switch(body)
        return self._write(body)

    def _look(self) -> str:
        source, controller = self._source, self._source.controller
        if not (self.frozen and self._shown):
            self._shown = f"{source.displayed_c:+09.3f}"
        flags = (
            controller.heater_on,
            source.over_temperature,
            source.stirrer_on,
            source.level_low,
            controller.cooling_on or source.stuck_cooling,
        )
        states = ",".join("1" if flag else "0" for flag in flags)
        return f"RA{self._shown},{controller.set_point_c:+09.3f},{source.output_percent:+06.1f},{states}"

    def _switch(self, body: str) -> str:
        if not self.deaf_to_writes:
            on = body[2] == "1"
            if body[1] == "H":
                self._source.controller.heater_on = on
            else:
                self._source.controller.cooling_on = on
        return f"{body[:2]}OK"

    def _write(self, body: str) -> str:
        command, limits = body[:2], {"WS": SET_POINT_RANGE_C, "WR": RAMP_RANGE_K_PER_MIN}
        if command not in limits:
            return UNKNOWN
        try:
            value = float(body[2:])
        except ValueError:
            return UNKNOWN
        low, high = limits[command]
        if not (low <= value <= high):
            return f"{command}E1"
        if not self.deaf_to_writes:
            self._take(command, value)
        return f"{command}OK"

    def _take(self, command: str, value: float) -> None:
        if command == "WS":
            self._source.controller.write_set_point(round(value, 3), self._source.sensor_c)
        else:
            self._source.controller.ramp_k_per_min = round(value, 2)


def _sound(frame: bytes) -> bool:
    return frame[:3] == b"$01" and len(frame) >= 5 and frame[-2:] == check(frame[:-2])
