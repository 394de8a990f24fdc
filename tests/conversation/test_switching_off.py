"""Switching the heater off does not wait behind a question that hangs."""

from __future__ import annotations

import asyncio
from contextlib import suppress

import pytest

from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.instrument import HANGING_S
from drivers.registry import open_heat_source
from drivers.roles import HeatSource
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, SmallBath, framed

OFF, LOOK = framed(b"$01", b"WH0"), framed(b"$01", b"RA")


class SlowBath:
    """Answers a look only after `look_s`; keeps when each question came."""

    def __init__(self, look_s: float) -> None:
        self.look_s = look_s
        self.came: list[tuple[float, bytes]] = []
        self._bath = Responder(SmallBath(), delay_s=0.03)

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        self.came.append((now_s, data))
        replies = self._bath.accept(data, now_s)
        return [(self.look_s, reply) for _, reply in replies] if data == LOOK else replies


async def look_at(bath: HeatSource) -> bool:
    with suppress(InstrumentError):
        await bath.status()
        return True
    return False


async def switch_off_during_a_look(look_s: float) -> tuple[SlowBath, float, bool]:
    """The other side, how long the first "off" took to reach it, and whether the look was answered."""
    far_end, clock = SlowBath(0.03), Clock()
    bath = open_heat_source("ascii-bath", "simulated:bath", clock, far_ends={"bath": far_end})
    await bath.identify()
    far_end.look_s = look_s
    look = asyncio.create_task(look_at(bath))
    await clock.sleep(0.01)
    far_end.look_s, asked_s = 0.03, clock.monotonic_s()
    await bath.write_heater(False)
    off_s = next(when_s for when_s, data in far_end.came if data == OFF)
    return far_end, off_s - asked_s, await look


@pytest.mark.parametrize("look_s", [0.6, 1e9])
def test_off_overtakes_a_look_that_hangs_and_is_confirmed_afterwards(look_s: float) -> None:
    far_end, took_s, _ = run(switch_off_during_a_look(look_s))
    assert took_s == pytest.approx(HANGING_S)
    assert [data for _, data in far_end.came].count(OFF) == 2


def test_off_lets_a_healthy_look_finish() -> None:
    far_end, took_s, answered = run(switch_off_during_a_look(0.03))
    assert answered and took_s < 0.03
    assert [data for _, data in far_end.came].count(OFF) == 1
