"""An instrument on VXI-11, through the VISA wire and PyVISA's Python backend."""

from __future__ import annotations

import asyncio
import gc
from contextlib import ExitStack

import pytest

from drivers.clock import Clock
from drivers.discovery import identify
from drivers.errors import LinkError, LinkLost, NoAnswer
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.lines import Lines
from drivers.link import Link
from drivers.profile_model import SerialSettings
from drivers.registry import open_ambient
from drivers.wires.visa import VisaWire
from simulators.scene import Scene, SceneSpec
from tests.conversation.scripted import Responder, SmallBridge
from tests.conversation.vxi11_peer import on_vxi11

LINE = LineFraming(b"\n", b"\n", 64)


async def ask(link: Link, text: bytes, within_s: float = 2.0) -> bytes:
    return await link.exchange(LINE.wrap(text), LINE.complete, within_s)


def link_to(resource: str) -> Link:
    wire = VisaWire(resource, "@py", b"\n", SerialSettings())
    return Link(Line(wire, Clock(), "vxi-11", quiet_s=0.05, open_within_s=10.0))


@pytest.mark.parametrize("port_mapper", [False, True])
def test_a_profile_drives_its_instrument_over_vxi11(port_mapper: bool) -> None:
    async def main(resource: str) -> None:
        ambient = open_ambient("text-ambient", f"visa:{resource}", Lines(Clock()))
        for _ in range(5):
            conditions = await ambient.conditions()
            assert 900.0 < (conditions["pressure"].value or 0.0) < 1100.0
        await ambient.close()

    with ExitStack() as stack:
        room = Scene(SceneSpec("oil_bath", 1, ())).instrument("ambient")
        try:
            resource = stack.enter_context(on_vxi11(room, port_mapper=port_mapper))
        except OSError:
            pytest.skip("port 111 is taken, or not for this user: the port mapper cannot be tried")
        asyncio.run(main(resource))


def test_who_is_there_is_asked_over_vxi11() -> None:
    with on_vxi11(Responder(SmallBridge(), delay_s=0.0)) as resource:
        answer = asyncio.run(identify("text-bridge", f"visa:{resource}?backend=@py", Clock()))
    assert "serial 0042" in answer.identity, answer.fault


def test_a_late_answer_over_vxi11_is_never_that_of_the_next_question() -> None:
    """The peer keeps it in its output queue: joined to the next one, it would be refused."""
    far_end = Responder(lambda data: b"=" + data, delay_s=0.0)
    far_end.disturb = lambda data, replies: [(0.2, replies[0][1])] if b"slow" in data else replies

    async def main(resource: str) -> None:
        link = link_to(resource)
        assert await ask(link, b"first") == b"=first\n"
        with pytest.raises(NoAnswer):
            await ask(link, b"slow", 0.05)
        for text in (b"third", b"fourth"):
            try:
                assert await ask(link, text) == b"=" + text + b"\n"
            except LinkError:
                continue
        assert await ask(link, b"fifth") == b"=fifth\n"
        link.close()

    with on_vxi11(far_end) as resource:
        asyncio.run(main(resource))


def test_a_cut_connection_over_vxi11_is_lost_and_the_next_question_finds_a_new_one() -> None:
    cuts = [b"cut\n"]

    def answer(data: bytes) -> bytes:
        if data in cuts:
            cuts.clear()
            raise ConnectionError
        return b"=" + data

    async def main(resource: str) -> None:
        link = link_to(resource)
        assert await ask(link, b"first") == b"=first\n"
        with pytest.raises((LinkLost, NoAnswer)):
            await ask(link, b"cut", 0.2)
        assert await ask(link, b"third") == b"=third\n"
        link.close()

    with on_vxi11(Responder(answer, delay_s=0.0)) as resource:
        asyncio.run(main(resource))


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    "resource",
    [
        "TCPIP::127.0.0.1,1::inst0::INSTR",
        "GPIB0::9::INSTR",
        "USB0::0x1234::0x5678::TR0001::INSTR",
    ],
)
def test_what_cannot_be_reached_is_told_in_words(resource: str) -> None:
    answer = asyncio.run(identify("text-bridge", f"visa:{resource}", Clock()))
    assert not answer.identity and resource in answer.fault and "cannot open" in answer.fault
    gc.collect()  # the backend leaves a refused socket to the collector, which complains of it here
