"""A heating bench with a bad cable: readings fail, but none is stale, swapped or invented."""

from __future__ import annotations

import asyncio
import random

import pytest

from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.registry import open_bridge, open_heat_source
from simulators.draw import Place, draw_probe
from simulators.faults import Fault
from simulators.scene import Scene, SceneSpec
from simulators.virtual_time import run

HOUR_S = 3600.0
KINDS = ("late-answer", "garbage", "half-line", "silence", "disconnect", "reset")
# The bath heats by some 0.08 K/s, so a look that is 5 s old is about 0.4 K too low.
STALE_K = 0.02
# The probes' resistances differ by more than 1 Ω from one channel to the next.
SWAPPED_OHM = 0.5


def bench(seed: int, device: str) -> Scene:
    chance = random.Random(seed)
    faults = tuple(
        Fault(chance.choice(KINDS), chance.uniform(60.0, HOUR_S), device, chance.uniform(0.1, 20.0))
        for _ in range(30)
    )
    probes = tuple(
        draw_probe(f"TR-10{n}", n, "iprt", 100.0 + 2.0 * n, 1, place=Place(half_width_k=0.003))
        for n in range(1, 4)
    )
    return Scene(SceneSpec("oil_bath", seed, probes, faults=faults))


@pytest.mark.parametrize("seed", range(4))
def test_no_look_at_the_bath_is_an_old_one(seed: int) -> None:
    async def main() -> tuple[int, int]:
        scene, clock = bench(seed, "source"), Clock()
        bath = open_heat_source(
            "ascii-bath", "simulated:s", clock, far_ends={"s": scene.instrument("source")}
        )
        await bath.write_ramp(20.0)
        await bath.write_set_point(290.0)
        seen = failed = 0
        while clock.monotonic_s() < HOUR_S:
            try:
                shown = (await bath.status()).temperature.value
            except InstrumentError:
                failed += 1
            else:
                seen += 1
                assert shown == pytest.approx(scene.source.displayed_c, abs=STALE_K)
            await asyncio.sleep(
                0.7
            )  # an answer 5 s late then falls into the waiting time of a later question
        return seen, failed

    seen, failed = run(main())
    assert seen > 2000 and failed > 30


@pytest.mark.parametrize("seed", range(4))
def test_no_resistance_is_that_of_another_channel_or_time(seed: int) -> None:
    async def main() -> tuple[int, int]:
        scene, clock = bench(seed, "bridge"), Clock()
        bridge = open_bridge("text-bridge", "simulated:b", clock, far_ends={"b": scene.instrument("bridge")})
        seen = failed = 0
        while clock.monotonic_s() < HOUR_S:
            channel = 1 + seen % 3
            try:
                reading = await bridge.measure(channel, 1.0)
            except InstrumentError:
                failed += 1
                await asyncio.sleep(1.0)
                continue
            seen += 1
            probe = scene.truth(f"TR-10{channel}")
            assert reading.value == pytest.approx(probe.resistance_ohm(probe.temperature_c), abs=SWAPPED_OHM)
        return seen, failed

    seen, failed = run(main())
    assert seen > 1000 and failed > 30
