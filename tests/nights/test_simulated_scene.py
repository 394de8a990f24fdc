"""A whole simulated bench: the same seed gives the same bytes, whoever asks and when."""

from __future__ import annotations

import asyncio
import hashlib
from dataclasses import replace

import pytest

from simulators.draw import Place, draw_probe
from simulators.instruments.ascii_bath import check
from simulators.instruments.modbus_frames import crc16
from simulators.scene import Scene, SceneError, SceneSpec

PLACE = Place(half_width_k=0.003)


def spec(seed: int = 1, model: str = "oil_bath", speech: str = "ascii-bath") -> SceneSpec:
    probes = tuple(draw_probe(f"TR-10{n}", n, "iprt", 100.0, seed, place=PLACE) for n in range(1, 9))
    return SceneSpec(model, seed, probes, source_speech=speech)


def framed(body: bytes) -> bytes:
    return b"$01" + body + check(b"$01" + body) + b"\r"


def conversation(scene: Scene, extra_looks: bool = False) -> list[bytes]:
    """An hour: set-point, then the bath each 10 s and one channel after another each 10 s."""
    source, bridge = scene.instrument("source"), scene.instrument("bridge")
    replies = source.accept(framed(b"WS+0080.000"), 0.5)
    for step in range(360):
        now_s = 10.0 * step + 1.0
        if extra_looks:
            source.accept(framed(b"RS"), now_s - 0.7)
            scene.temperature_c("TR-105")
        replies += source.accept(framed(b"RA"), now_s)
        bridge.accept(b"ROUT:CLOS (@%d)\n" % (step % 8 + 1), now_s + 1.0)
        replies += bridge.accept(b"ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?\n", now_s + 3.0)
    return [reply for _, reply in replies]


def test_the_same_seed_gives_the_same_bytes_and_another_seed_others() -> None:
    digests = {
        seed: {hashlib.sha256(b"".join(conversation(Scene(spec(seed))))).hexdigest() for _ in range(2)}
        for seed in (1, 2)
    }
    assert [len(found) for found in digests.values()] == [1, 1]
    assert digests[1] != digests[2]


def test_asking_more_often_changes_nothing() -> None:
    assert conversation(Scene(spec()), extra_looks=True) == conversation(Scene(spec()))


def test_one_more_probe_changes_nobody_elses_readings() -> None:
    few = Scene(replace(spec(), probes=spec().probes[:4]))
    many = Scene(spec())
    for scene in (few, many):
        scene.instrument("source").accept(framed(b"WS+0080.000"), 0.5)
        scene.advance(1800.0)
    assert few.temperature_c("TR-103") == many.temperature_c("TR-103")


def test_a_settled_reading_is_the_truth_within_noise_and_place() -> None:
    scene = Scene(spec())
    scene.instrument("source").accept(framed(b"WS+0120.000"), 0.0)
    bridge = scene.instrument("bridge")
    bridge.accept(b"ROUT:CLOS (@4)\n", 10_000.0)
    ((_, reply),) = bridge.accept(b"FRES?\n", 10_010.0)
    probe = scene.truth("TR-104")
    assert float(reply) == pytest.approx(
        probe.truth.resistance_ohm(scene.temperature_c("TR-104"), 1.0), rel=3e-6
    )
    medium_c = scene.source.medium_c[-1]
    assert scene.temperature_c("TR-104") == pytest.approx(medium_c + probe.truth.position_k, abs=0.003)


def test_the_oracle_tells_extremes_and_heat() -> None:
    scene = Scene(spec())
    conversation(scene)
    probe = scene.truth("TR-101")
    assert 79.9 < probe.highest_c < 80.5
    assert 21.9 < probe.lowest_c < 22.1
    assert 4.0 < probe.fastest_heating_k_per_min < 6.0
    assert scene.heater_energy_j > 1e6
    assert scene.last_heater_on_s == pytest.approx(3594.0, abs=10.0)


@pytest.mark.parametrize(("model", "speech"), [("dry_block", "modbus-tcp"), ("furnace", "modbus-rtu")])
def test_block_and_furnace_speak_modbus(model: str, speech: str) -> None:
    scene = Scene(spec(1, model, speech))
    pdu = b"\x03\x00\x64\x00\x01"
    rtu = b"\x01" + pdu + crc16(b"\x01" + pdu).to_bytes(2, "little")
    asked = b"\x00\x01\x00\x00\x00\x06\x01" + pdu if speech == "modbus-tcp" else rtu
    ((_, reply),) = scene.instrument("source").accept(asked, 0.0)
    assert b"\x03\x02\x0b\x10" in reply


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"model": "kettle"}, "unknown; known are"),
        ({"source_speech": "morse"}, "is not ascii-bath"),
        ({"probes": (spec().probes[0], replace(spec().probes[1], channel=1))}, "same channel"),
        ({"probes": (spec().probes[0], replace(spec().probes[1], serial="TR-101"))}, "same serial"),
    ],
)
def test_a_scene_that_cannot_be_is_refused(changed: dict[str, object], sentence: str) -> None:
    with pytest.raises(SceneError, match=sentence):
        Scene(replace(spec(), **changed))  # type: ignore[arg-type]


def test_a_fourteen_hour_night_costs_a_few_seconds_at_most() -> None:
    """The aim is two seconds on the project's machine; the limit leaves room for a busy one."""
    loop = asyncio.new_event_loop()
    started = loop.time()
    scene = Scene(spec())
    source, bridge = scene.instrument("source"), scene.instrument("bridge")
    source.accept(framed(b"WS+0080.000"), 0.0)
    for second in range(1, 50_400):
        source.accept(framed(b"RA"), float(second))
        if second % 2:
            bridge.accept(b"ROUT:CLOS (@%d)\n" % (second // 20 % 8 + 1), second + 0.1)
            bridge.accept(b"ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?\n", second + 0.2)
    taken = loop.time() - started
    loop.close()
    assert taken < 10.0
