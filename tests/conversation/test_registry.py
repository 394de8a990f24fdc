"""Profiles, addresses and plug-ins are found by name, or refused in words before anything is sent."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from drivers.clock import Clock
from drivers.conformance import try_scanner
from drivers.errors import BadProfile, PlugInFault
from drivers.lines import Lines
from drivers.registry import SHIPPED, open_bridge, open_heat_source, open_readout, open_scanner, plug_ins
from drivers.wires.address import Address, parse_address
from simulators.virtual_time import run
from tests.conversation.scripted import Responder, SmallBath

PLUG_IN = '''
class Lamp:
    """A readout of our own: asks over the link it was given."""

    def __init__(self, link, clock):
        self.link = link

    async def identify(self):
        reply = await self.link.exchange(b"who\\n", lambda buffer: buffer.find(b"\\n") + 1, 1.0)
        return reply.decode().strip()

    async def temperatures(self):
        return {}

    async def close(self):
        self.link.close()
'''


def install(folder: Path, name: str, value: str, module: str) -> None:
    """Put a plug-in into a folder as an installer would."""
    (folder / f"{name}_module.py").write_text(module)
    info = folder / f"{name}-1.0.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n")
    (info / "entry_points.txt").write_text(f"[ohmvigil.drivers]\n{name} = {value}\n")


@pytest.mark.parametrize(
    ("text", "address"),
    [
        ("simulated:source", Address("simulated", "source")),
        ("tcp://bath.example:5025", Address("tcp", "bath.example", 5025)),
        ("tcp://[::1]:502", Address("tcp", "::1", 502)),
        (
            "serial:/dev/x?baud=19200&parity=E",
            Address("serial", "/dev/x", 0, {"baud": "19200", "parity": "E"}),
        ),
        ("serial:COM3", Address("serial", "COM3")),
        ("visa:GPIB0::7::INSTR", Address("visa", "GPIB0::7::INSTR")),
        ("visa:ASRL3::INSTR", Address("visa", "ASRL3::INSTR")),
        ("visa:TCPIP0::10.0.0.7::5025::SOCKET", Address("tcp", "10.0.0.7", 5025)),
        ("visa:ASRL/dev/ttyS0::INSTR", Address("serial", "/dev/ttyS0")),
        (
            "visa:TCPIP::h::5025::SOCKET?backend=@py",
            Address("visa", "TCPIP::h::5025::SOCKET", 0, {"backend": "@py"}),
        ),
    ],
)
def test_an_address_says_where_an_instrument_is(text: str, address: Address) -> None:
    assert parse_address(text) == address


@pytest.mark.parametrize(
    "text",
    [
        "",
        "bath",
        "simulated:",
        "tcp://h",
        "tcp://h:0",
        "tcp://h:99999",
        "tcp://h:5/x",
        "serial:",
        "serial:/dev/x?bau=1",
        "serial:/dev/x?baud=fast",
        "serial:/dev/x?parity=Q",
        "visa:",
        "visa:X?backend=evil",
        "visa:TCPIP::h::70000::SOCKET",
        "gpib:7",
        "tcp://[::1:5",
        "simulated:a\nb",
    ],
)
def test_an_address_of_no_known_form_is_refused_in_words(text: str) -> None:
    with pytest.raises(BadProfile, match="address"):
        parse_address(text)


def test_a_profile_of_the_wrong_role_place_or_name_is_refused() -> None:
    for profile, address, words in (
        ("text-bridge", "simulated:bench", "for the role bridge, not heat-source"),
        ("ascii-bath", "simulated:nobody", "nobody"),
        ("ascii-bath", "visa:GPIB0::7::INSTR", "not for visa"),
        ("no-such", "simulated:bench", "known: ascii-bath, ascii-readout, modbus-block"),
        ("absent.toml", "simulated:bench", "absent.toml"),
    ):
        with pytest.raises(BadProfile, match=words):
            open_heat_source(profile, address, Clock(), far_ends={"bench": Responder(SmallBath())})


def test_a_profile_file_of_one_s_own_is_opened_by_its_path(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text((SHIPPED / "ascii-bath.toml").read_text("utf-8").replace("EXBATH", "OTHER"), "utf-8")
    bath = open_heat_source(str(path), "simulated:bench", Clock(), far_ends={"bench": Responder(SmallBath())})

    async def main() -> None:
        with pytest.raises(Exception, match="OTHER was expected"):
            await bath.identify()

    run(main())


def test_a_plug_in_gets_a_link_and_works(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    install(tmp_path, "lamp", "lamp_module:Lamp", PLUG_IN)
    monkeypatch.syspath_prepend(str(tmp_path))
    assert [(found.name, found.fault) for found in plug_ins()] == [("lamp", "")]

    async def main() -> None:
        far_ends = {"bench": Responder(lambda data: b"lamp 1\n")}
        heard: list[bytes] = []
        lines = Lines(Clock(), far_ends, lambda event: heard.append(event[3]))
        lamp = open_readout("lamp", "simulated:bench", lines)
        assert await lamp.identify() == "lamp 1"
        assert b"who\n" in heard
        await lamp.close()

    run(main())


@pytest.mark.parametrize(
    ("value", "module", "fault"),
    [
        ("broken_module:Driver", "import no_such_thing", "ModuleNotFoundError"),
        ("broken_module:Driver", "raise SystemError('burnt')", "burnt"),
        ("broken_module:Driver", "", "AttributeError"),
        ("broken_module:Driver", "Driver = 7", "not callable"),
        ("broken_module:Driver", "import sys\nsys.exit(3)", "SystemExit"),
        ("absent_module:Driver", "", "ModuleNotFoundError"),
    ],
)
def test_a_faulty_plug_in_is_named_with_its_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, value: str, module: str, fault: str
) -> None:
    install(tmp_path, "broken", value, module)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "broken_module", raising=False)
    (found,) = plug_ins()
    assert found.name == "broken" and fault in found.fault
    with pytest.raises(BadProfile, match="broken"):
        open_bridge("broken", "simulated:bench", Clock(), far_ends={"bench": Responder(lambda data: b"")})


def test_a_plug_in_that_fails_when_called_is_named_with_its_error(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    install(tmp_path, "shy", "shy_module:driver", "def driver(link, clock):\n    return 1 / 0\n")
    monkeypatch.syspath_prepend(str(tmp_path))
    with pytest.raises(BadProfile, match=r"shy.*ZeroDivisionError"):
        open_bridge("shy", "simulated:bench", Clock(), far_ends={"bench": Responder(lambda data: b"")})


ODD = """
from drivers.roles import ScannerCapabilities

