"""The drivers over real sockets and pseudo-terminals, through asyncio, pyserial and PyVISA."""

from __future__ import annotations

import asyncio
import socket
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress

import pytest

from drivers.bridge import ProfileBridge
from drivers.clock import Clock
from drivers.errors import LinkError, LinkLost, NoAnswer, StrayBytes
from drivers.framing import LineFraming
from drivers.line import Line
from drivers.link import Link
from drivers.link_events import LinkState
from drivers.profile import load_profile
from drivers.profile_model import SerialSettings
from drivers.registry import SHIPPED, open_heat_source
from drivers.wires.memory import FarEnd
from drivers.wires.serial import SerialWire
from drivers.wires.tcp import TcpWire
from drivers.wires.visa import VisaWire
from drivers.wires.wire import Wire
from tests.conversation.scripted import Responder, SmallBath, SmallBridge
from tests.conversation.served import on_pty, on_tcp, until

LINE = LineFraming(b"\n", b"\n", 64)
Serve = Callable[[FarEnd], AbstractContextManager[Wire]]


@contextmanager
def tcp(far_end: FarEnd) -> Iterator[Wire]:
    with on_tcp(far_end) as port:
        yield TcpWire("127.0.0.1", port)


@contextmanager
def pty(far_end: FarEnd) -> Iterator[Wire]:
    with on_pty(far_end) as name:
        yield SerialWire(name, SerialSettings(9600))


@contextmanager
def pty_in_a_thread(far_end: FarEnd) -> Iterator[Wire]:
    with on_pty(far_end) as name:
        yield SerialWire(name, SerialSettings(9600), threaded=True)


@contextmanager
def visa_socket(far_end: FarEnd) -> Iterator[Wire]:
    with on_tcp(far_end) as port:
        yield VisaWire(f"TCPIP::127.0.0.1::{port}::SOCKET", "@py", b"\n", SerialSettings(9600))


@contextmanager
def visa_serial(far_end: FarEnd) -> Iterator[Wire]:
    with on_pty(far_end) as name:
        yield VisaWire(f"ASRL{name}::INSTR", "@py", b"\n", SerialSettings(9600))


EVERY_WIRE = pytest.mark.parametrize("serve", [tcp, pty, pty_in_a_thread, visa_socket, visa_serial])


def echo(data: bytes) -> bytes:
    return b"=" + data


async def ask(link: Link, text: bytes, within_s: float = 1.0) -> bytes:
    return await link.exchange(LINE.wrap(text), LINE.complete, within_s)


async def ask_until_answered(link: Link, text: bytes) -> bytes:
    """A busy machine may stall the late answer beyond the quiet time: then it is told, and asked again."""
    for _ in range(2000):
        with suppress(LinkError):
            return await ask(link, text)
        await asyncio.sleep(0.001)
    raise AssertionError("the link did not come back")


@EVERY_WIRE
def test_questions_and_answers_pass_over_every_wire(serve: Serve) -> None:
    async def main(wire: Wire) -> None:
        link = Link(Line(wire, Clock(), "test", quiet_s=0.05))
        for n in range(20):
            assert await ask(link, b"%d" % n) == b"=%d\n" % n
        link.close()

    with serve(Responder(echo, delay_s=0.0)) as wire:
        asyncio.run(main(wire))


@EVERY_WIRE
def test_a_late_answer_is_never_that_of_the_next_question(serve: Serve) -> None:
    far_end = Responder(echo, delay_s=0.0)
    far_end.disturb = lambda data, replies: [(0.08, replies[0][1])] if b"slow" in data else replies

    async def main(wire: Wire) -> None:
        link = Link(Line(wire, Clock(), "test", quiet_s=0.15))
        assert await ask(link, b"first") == b"=first\n"
        with pytest.raises(NoAnswer):
            await ask(link, b"slow", 0.03)
        assert await ask_until_answered(link, b"third") == b"=third\n"
        link.close()

    with serve(far_end) as wire:
        asyncio.run(main(wire))


def test_two_commands_in_a_row_do_not_wait_for_each_other_on_a_socket_of_pyvisa() -> None:
    """Forty milliseconds each, where small writes wait for the acknowledgement of the one before."""

    def answer(data: bytes) -> bytes:
        asked = [line for line in data.splitlines() if line != b"SET"]
        return b"=" + asked[-1] + b"\n" if asked else b""

    far_end = Responder(answer, delay_s=0.0)

    async def main(wire: Wire) -> float:
        link, clock = Link(Line(wire, Clock(), "test")), Clock()
        await ask(link, b"first")
        taken = []
        for _ in range(10):
            started_s = clock.monotonic_s()
            await link.send(b"SET\n")
            await ask(link, b"next")
            taken.append(clock.monotonic_s() - started_s)
        link.close()
        return min(taken)

    with visa_socket(far_end) as wire:
        assert asyncio.run(main(wire)) < 0.03


