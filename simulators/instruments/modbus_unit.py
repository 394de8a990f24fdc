"""What every simulated Modbus unit does: hear all frames on its line, answer those for its own number."""

from __future__ import annotations

import random
from collections.abc import Callable

from simulators.instruments.modbus_frames import Framing
from simulators.physics.heat import HeatSource

BROADCAST = 0


class ModbusUnit:
    """The far end of a wire; `unit`, `answer_s` and `jitter_s` are the unit's own.

    `prepare(now_s)` brings the physics up to the moment.
    """

    unit: int
    answer_s: float
    jitter_s: float

    def __init__(
        self,
        source: HeatSource,
        prepare: Callable[[float], None],
        chance: random.Random,
        framing: Framing,
    ) -> None:
        self._source = source
        self._prepare = prepare
        self._chance = chance
        self._framing = framing

    @property
    def powered(self) -> bool:
        """Without power nothing is answered."""
        return True

    def accept(self, data: bytes, now_s: float) -> list[tuple[float, bytes]]:
        """Take bytes at `now_s`; replies as (delay in s, bytes). A broadcast is obeyed, not answered."""
        self._prepare(now_s)
        requests = self._framing.requests(data, now_s)
        replies = []
        for unit, pdu, envelope in requests if self.powered else ():
            if unit in (self.unit, BROADCAST):
                answer = self.answer(pdu, now_s)
                if unit == self.unit:
                    delay_s = self.answer_s + self._chance.random() * self.jitter_s
                    replies.append((delay_s, self._framing.wrap(unit, answer, envelope)))
        return replies

    def answer(self, pdu: bytes, now_s: float) -> bytes:
        """Carry out one request; the answer's PDU."""
        raise NotImplementedError
