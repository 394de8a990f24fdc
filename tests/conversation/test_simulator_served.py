"""Simulated instruments on real sockets and pseudo-terminals, many times faster than life."""

from __future__ import annotations

import asyncio
import os
import tty

import pytest

from simulators.draw import draw_probe
from simulators.instruments.ascii_bath import check
from simulators.scene import Scene, SceneSpec
from simulators.served import served

FACTOR = 200.0
PATIENCE_S = 10.0


def scene() -> Scene:
    return Scene(SceneSpec("oil_bath", 1, (draw_probe("TR-101", 1, "iprt", 100.0, 1),)))


async def over_tcp(address: str, question: bytes, end: bytes) -> bytes:
    host, port = address.removeprefix("tcp://").split(":")
    reader, writer = await asyncio.open_connection(host, int(port))
    try:
        writer.write(question)
        return await asyncio.wait_for(reader.readuntil(end), PATIENCE_S)
    finally:
        writer.close()
        await writer.wait_closed()


async def over_terminal(address: str, question: bytes, end: bytes) -> bytes:
    loop = asyncio.get_running_loop()
    terminal = os.open(address.removeprefix("serial:").split("?")[0], os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    tty.setraw(terminal)
    heard, complete = bytearray(), asyncio.Event()

    def listen() -> None:
        heard.extend(os.read(terminal, 4096))
        if heard.endswith(end):
            complete.set()

    loop.add_reader(terminal, listen)
    try:
        os.write(terminal, question)
        await asyncio.wait_for(complete.wait(), PATIENCE_S)
    finally:
        loop.remove_reader(terminal)
        os.close(terminal)
    return bytes(heard)


def test_a_bridge_on_a_socket_and_a_bath_on_a_pseudo_terminal_answer() -> None:
    look = b"$01RA" + check(b"$01RA") + b"\r"

    async def main() -> tuple[bytes, bytes]:
        async with served(scene(), {"bridge": "tcp", "source": "pty"}, FACTOR) as addresses:
            reading = await over_tcp(addresses["bridge"], b"ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?\n", b"\n")
            return reading, await over_terminal(addresses["source"], look, b"\r")

    reading, shown = asyncio.run(main())
    assert reading.startswith(b"(@1);+1.00000000E-03;+1.08")
    assert shown.startswith(b">01RA+002")


def test_time_runs_at_the_factor_asked_for() -> None:
    async def main() -> float:
        made = scene()
        loop = asyncio.get_running_loop()
        async with served(made, {"bridge": "tcp"}, FACTOR) as addresses:
            started = loop.time()
            for _ in range(10):
                await over_tcp(addresses["bridge"], b"FRES?\n", b"\n")
            taken_s = loop.time() - started
            assert taken_s < 5.0, "ten conversions of one second each, two hundred times faster"
            return made.source.seconds / taken_s

    assert 0.5 * FACTOR < asyncio.run(main()) < 2.0 * FACTOR


def test_two_clients_each_get_their_own_answers() -> None:
    async def main() -> list[bytes]:
        async with served(scene(), {"bridge": "tcp"}, FACTOR) as addresses:
            asked = (over_tcp(addresses["bridge"], text, b"\n") for text in (b"*IDN?\n", b"SYST:ERR?\n"))
            return await asyncio.gather(*asked)

    identity, error = asyncio.run(main())
    assert identity.startswith(b"TERN ROCK")
    assert error == b'0,"No error"\n'


@pytest.mark.parametrize(
    ("carriers", "factor", "sentence"),
    [({"source": "pigeon"}, 1.0, "tcp or pty"), ({"source": "tcp"}, float("nan"), "time factor")],
)
def test_what_cannot_be_served_is_refused(carriers: dict[str, str], factor: float, sentence: str) -> None:
    async def main() -> None:
        async with served(scene(), carriers, factor):
            pass

    with pytest.raises(ValueError, match=sentence):
        asyncio.run(main())
