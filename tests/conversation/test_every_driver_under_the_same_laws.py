"""Every shipped driver, in front of a scripted and of a simulated instrument, keeps the same laws."""

from __future__ import annotations

import asyncio
import re

import pytest

from drivers.clock import Clock
from drivers.conformance import Finding, try_bridge, try_heat_source, try_monitor
from drivers.discovery import everything_of, identify, open_any, serial_ports
from drivers.errors import BadProfile
from drivers.registry import open_bridge, open_heat_source
from drivers.wires.memory import FarEnd
from simulators.scene import Scene, SceneSpec
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, SmallBath, SmallBlock, SmallBridge
from tests.conversation.served import on_tcp


def simulated(speech: str, name: str = "source") -> FarEnd:
    return Scene(SceneSpec("oil_bath", 1, (), speech)).instrument(name)


HEAT_SOURCES = {
    "scripted bath": ("ascii-bath", lambda: Responder(SmallBath())),
    "simulated bath": ("ascii-bath", lambda: simulated("ascii-bath")),
    "scripted block": ("modbus-block", lambda: Responder(SmallBlock())),
    "simulated block": ("modbus-block", lambda: simulated("modbus-tcp")),
}


async def laws_of(profile: str, far_end: FarEnd) -> list[Finding]:
    far_ends = {"bench": far_end}
    if profile == "text-bridge":
        bridge = open_bridge(profile, "simulated:bench", Clock(), far_ends=far_ends)
        return [finding async for finding in try_bridge(bridge)]
    source = open_heat_source(profile, "simulated:bench", Clock(), far_ends=far_ends)
    return [finding async for finding in try_heat_source(source, writes=True)]


@pytest.mark.parametrize("case", HEAT_SOURCES)
def test_a_heat_source_keeps_every_law(case: str) -> None:
    profile, far_end = HEAT_SOURCES[case]
    findings = run(laws_of(profile, far_end()))
    assert [finding for finding in findings if not finding.holds] == []
    assert len(findings) == (12 if profile == "modbus-block" else 11)


@pytest.mark.parametrize(
    "far_end", [lambda: SmallBridge().far_end(), lambda: simulated("ascii-bath", "bridge")]
)
def test_a_bridge_keeps_every_law(far_end: object) -> None:
    findings = run(laws_of("text-bridge", far_end()))  # type: ignore[operator]
    assert [finding for finding in findings if not finding.holds] == []
    assert len(findings) == 1 + 3 + 3 + 8


@pytest.mark.parametrize("role", ["readout", "ambient", "interlocks"])
def test_what_stands_beside_the_source_keeps_every_law(role: str) -> None:
    profile = {"readout": "ascii-readout", "ambient": "text-ambient", "interlocks": "modbus-interlocks"}[role]

    async def main() -> list[Finding]:
        with on_tcp(simulated("ascii-bath", role)) as port:
            device = open_any(profile, f"tcp://127.0.0.1:{port}", Clock())
            ask = everything_of(device)
            assert ask is not None
            findings = [finding async for finding in try_monitor(device, ask)]  # type: ignore[arg-type]
            await device.close()
            return findings

    identity, shown = asyncio.run(main())
    assert identity.holds and shown.holds
    wanted = {
        "readout": r"sensor_a 2\d\.\d+ °C, sensor_b 2\d\.\d+ °C",
        "ambient": r"temperature 2[12][.\d]* °C, pressure 10\d\d[.\d]* hPa, humidity [45]\d[.\d]* %",
        "interlocks": r"stirrer on, level_low off, stirrer_speed 3\d\d 1/min, level 120 mm",
    }
    assert re.fullmatch(wanted[role], shown.seen), shown.seen


def test_an_empty_channel_of_the_simulated_bridge_has_a_reason_and_no_number() -> None:
    async def main() -> None:
        far_ends = {"bench": simulated("ascii-bath", "bridge")}
        reading = await open_bridge("text-bridge", "simulated:bench", Clock(), far_ends=far_ends).measure(
            3, 1.0
        )
        assert reading.value is None and "overload" in reading.reason

    run(main())


def test_a_bath_that_ignores_what_is_written_breaks_a_law() -> None:
    small = SmallBath()
    small.deaf = True
    findings = run(laws_of("ascii-bath", Responder(small)))
    assert [finding.law for finding in findings if not finding.holds] == ["makes itself safe"]


def test_who_is_there_is_asked_at_an_address_without_sending_anything_else() -> None:
    far_end = Responder(SmallBridge(), delay_s=0.0)
    with on_tcp(far_end) as port:
        answer = asyncio.run(identify("text-bridge", f"tcp://127.0.0.1:{port}", Clock()))
        with pytest.raises(BadProfile, match="no-such"):
            asyncio.run(identify("no-such", f"tcp://127.0.0.1:{port}", Clock()))
    assert "BRIDGE-8" in answer.identity and not answer.fault
    assert set(far_end.said) <= {b"*IDN?\n", b"SYST:ERR?\n"}


def test_the_serial_ports_of_this_machine_can_be_listed() -> None:
    assert all(port.device and port.stable for port in serial_ports())
