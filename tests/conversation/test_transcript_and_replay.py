"""What passed on a wire can be played again, the faults included."""

from __future__ import annotations

import asyncio

import pytest

from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.errors import InstrumentError
from drivers.line import Line
from drivers.link import Link
from drivers.profile import load_profile
from drivers.registry import SHIPPED
from drivers.wires.memory import MemoryWire
from drivers.wires.replay import Recorded, ReplayWire
from drivers.wires.wire import Wire
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, SmallBridge, Unreliable


async def readings(wire: Wire, events: list[Recorded]) -> list[str]:
    """Forty readings, each as text: the number, or the kind of failure."""
    profile = load_profile(SHIPPED / "text-bridge.toml")
    link = Link(Line(wire, Clock(), "bench", quiet_s=profile.link.quiet_s, transcript=events.append))
    bridge = ProfileBridge(profile, link, "simulated", Clock())
    outcomes = []
    for n in range(40):
        try:
            reading = await bridge.measure(1 + n % 4, 1.0)
            outcomes.append(f"{reading.when_s:.9f} {reading.raw}")
        except InstrumentError as error:
            outcomes.append(f"{asyncio.get_running_loop().time():.9f} {type(error).__name__}")
    return outcomes


class Faulty(Unreliable):
    """A bridge that takes its time and fails at random."""

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        return [(1.0 + delay_s, reply) for delay_s, reply in super().accept(data, now_s)]


@pytest.mark.parametrize("seed", range(6))
def test_a_replay_gives_the_same_readings_and_the_same_faults_at_the_same_times(seed: int) -> None:
    live: list[Recorded] = []
    again: list[Recorded] = []
    far_end = Faulty(SmallBridge(), seed, 4.0, True)
    first = run(readings(MemoryWire(far_end), live))
    second = run(readings(ReplayWire(live), again))
    assert second == first
    assert [event[2:4] for event in again] == [event[2:4] for event in live]


def test_the_replayed_nights_did_contain_faults() -> None:
    counts = dict.fromkeys(("late", "lost", "cut", "noise", "hang-up"), 0)
    for seed in range(6):
        far_end = Faulty(SmallBridge(), seed, 4.0, True)
        run(readings(MemoryWire(far_end), []))
        counts = {name: counts[name] + far_end.counts[name] for name in counts}
    assert counts["late"] and counts["lost"] and counts["cut"]


def test_a_question_that_was_not_recorded_is_refused() -> None:
    live: list[Recorded] = []
    run(readings(MemoryWire(Responder(SmallBridge(), delay_s=1.0)), live))

    async def main() -> None:
        link = Link(Line(ReplayWire(live), Clock(), "bench"))
        with pytest.raises(InstrumentError, match="not recorded"):
            await link.exchange(b"*RST\n", len, 1.0)

    run(main())


def test_the_transcript_holds_every_byte_in_both_directions() -> None:
    events: list[Recorded] = []
    far_end = Responder(SmallBridge(), delay_s=1.0)
    run(readings(MemoryWire(far_end), events))
    assert [event[3] for event in events if event[2] == "tx"] == far_end.said