class Odd:
    capabilities = ScannerCapabilities(4, 0.1)
    def __init__(self, link, clock):
        pass
    async def identify(self):
        raise KeyError("who")
    async def select(self, channel):
        raise SystemExit(3)
    async def closed(self):
        return None
    async def close(self):
        raise ValueError("no")
"""


@pytest.mark.parametrize(
    ("module", "words"),
    [
        (ODD, ("odd, identify: KeyError: 'who'", "odd, select: SystemExit: 3", "odd, closed: gave None")),
        (ODD.replace("closed", "open"), ("as scanner it needs closed, and has none",)),
        (ODD.replace("capabilities = ", "x = "), ("needs capabilities, a ScannerCapabilities",)),
        (ODD.replace("async def select", "async def choose"), ("as scanner it needs select",)),
    ],
)
def test_what_goes_wrong_inside_a_plug_in_is_told_and_ends_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, module: str, words: tuple[str, ...]
) -> None:
    install(tmp_path, "odd", "odd_module:Odd", module)
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "odd_module", raising=False)

    async def main() -> list[str]:
        lines = Lines(Clock(), {"bench": Responder(lambda data: b"")})
        try:
            odd = open_scanner("odd", "simulated:bench", lines)
        except BadProfile as error:
            return [str(error)]
        told = []
        for ask in (odd.identify, lambda: odd.select(2), odd.closed):
            with pytest.raises(PlugInFault) as caught:
                await ask()
            told.append(str(caught.value))
        await odd.close()
        findings = [finding async for finding in try_scanner(odd)]
        assert findings and not any(finding.holds for finding in findings)
        return told

    for said, wanted in zip(run(main()), words, strict=True):
        assert wanted in said
