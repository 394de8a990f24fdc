"""Asks thousands of questions with known answers over unreliable wires, and counts wrong numbers.

Run from the repository's root: python -m tests.campaigns.wire_faults [--questions 3000]
The stock stacks (PyVISA with its Python backend, pymodbus) answer the same questions for comparison.
"""

from __future__ import annotations

import argparse
import asyncio
import re
import struct
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from dataclasses import dataclass

from drivers.checks import xor8
from drivers.clock import Clock
from drivers.errors import GarbledReply, InstrumentError
from drivers.framing import CheckedFraming, Framing, LineFraming
from drivers.line import Line
from drivers.link import Ask, Link
from drivers.link_events import LinkState
from drivers.modbus import RtuFraming, TcpFraming, read_request, registers_of
from drivers.profile_model import SerialSettings
from drivers.profile_text import matcher
from drivers.wires.memory import FarEnd, MemoryWire
from drivers.wires.serial import SerialWire
from drivers.wires.tcp import TcpWire
from drivers.wires.visa import VisaWire
from drivers.wires.wire import Wire
from tests.campaigns.stock_stacks import STOCK
from tests.conversation.hislip_peer import on_hislip
from tests.conversation.scripted import Unreliable
from tests.conversation.served import on_pty, on_tcp
from tests.conversation.vxi11_peer import on_vxi11

WITHIN_S, LATE_S, QUIET_S = 0.050, 0.080, 0.120
# After a failed reopening only: it outlasts the first back-off. Otherwise the next question follows at
# once, so that late answers fall into it.
BREATH_S = 0.1
# The question that stands for a halt, how often it is put, and how often at most it is repeated.
HALT, HALT_EVERY, HALT_TRIES = 60000, 50, 20
LINE = LineFraming(b"\n", b"\n", 64)
ANSWER = matcher(re.compile(rb"([+-]\d{4}\.\d{3})"))


@dataclass
class Tally:
    """How the questions ended."""

    right: int = 0
    wrong: int = 0
    reported: int = 0
    halts: int = 0
    halts_arrived: int = 0
    longest_s: float = 0.0


def truth_of(question: int) -> int:
    """The answer that belongs to a question, and to no other."""
    return question * 7 % 9973


def text_answer(data: bytes) -> bytes:
    """The text instrument: V? 12 -> +0084.000; who -> +9999.000."""
    out = b""
    for line in data.splitlines():
        number = 9999 if line == b"who" else truth_of(int(line[3:]))
        out += b"%+09.3f\n" % number
    return out


def checked_answer(data: bytes) -> bytes:
    """The same behind a prefix and an exclusive-or check."""
    body = b">" + text_answer(data[1:-3] + b"\n")[:-1]
    return body + b"%02X\n" % xor8(body)


def register_answer(pdu: bytes) -> bytes:
    """Two registers per question hold its answer as an int32; the last ones say who it is."""
    address = struct.unpack_from(">H", pdu, 1)[0]
    number = 9999 if address == 65000 else truth_of(address)
    return struct.pack(">BBi", 3, 4, number)


def rtu_answer(data: bytes) -> bytes:
    """The registers on a serial line."""
    return RtuFraming(1).wrap(register_answer(data[1:-2]))


def tcp_answer(data: bytes) -> bytes:
    """The registers over TCP."""
    pdu = register_answer(data[7:])
    return data[:4] + struct.pack(">HB", len(pdu) + 1, data[6]) + pdu


@dataclass(frozen=True)
class Family:
    """One way of speaking: how to ask number n (None: who are you), and how to read the answer."""

    answer: Callable[[bytes], bytes]
    framing: Callable[[], Framing]
    body: Callable[[int | None], bytes]
    number: Callable[[bytes, bytes], float]


def _text_body(question: int | None) -> bytes:
    return b"who" if question is None else b"V? %d" % question


def _register_body(question: int | None) -> bytes:
    return read_request(3, 65000 if question is None else question, 2)


def _text_number(body: bytes, reply: bytes) -> float:
    return float(ANSWER(reply)[1])


def _register_number(body: bytes, reply: bytes) -> float:
    return float(struct.unpack(">i", registers_of(body, reply))[0])


FAMILIES = {
    "text": Family(text_answer, lambda: LINE, _text_body, _text_number),
    "checked text": Family(
        checked_answer, lambda: CheckedFraming(LINE, b"<", b">", xor8, True), _text_body, _text_number
    ),
    "modbus rtu": Family(rtu_answer, lambda: RtuFraming(1), _register_body, _register_number),
    "modbus tcp": Family(tcp_answer, lambda: TcpFraming(1), _register_body, _register_number),
}


TEXT = ("text", "checked text")
WIRES = ("tcp", "pty", "visa tcp", "visa pty", "visa hislip", "visa vxi-11")
"""Registers go over the first two; VISA looks for the end of a line."""


