"""What passed on a wire can be played again, the faults included."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path

import pytest

from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.errors import BadProfile, InstrumentError
from drivers.line import Line
from drivers.link import Link
from drivers.link_events import Event, Recorded
from drivers.profile import load_profile
from drivers.registry import SHIPPED
from drivers.transcript import read_transcript, written_to
from drivers.wires.memory import MemoryWire
from drivers.wires.replay import ReplayWire
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


class Stopped(Clock):
    """Stands still."""

    def utc_s(self) -> float:
        return 1.8e9


def test_a_transcript_on_disk_gives_back_every_byte_and_fault(tmp_path: Path) -> None:
    path = tmp_path / "night.wires.jsonl"
    every_byte = (1.5, "bench", Event.CAME, bytes(range(256)), "0 °C\n")

    for part in (1, 2):
        with written_to(path, Stopped()) as write:
            write(every_byte)
            write((2.0, "other", Event.LOST, b"", "unplugged"))
        assert len(path.read_text("ascii").splitlines()) == 2 * part
    assert read_transcript(path, "bench") == [every_byte, every_byte]
    assert {json.loads(line)["event"] for line in path.read_text("ascii").splitlines()} == {"rx", "lost"}
    assert json.loads(path.read_text("ascii").splitlines()[0])["utc_s"] == 1.8e9
    path.write_text("{}\n", "ascii")
    with pytest.raises(BadProfile, match=r"night\.wires\.jsonl, line 1: is not of a transcript"):
        read_transcript(path, "bench")