@pytest.mark.parametrize("serve", [tcp, pty, pty_in_a_thread, visa_socket, visa_serial])
def test_a_halt_reaches_the_instrument_while_a_question_hangs(serve: Serve) -> None:
    far_end = Responder(lambda data: b"")

    async def main(wire: Wire) -> None:
        link = Link(Line(wire, Clock(), "test"))
        hanging = asyncio.create_task(ask(link, b"hang", 5.0))
        await until(lambda: b"hang\n" in far_end.said)
        assert link.halt_now(b"OFF\n")
        with pytest.raises(NoAnswer, match="halt"):
            await hanging
        await until(lambda: b"OFF\n" in far_end.said)
        link.close()

    with serve(far_end) as wire:
        asyncio.run(main(wire))


def test_a_connection_closed_by_the_instrument_is_told_at_once() -> None:
    def hang_up(data: bytes) -> bytes:
        raise ConnectionError("enough")

    async def main(wire: Wire) -> None:
        link = Link(Line(wire, Clock(), "test"))
        async with asyncio.timeout(2.0):
            with pytest.raises(LinkLost):
                await ask(link, b"hello", 30.0)

    with tcp(Responder(hang_up)) as wire:
        asyncio.run(main(wire))


@pytest.mark.parametrize(
    "wire",
    [
        TcpWire("127.0.0.1", 1),
        SerialWire("/dev/no-such-port", SerialSettings()),
        VisaWire("TCPIP::127.0.0.1::1::SOCKET", "@py", b"\n", SerialSettings(9600)),
        VisaWire("GPIB0::7::INSTR", "@py", b"\n", SerialSettings(9600)),
        VisaWire("nonsense", "@py", b"\n", SerialSettings(9600)),
        VisaWire("ASRL/dev/no-such-port::INSTR", "@py", b"\n", SerialSettings(9600)),
    ],
    ids=["tcp", "serial", "visa-socket", "visa-gpib", "visa-nonsense", "visa-serial"],
)
def test_a_wire_that_leads_nowhere_is_refused_in_words(wire: Wire) -> None:
    async def main() -> None:
        link = Link(Line(wire, Clock(), "test"))
        async with asyncio.timeout(5.0):
            with pytest.raises((LinkLost, NoAnswer)):
                await ask(link, b"hello", 0.2)
        link.close()

    asyncio.run(main())


def test_bytes_that_reached_the_machine_but_not_the_program_are_noticed() -> None:
    """The kernel already holds them when the question is to be written; they must not answer it."""

    async def main() -> None:
        listening = socket.create_server(("127.0.0.1", 0))
        link = Link(Line(TcpWire(*listening.getsockname()), Clock(), "test"))
        first = asyncio.create_task(ask(link, b"first"))
        await until(lambda: link.state is LinkState.DIRTY)
        peer, _ = listening.accept()
        peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        peer.sendall(b"=first\n")
        assert await first == b"=first\n"
        peer.sendall(b"=stale\n")
        with pytest.raises(StrayBytes):
            await ask(link, b"second")
        link.close()
        peer.close()
        listening.close()

    asyncio.run(main())


def test_a_serial_port_has_one_owner() -> None:
    async def main(wire: Wire, name: str) -> None:
        first, second = (
            Link(Line(wire, Clock(), "first")),
            Link(Line(SerialWire(name, SerialSettings()), Clock(), "second")),
        )
        await ask(first, b"hello")
        with pytest.raises(LinkLost, match="cannot open"):
            await ask(second, b"hello")
        first.close()

    with on_pty(Responder(echo, delay_s=0.0)) as name:
        asyncio.run(main(SerialWire(name, SerialSettings()), name))


@pytest.mark.parametrize("serve", [tcp, pty, visa_socket])
def test_the_text_bridge_reads_over_a_real_wire(serve: Serve) -> None:
    small, profile = SmallBridge(), load_profile(SHIPPED / "text-bridge.toml")

    async def main(wire: Wire) -> None:
        link = Link(Line(wire, Clock(), "test", quiet_s=0.05))
        bridge = ProfileBridge(profile, link, "tcp", Clock())
        assert "serial 0042" in await bridge.identify()
        for channel in (1, 8):
            await bridge.write(bridge.command("channel"), channel)
            assert small.channel == channel
        await bridge.close()

    with serve(Responder(small, delay_s=0.0)) as wire:
        asyncio.run(main(wire))


def test_the_bath_is_driven_by_its_address_over_tcp_and_serial() -> None:
    async def main(address: str) -> None:
        bath = open_heat_source("ascii-bath", address, Clock())
        await bath.write_set_point(77.5)
        await bath.make_safe()
        status = await bath.status()
        assert (status.set_point.value, status.heater_on) == (20.0, False)
        await bath.close()

    with on_tcp(Responder(SmallBath(), delay_s=0.0)) as port:
        asyncio.run(main(f"tcp://127.0.0.1:{port}"))
    with on_pty(Responder(SmallBath(), delay_s=0.0)) as name:
        asyncio.run(main(f"serial:{name}?bits=8&parity=N"))
