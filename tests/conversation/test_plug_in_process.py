"""A plug-in that misbehaves silences its own instrument, within its time, and nothing else."""

from __future__ import annotations

import asyncio
import gc
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from drivers import plug_in
from drivers.clock import Clock
from drivers.errors import NoAnswer, OutsideLimits, PlugInFault
from drivers.lines import Lines
from drivers.plug_in_words import Garbage, plain, value_of
from drivers.quantities import Reading, absent
from drivers.registry import open_heat_source, open_readout
from drivers.roles import BridgeCapabilities, HeatSourceCapabilities, SourceStatus
from simulators.virtual_time import run
from tests.conversation.scripted import Responder
from tests.conversation.test_registry import install

ROOT = Path(__file__).parents[2]
LAMP = """
import os, sys, time
from drivers.quantities import Reading

class Lamp:
    def __init__(self, link, clock):
        self.link, self.clock = link, clock
    async def identify(self):
        reply = await self.link.exchange(b"who\\n", lambda got: got.find(b"\\n") + 1, 1.0)
        return f"{reply.decode().strip()} {os.getpid()}"
    async def temperatures(self):
        BEHAVIOUR
    async def close(self):
        pass
"""
GOOD = 'return {"a": Reading(21.5, "degC", self.clock.monotonic_s())}'


