"""Far ends for the tests: tiny instruments that know one conversation, written from the protocol."""

from __future__ import annotations

import random
import struct
from collections.abc import Callable
from functools import reduce
from operator import xor

IDENTITY = b"TERN ROCK WORKSHOP,BRIDGE-8,0042,1.0\n"


class Script:
    """Expects exactly these bytes in this order; anything else fails the test."""

    def __init__(self, *lines: tuple[bytes, bytes], delay_s: float = 0.01) -> None:
        self.left = list(lines)
        self._delay_s = delay_s

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        assert self.left, f"nothing was expected any more, but {data!r} came"
        expected, reply = self.left.pop(0)
        assert data == expected, f"{expected!r} was expected, {data!r} came"
        return [(self._delay_s, reply)] if reply else []


class Responder:
    """Answers by a function of the bytes; `said` keeps what came, `disturb` may replace the replies."""

    def __init__(self, answer: Callable[[bytes], bytes], delay_s: float = 0.01) -> None:
        self.said: list[bytes] = []
        self.disturb: Callable[[bytes, list[tuple[float, bytes]]], list[tuple[float, bytes]]] | None = None
        self._answer = answer
        self._delay_s = delay_s

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        self.said.append(data)
        reply = self._answer(data)
        replies = [(self._delay_s, reply)] if reply else []
        return self.disturb(data, replies) if self.disturb else replies


class SmallBridge:
    """The text bridge's conversation with a fixed resistance on each channel."""

    def __init__(self) -> None:
        self.channel = 1
        self.current_a = 1e-3
        self.errors: list[bytes] = []
        self.resistance_ohm = {channel: 100.0 + channel for channel in range(1, 9)}
        self.conversion_s = 1.0
        self.identity = IDENTITY

    def __call__(self, data: bytes) -> bytes:
        return b"".join(self._answer(line) for line in data.decode().splitlines())

    def _answer(self, line: str) -> bytes:
        match line.split(" ", 1):
            case ["*IDN?"]:
                return self.identity
            case ["SYST:ERR?"]:
                return (self.errors.pop(0) if self.errors else b'0,"No error"') + b"\n"
            case ["ROUT:CLOS", channel]:
                self.channel = int(channel[2:-1])
            case ["SOUR:CURR", current]:
                self.current_a = float(current)
            case ["ROUT:CLOS:STAT?;:SOUR:CURR?;:FRES?"]:
                value = self.resistance_ohm[self.channel]
                return b"(@%d);%+.8E;%+.8E\n" % (self.channel, self.current_a, value)
        return b""

    def far_end(self) -> Responder:
        """This bridge on a wire; a conversion takes its time."""
        responder = Responder(self)
        responder.disturb = self._take_time
        return responder

    def _take_time(self, data: bytes, replies: list[tuple[float, bytes]]) -> list[tuple[float, bytes]]:
        return [(self.conversion_s, replies[0][1])] if b"FRES" in data else replies


def framed(prefix: bytes, body: bytes) -> bytes:
    """A frame of the ASCII bath."""
    return prefix + body + b"%02X\r" % reduce(xor, prefix + body)


class SmallBath:
    """The ASCII bath's conversation: remembers set-point, ramp and switches."""

    def __init__(self) -> None:
        self.set_point_c = 25.0
        self.ramp_k_per_min = 5.0
        self.heater, self.cooling = 1, 0
        self.deaf = False

    def __call__(self, data: bytes) -> bytes:
        body = data[3:-3]
        assert data == framed(b"$01", body), "the bath answers a wrong check with nothing"
        return framed(b">01", self._answer(body.decode()).encode())

    def _answer(self, body: str) -> str:
        command, rest = body[:2], body[2:]
        if command in ("WS", "WR", "WH", "WC"):
            return command + self._write(command, rest)
        looks = {
            "ID": "EXBATH-0007",
            "RA": f"+0025.031,{self.set_point_c:+09.3f},+010.5,{self.heater},0,1,0,{self.cooling}",
            "RU": "0007200",
            "RR": f"{self.ramp_k_per_min:+06.2f}",
        }
        return command + looks[command]

    def _write(self, command: str, rest: str) -> str:
        if command == "WS" and not -40.0 <= float(rest) <= 300.0:
            return "E1"
        if not self.deaf:
            name = {"WS": "set_point_c", "WR": "ramp_k_per_min", "WH": "heater", "WC": "cooling"}[command]
            setattr(self, name, int(rest) if command in ("WH", "WC") else float(rest))
        return "OK"


class SmallBlock:
    """The Modbus block's registers behind Modbus TCP frames."""

    def __init__(self) -> None:
        self.registers = {100: 0x0B10, 101: 0, 102: 731}
        self._put(0, ">f", 25.5)
        self._put(2, ">f", 12.5)
        self._put(4, ">H", 0b101)
        self._put(5, ">i", 25000)
        self._put(7, ">HHH", 1, 500, 1)
        self._put(30, ">Hi", 0, 20000)
        self._put(110, ">i", 7200)

    def _put(self, address: int, layout: str, *numbers: float) -> None:
        words = struct.pack(layout, *numbers)
        for at in range(0, len(words), 2):
            self.registers[address + at // 2] = int.from_bytes(words[at : at + 2], "big")

    def pdu(self, request: bytes) -> bytes:
        """The reply to one protocol data unit."""
        function, address = struct.unpack_from(">BH", request)
        if function == 3:
            count = request[4]
            if any(address + at not in self.registers for at in range(count)):
                return bytes((0x83, 2))
            words = [self.registers[address + at] for at in range(count)]
            return struct.pack(f">BB{count}H", 3, 2 * count, *words)
        words = request[3:5] if function == 6 else request[6:]
        self._put(address, f">{len(words) // 2}H", *struct.unpack(f">{len(words) // 2}H", words))
        self.registers[4] = self.registers[4] & ~1 | self.registers[7]
        return request[:5]

    def __call__(self, data: bytes) -> bytes:
        reply = self.pdu(data[7:])
        return data[:4] + struct.pack(">HB", len(reply) + 1, data[6]) + reply


class Unreliable:
    """Disturbs the replies of another far end at random: late, lost, cut, noisy, or hung up.

    Reproducible by its seed. `counts` says how often each happened.
    """

    def __init__(self, answer: Callable[[bytes], bytes], seed: int, late_s: float, hang_up: bool) -> None:
        self._answer = answer
        self._chance = random.Random(seed)
        self._late_s = late_s
        self._hang_up = hang_up
        self.counts = dict.fromkeys(("late", "lost", "cut", "noise", "hang-up"), 0)

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        reply = self._answer(data)
        if not reply:
            return []
        return self._disturbed(reply, self._chance.random())

    def _disturbed(self, reply: bytes, draw: float) -> list[tuple[float, bytes]]:
        half = len(reply) // 2
        for name, share, replies in (
            ("late", 0.020, [(self._late_s, reply)]),
            ("lost", 0.010, []),
            ("cut", 0.005, [(0.0, reply[:half]), (self._late_s, reply[half:])]),
            ("noise", 0.005, [(0.0, bytes(self._chance.randrange(128, 256) for _ in range(4)) + reply)]),
        ):
            if draw < share:
                self.counts[name] += 1
                return replies
            draw -= share
        if self._hang_up and draw < 0.003:
            self.counts["hang-up"] += 1
            raise ConnectionError("hung up")
        return [(0.0, reply)]