class Questioner:
    """Asks known questions over one link and counts how they end."""

    def __init__(self, family: Family, wire: Wire, quiet_s: float = QUIET_S) -> None:
        self._family, self._framing = family, family.framing()
        self.link = Link(Line(wire, Clock(), "campaign", quiet_s=quiet_s))
        self.link.prove = self._prove

    async def ask_all(self, count: int, tally: Tally) -> None:
        """Ask questions 0 to count - 1; now and then a halt overtakes one that is under way."""
        loop = asyncio.get_running_loop()
        for question in range(count):
            started_s = loop.time()
            asking = asyncio.create_task(self._ask(question, tally))
            if question % HALT_EVERY == 0:
                await asyncio.sleep(0)
                await self._halt(tally)
            await asking
            tally.longest_s = max(tally.longest_s, loop.time() - started_s)
            if self.link.state is LinkState.BACKING_OFF:
                await asyncio.sleep(BREATH_S)
        self.link.close()
        await asyncio.sleep(0)

    async def _ask(self, question: int, tally: Tally) -> None:
        try:
            number = await self._number(question)
        except InstrumentError:
            tally.reported += 1
            return
        if number == truth_of(question):
            tally.right += 1
        else:
            tally.wrong += 1

    async def _halt(self, tally: Tally) -> None:
        """Repeated until it is confirmed, as drivers do."""
        tally.halts += 1
        for _ in range(HALT_TRIES):
            with suppress(InstrumentError):
                if await self._number(HALT, urgent=True) == truth_of(HALT):
                    tally.halts_arrived += 1
                    return

    async def _number(self, question: int, *, urgent: bool = False) -> float:
        body = self._family.body(question)
        frame = self._framing.wrap(body)
        reply = await self.link.exchange(frame, self._framing.complete, WITHIN_S, urgent=urgent)
        try:
            return self._family.number(body, self._framing.unwrap(reply, frame))
        except InstrumentError as error:
            self.link.distrust(str(error))
            raise

    async def _prove(self, ask: Ask) -> None:
        body = self._family.body(None)
        frame = self._framing.wrap(body)
        reply = await ask(frame, self._framing.complete, WITHIN_S)
        if self._family.number(body, self._framing.unwrap(reply, frame)) != 9999.0:
            raise GarbledReply("this is not the answer to who it is")


async def questions_in_memory(name: str, count: int, seed: int, tally: Tally) -> None:
    """In virtual time: half of the seeds drain, half reopen."""
    family = FAMILIES[name]
    far_end = Unreliable(family.answer, seed, LATE_S, True)
    await Questioner(family, MemoryWire(far_end, fresh_on_reopen=seed % 2 == 0)).ask_all(count, tally)


def _carried(wire: str, far_end: FarEnd) -> AbstractContextManager[object]:
    """What the instrument hangs on: a TCP port, a pseudo-terminal, or an instrument protocol on a port."""
    kind = wire.rpartition(" ")[2]
    return {"tcp": on_tcp, "pty": on_pty, "hislip": on_hislip, "vxi-11": on_vxi11}[kind](far_end)


def _wire(wire: str, place: object) -> Wire:
    names = {"visa tcp": f"TCPIP::127.0.0.1::{place}::SOCKET", "visa pty": f"ASRL{place}::INSTR"}
    if wire.startswith("visa"):
        return VisaWire(names.get(wire, str(place)), "@py", b"\n", SerialSettings(115200))
    return (
        TcpWire("127.0.0.1", int(str(place)))
        if wire == "tcp"
        else SerialWire(str(place), SerialSettings(115200))
    )


@contextmanager
def on_real_wire(name: str, wire: str, seed: int) -> Iterator[Questioner]:
    """A questioner over loopback TCP or a pseudo-terminal, or over VISA on one of its protocols."""
    family = FAMILIES[name]
    far_end = Unreliable(family.answer, seed, LATE_S, wire in ("tcp", "visa tcp"))
    with _carried(wire, far_end) as place:
        yield Questioner(family, _wire(wire, place))


def main() -> int:
    """Print the table; the exit code is 1 when our own link let a wrong number through."""
    from simulators.virtual_time import run

    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--questions", type=int, default=3000, help="on each wire")
    count = parser.parse_args().questions
    print(f"{'wire':34}{'right':>8}{'silently wrong':>16}{'reported':>10}{'halts':>12}{'longest':>10}")
    wrong = 0
    for name in FAMILIES:
        tally = Tally()
        run(questions_in_memory(name, count, 1, tally))
        wrong += _show(f"link, memory, {name}", tally)
        for wire in WIRES if name in TEXT else WIRES[:2]:
            tally = Tally()
            with on_real_wire(name, wire, 2) as questioner:
                asyncio.run(questioner.ask_all(count, tally))
            wrong += _show(f"link, {wire}, {name}", tally)
    for name, (family, ask_all) in STOCK.items():
        tally = Tally()
        far_end = Unreliable(FAMILIES[family].answer, 2, LATE_S, False)
        ask_all(
            far_end, count, WITHIN_S, lambda question, number, tally=tally: _count(tally, question, number)
        )  # type: ignore[misc]
        _show(name, tally)
    return int(wrong > 0)


def _count(tally: Tally, question: int, number: float | None) -> None:
    if number is None:
        tally.reported += 1
    elif number == truth_of(question):
        tally.right += 1
    else:
        tally.wrong += 1


def _show(name: str, tally: Tally) -> int:
    counts = f"{tally.right:8}{tally.wrong:16}{tally.reported:10}"
    halts = f"{tally.halts_arrived:7} of {tally.halts}{tally.longest_s:8.2f} s" if tally.halts else ""
    print(f"{name:34}{counts}{halts}", flush=True)
    return tally.wrong + tally.halts - tally.halts_arrived


if __name__ == "__main__":
    sys.exit(main())