@pytest.fixture
def lamp(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder in which a lamp that behaves is installed."""
    install(tmp_path, "lamp", "lamp_module:Lamp", LAMP.replace("BEHAVIOUR", GOOD))
    monkeypatch.syspath_prepend(str(tmp_path))
    return tmp_path


def behave(folder: Path, behaviour: str) -> None:
    """Another lamp under the same name."""
    (folder / "lamp_module.py").write_text(LAMP.replace("BEHAVIOUR", behaviour))


def opened(clock: Clock) -> plug_in.PlugInDevice:
    lines = Lines(clock, {"bench": Responder(lambda data: b"lamp 1\n")})
    device = open_readout("lamp", "simulated:bench", lines)
    assert isinstance(device, plug_in.PlugInDevice)
    return device


@pytest.mark.parametrize(
    ("behaviour", "told"),
    [
        ("while True: pass", "gave no answer within 0.5 s"),
        ("time.sleep(60)", "gave no answer within 0.5 s"),
        ("os._exit(3)", "ended by itself"),
        ("raise SystemExit(3)", "SystemExit: 3"),
        ('return {"a": 21.5, "b": object()}', "gave <object object"),
        ('return {"a": float("nan")}', "gave nan"),
        ('return Reading(21.5, "degC", 0.0)', "not a Mapping"),
        ('return {"a": Reading(21.5, "degC", self.clock.monotonic_s() - 1.0)}', "not read in this call"),
        (
            'self.link._program._channel._end.sendall(b"21.5\\n" * 9)\n        return {}',
            "no value of its role",
        ),
        ("await self.clock.sleep(float('nan'))", "ValueError"),
        ("await self.clock.sleep(61.0)", "seconds of 61 s, allowed 0 to 60 s"),
        ("while True: await self.clock.sleep(50.0)", "kept its instrument busy for more than 120 s"),
    ],
)
def test_whatever_a_plug_in_does_its_call_fails_in_words_and_in_time(
    lamp: Path, monkeypatch: pytest.MonkeyPatch, behaviour: str, told: str
) -> None:
    monkeypatch.setattr(plug_in, "OWN_CODE_S", 0.5)
    behave(lamp, behaviour)

    async def main() -> tuple[str, float]:
        device, began_s = opened(Clock()), time.perf_counter()
        with pytest.raises(PlugInFault) as caught:
            await device.temperatures()
        took_s = time.perf_counter() - began_s
        await device.close()
        return str(caught.value), took_s

    text, took_s = run(main())
    assert text.startswith("plug-in lamp, temperatures") and told in text
    assert took_s < 2.0


def test_what_a_plug_in_prints_or_reads_from_the_terminal_goes_nowhere(
    lamp: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    behave(lamp, f"print('hello'); sys.stderr.write('hello'); sys.stdin.read(); {GOOD}")

    async def main() -> float | None:
        device = opened(Clock())
        (shown,) = (await device.temperatures()).values()
        await device.close()
        return float(shown.value)

    assert run(main()) == 21.5
    assert capfd.readouterr() == ("", "")


def test_a_plug_in_that_was_ended_is_started_anew_and_proves_who_it_is(
    lamp: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def main() -> tuple[str, str]:
        clock = Clock()
        device = opened(clock)
        first = await device.identify()
        with pytest.raises(PlugInFault, match="ended by itself"):
            await device.temperatures()
        with pytest.raises(PlugInFault):
            await device.temperatures()  # started anew at once, and fails again
        with pytest.raises(PlugInFault, match=r"is started anew in 10 s; it ended by itself"):
            await device.identify()
        await clock.sleep(plug_in.ANEW_EVERY_S)
        again = await device.identify()
        await device.close()
        return first, again

    behave(lamp, "os._exit(3)")
    first, again = run(main())
    assert first.startswith("lamp 1 ") and again.startswith("lamp 1 ") and first != again


def test_while_a_plug_in_hangs_everything_else_goes_on(lamp: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plug_in, "OWN_CODE_S", 0.3)
    behave(lamp, "time.sleep(60)")

    async def main() -> int:
        device, ticks = opened(Clock()), 0
        hanging = asyncio.create_task(device.temperatures())
        while not hanging.done():
            await asyncio.sleep(0.01)
            ticks += 1
        assert isinstance(hanging.exception(), PlugInFault)
        await device.close()
        return ticks

    assert asyncio.run(main()) > 10


def test_a_question_that_nobody_waits_for_any_more_does_not_answer_the_next(lamp: Path) -> None:
    behave(lamp, f"await self.clock.sleep(5.0); {GOOD}")

    async def main() -> str:
        device = opened(Clock())
        given_up = asyncio.create_task(device.temperatures())
        await asyncio.sleep(1.0)
        given_up.cancel()
        identity: str = await device.identify()
        await device.close()
        return identity

    assert run(main()).startswith("lamp 1 ")


def test_a_wire_that_is_silent_is_told_as_such_and_the_plug_in_lives_on(lamp: Path) -> None:
    async def main() -> None:
        device = open_readout(
            "lamp", "simulated:bench", Lines(Clock(), {"bench": Responder(lambda data: b"")})
        )
        for _ in range(2):
            with pytest.raises(NoAnswer):
                await device.identify()
            await asyncio.sleep(10.0)
        await device.close()

    run(main())


KETTLE = """
import os
from drivers.quantities import Reading
from drivers.roles import HeatSourceCapabilities, SourceStatus

class Kettle:
    capabilities = HeatSourceCapabilities(20.0, 95.0, 0.1)
    def __init__(self, link, clock):
        self.clock, self.set_point_c = clock, 20.0
    async def identify(self):
        return "kettle"
    async def status(self):
        now_s = self.clock.monotonic_s()
        return SourceStatus(now_s, Reading(21.0, "degC", now_s), Reading(self.set_point_c, "degC", now_s))
    async def write_set_point(self, temperature_c):
        if temperature_c == 66.0:
            os._exit(6)
        self.set_point_c = temperature_c
    async def make_safe(self):
        self.set_point_c = 20.0
    async def close(self):
        pass
"""


@pytest.mark.parametrize("set_point_c", [80.1, 96.0, 19.9, float("nan"), float("inf")])
def test_no_set_point_outside_the_bench_s_limits_ever_reaches_a_plug_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, set_point_c: float
) -> None:
    install(tmp_path, "kettle", "kettle_module:Kettle", KETTLE)
    monkeypatch.syspath_prepend(str(tmp_path))

    async def main() -> float | None:
        far_ends = {"bench": Responder(lambda data: b"")}
        kettle = open_heat_source(
            "kettle", "simulated:bench", Clock(), far_ends=far_ends, limits_c=(-30.0, 80.0)
        )
        assert (kettle.capabilities.minimum_c, kettle.capabilities.maximum_c) == (20.0, 80.0)
        await kettle.write_set_point(50.0)
        with pytest.raises(OutsideLimits, match="outside 20 to 80 °C; nothing was sent"):
            await kettle.write_set_point(set_point_c)
        shown = (await kettle.status()).set_point.value
        await kettle.close()
        return shown

    assert run(main()) == 50.0


def test_a_halt_does_not_wait_for_a_plug_in_that_was_just_ended(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(tmp_path, "kettle", "kettle_module:Kettle", KETTLE)
    monkeypatch.syspath_prepend(str(tmp_path))

    async def main() -> None:
        far_ends = {"bench": Responder(lambda data: b"")}
        kettle = open_heat_source("kettle", "simulated:bench", Clock(), far_ends=far_ends)
        for _ in range(2):
            await kettle.write_set_point(50.0)
            with pytest.raises(PlugInFault, match="ended by itself"):
                await kettle.write_set_point(66.0)
            await kettle.make_safe()
        assert (await kettle.status()).set_point.value == 20.0
        await kettle.close()

    run(main())


def test_a_plug_in_ends_with_the_program(lamp: Path) -> None:
    """Killed, not closed: its end of the socket is what the plug-in notices."""
    code = (
        "import asyncio, os\n"
        "from drivers.clock import Clock\n"
        "from tests.conversation.test_plug_in_process import opened\n"
        "async def main():\n"
        "    print((await opened(Clock()).identify()).split()[-1], flush=True)\n"
        "    os.kill(os.getpid(), 9)\n"
        "from simulators.virtual_time import run\n"
        "run(main())\n"
    )
    paths = os.pathsep.join((str(lamp), str(ROOT)))
    done = subprocess.run(
        [sys.executable, "-c", code], env=os.environ | {"PYTHONPATH": paths}, capture_output=True, check=False
    )
    assert done.returncode == -9
    number = int(done.stdout)
    for _ in range(100):
        if not Path(f"/proc/{number}/stat").exists() or _ended(number):
            return
        time.sleep(0.05)
    raise AssertionError("the plug-in outlived the program")


def _ended(number: int) -> bool:
    return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z"


def test_an_instrument_that_is_forgotten_ends_its_plug_in(lamp: Path) -> None:
    device = opened(Clock())
    assert device._process is not None
    running = device._process._running
    del device
    gc.collect()
    assert running.returncode == -9


VALUES = [
    Reading(1.25, "ohm", 3.5, raw="1.25"),
    absent("degC", 1.0, "open"),
    SourceStatus(
        1.0, Reading(2.0, "degC", 1.0), absent("degC", 1.0, "?"), 12.5, True, None, False, None, "x"
    ),
    BridgeCapabilities(8, (0.5, 1.0), 1.0, 0.5, True, 2, 400.0, None),
    HeatSourceCapabilities(-40.0, 250.0, 0.01, ramp=True),
    {"level_low": False, "level": Reading(90.0, "mm", 1.0)},
]


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
def test_every_value_of_a_role_comes_over_as_it_was(value: object) -> None:
    assert value_of(plain(value)) == value


def reading(**changed: object) -> dict[str, object]:
    """One as it comes over, with something of it changed."""
    told = {"is a": "Reading", "value": 1.0, "unit": "degC", "when_s": 1.0}
    return told | {"quality": "fresh", "raw": "", "reason": ""} | changed


@pytest.mark.parametrize(
    "told",
    [
        {"is a": "Popen", "args": "true"},
        reading(value="hot"),
        reading(quality="best"),
        reading(value=None),
        reading(when_s=True),
        reading(more=1.0),
        {"is a": "ScannerCapabilities", "channels": 4.5, "settling_s": 1.0},
        {"is a": "ScannerCapabilities", "channels": 4},
    ],
)
def test_what_is_no_value_of_a_role_is_refused(told: object) -> None:
    with pytest.raises(Garbage):
        value_of(told)
