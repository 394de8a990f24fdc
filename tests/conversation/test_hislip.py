"""An instrument on HiSLIP, through the VISA wire and PyVISA's Python backend."""

from __future__ import annotations

import asyncio

import pytest

from drivers.clock import Clock
from drivers.discovery import identify
from drivers.errors import LinkError, NoAnswer
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.lines import Lines
from drivers.link import Link
from drivers.profile_model import SerialSettings
from drivers.registry import open_ambient
from drivers.wires.visa import VisaWire
from simulators.scene import Scene, SceneSpec
from tests.conversation.hislip_peer import on_hislip
from tests.conversation.scripted import Responder, SmallBridge
from tests.conversation.served import until

LINE = LineFraming(b"\n", b"\n", 64)


async def ask(link: Link, text: bytes, within_s: float = 2.0) -> bytes:
    return await link.exchange(LINE.wrap(text), LINE.complete, within_s)


def link_to(resource: str) -> Link:
    wire = VisaWire(resource, "@py", b"\n", SerialSettings())
    return Link(Line(wire, Clock(), "hislip", quiet_s=0.05, open_within_s=10.0))


def test_questions_and_answers_pass_over_hislip() -> None:
    async def main(resource: str) -> None:
        link = link_to(resource)
        for n in range(20):
            assert await ask(link, b"%d" % n) == b"=%d\n" % n
        link.close()

    with on_hislip(Responder(lambda data: b"=" + data, delay_s=0.0)) as resource:
        asyncio.run(main(resource))


def test_a_late_answer_over_hislip_is_never_that_of_the_next_question() -> None:
    far_end = Responder(lambda data: b"=" + data, delay_s=0.0)
    far_end.disturb = lambda data, replies: [(0.2, replies[0][1])] if b"slow" in data else replies

    async def main(resource: str) -> None:
        link = link_to(resource)
        assert await ask(link, b"first") == b"=first\n"
        with pytest.raises(NoAnswer):
            await ask(link, b"slow", 0.05)
        assert await ask(link, b"third") == b"=third\n"
        assert await ask(link, b"fourth") == b"=fourth\n"
        link.close()

    with on_hislip(far_end) as resource:
        asyncio.run(main(resource))


def test_a_profile_drives_its_instrument_over_hislip() -> None:
    async def main(bridge: str, room: str) -> None:
        answer = await identify("text-bridge", f"visa:{bridge}?backend=@py", Clock())
        assert "serial 0042" in answer.identity, answer.fault
        ambient = open_ambient("text-ambient", f"visa:{room}", Lines(Clock()))
        conditions = await ambient.conditions()
        assert 900.0 < (conditions["pressure"].value or 0.0) < 1100.0
        await ambient.close()

    scene = Scene(SceneSpec("oil_bath", 1, ()))
    with (
        on_hislip(Responder(SmallBridge(), delay_s=0.0)) as bridge,
        on_hislip(scene.instrument("ambient")) as room,
    ):
        asyncio.run(main(bridge, room))


def test_a_halt_reaches_an_instrument_on_hislip_after_the_question_before_it() -> None:
    """One session does one thing at a time: the halt goes out when what hangs has had its time."""
    far_end = Responder(lambda data: b"")

    async def main(resource: str) -> None:
        link = link_to(resource)
        await link.reach()
        hanging = asyncio.create_task(ask(link, b"hang", 0.3))
        await until(lambda: b"hang\n" in far_end.said, 5.0)
        assert link.halt_now(b"OFF\n")
        with pytest.raises(LinkError):
            await hanging
        await until(lambda: b"OFF\n" in far_end.said, 5.0)
        link.close()

    with on_hislip(far_end) as resource:
        asyncio.run(main(resource))
