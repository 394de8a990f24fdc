"""A night whose instruments hang on real sockets and pseudo-terminals, many times faster than life."""

from __future__ import annotations

import asyncio
import struct
from collections.abc import AsyncIterator, Mapping
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from daemon.night import Bench, Outcome, run_night
from daemon.rehearsal import make_scene, simulation_of
from daemon.results.calibrate import calibrate
from drivers.clock import ScaledClock
from plans.loading import parse_plan
from plans.run_plan import RunPlan
from simulators.scene import Scene
from simulators.served import ScaledTime, served
from tests.nights.rehearsed import EXAMPLES

ONE_POINT = """
[plan]
title = "One point, for the wires"
bench = "bench.toml"
register = "register.toml"
order = "ascending"
[reference]
serial = "TR-REF-01"
channel = 1
[[items]]
serial = "TR-IPRT-11"
channel = 2
[[items]]
serial = "TR-CHK-31"
channel = 3
role = "check_standard"
[defaults]
ramp_k_per_min = 3.0
minimum_soak_minutes = 2
equilibrium = { window_minutes = 2, drift_mk = 20.0, scatter_mk = 10.0, item_drift_mk = 10.0 }
[zero]
first = false
last = false
reason = "only the wires are looked at"
[[points]]
temperature_c = 23.0
[finish]
parking_c = 23.0
"""

BRIDGE = 'profile = "text-bridge"\n'


@dataclass(frozen=True)
class Wiring:
    """What carries source and bridge (tcp or pty), and whether the bridge is spoken to through PyVISA."""

    source: str
    bridge: str
    bridge_through_visa: bool = False
    source_by_pymodbus: bool = False


def one_point(
    bench: str,
    beside: str = "",
    profile: str | None = None,
    point_c: float = 23.0,
    bridge: str = BRIDGE,
) -> RunPlan:
    """One point a little above the room, on a bench that may be at the room's temperature.

    `beside` is put into the bench file; `profile` takes the place of the heat source's,
    `bridge` of the first line of the bridge's table.
    """
    text = (EXAMPLES / bench).read_text("utf-8").replace("minimum_c = 35.0", "minimum_c = 15.0")
    text = text.replace("\n[record]", f"{beside}\n[record]", 1)
    text = text.replace(BRIDGE, bridge, 1)
    if profile is not None:
        text = text.replace('profile = "ascii-bath"', f'profile = "{profile}"')
    plan = ONE_POINT.replace("temperature_c = 23.0", f"temperature_c = {point_c}")
    return parse_plan(plan, text, (EXAMPLES / "register.toml").read_text("utf-8"))


async def night_over_wires(run: RunPlan, record: Path, wiring: Wiring, factor: float) -> Outcome:
    """Run a simulated plan on its bench served on wires, `factor` times faster than life."""
    carriers = {"source": wiring.source, "bridge": wiring.bridge}
    scene = make_scene(run, carriers=carriers)
    if wiring.source_by_pymodbus:
        del carriers["source"]
    async with AsyncExitStack() as stack:
        addresses = await stack.enter_async_context(served(scene, carriers, factor))
        if wiring.source_by_pymodbus:
            addresses["source"] = await stack.enter_async_context(by_pymodbus(scene, factor))
        if wiring.bridge_through_visa:
            addresses["bridge"] = through_visa(addresses["bridge"])
        clock = ScaledClock(factor, simulation_of(run).start_utc)
        return await run_night(with_addresses(run, addresses), record, Bench(clock, {}, simulated=False))


@asynccontextmanager
async def by_pymodbus(scene: Scene, factor: float) -> AsyncIterator[str]:
    """The address of the scene's controller behind a server of pymodbus, which does framing and wire."""
    time = ScaledTime(factor)

    async def act(
        function: int, start: int, address: int, count: int, registers: list[int], written: list[int] | None
    ) -> ExcCodes | None:
        if written is None:
            pdu = struct.pack(">BHH", 3, address, count)
        else:
            pdu = struct.pack(f">BHHB{count}H", 16, address, count, 2 * count, *written)
        frame = struct.pack(">HHHB", 1, 0, len(pdu) + 1, 1) + pdu
        ((_, reply),) = scene.instrument("source").accept(frame, time.now_s())
        if reply[7] & 0x80:
            return ExcCodes(reply[8])
        if written is None:
            at = address - start
            registers[at : at + count] = struct.unpack_from(f">{count}H", reply, 9)
        return None

    words = SimData(0, values=[0] * 125, datatype=DataType.REGISTERS)
    server = ModbusTcpServer(SimDevice(id=1, simdata=[words], action=act), address=("127.0.0.1", 0))
    await server.serve_forever(background=True)
    try:
        assert isinstance(server.transport, asyncio.Server)
        yield f"tcp://127.0.0.1:{server.transport.sockets[0].getsockname()[1]}"
    finally:
        await server.shutdown()


def with_addresses(run: RunPlan, addresses: Mapping[str, str]) -> RunPlan:
    """The same plan on a bench that is real for all it knows."""
    bench, _, _ = run.texts.bench.partition("\n[simulation]")
    for name, address in addresses.items():
        bench = bench.replace(f"simulated:{name}", address)
    return parse_plan(run.texts.plan, bench, run.texts.register)


def through_visa(address: str) -> str:
    """The VISA resource of a socket or a serial port."""
    place = address.partition("?")[0]
    if place.startswith("tcp://"):
        host, port = place.removeprefix("tcp://").split(":")
        return f"visa:TCPIP::{host}::{port}::SOCKET?backend=@py"
    return f"visa:ASRL{place.removeprefix('serial:')}::INSTR?backend=@py"


def differences_mk(first: Path, second: Path) -> dict[tuple[str, int], float]:
    """Item minus reference in one record less the same in another, in mK, by serial and point."""
    return {
        (item.serial, one.index): 1e3
        * (
            (one.resistance_ohm - other.resistance_ohm) / one.sensitivity_ohm_per_k
            - (one.temperature_c - other.temperature_c)
        )
        for item, same in zip(calibrate(first).items, calibrate(second).items, strict=True)
        for one, other in zip(item.points, same.points, strict=True)
    }
