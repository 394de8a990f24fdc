"""The lines of a bench, one for each port: instruments on one port share its line and take turns."""

from __future__ import annotations

from collections.abc import Mapping

from drivers.clock import Clock
from drivers.errors import BadProfile
from drivers.line import Line
from drivers.link import Link
from drivers.link_events import Transcript
from drivers.profile_model import LinkSettings, SerialSettings
from drivers.wires.address import Address
from drivers.wires.memory import FarEnd, MemoryWire
from drivers.wires.wire import Wire

NO_FAR_ENDS: Mapping[str, FarEnd] = {}

_Port = tuple[str, str, int]
_Taken = tuple[object, ...]


class Lines:
    """`far_ends` are the simulated instruments behind "simulated:NAME"."""

    def __init__(
        self, clock: Clock, far_ends: Mapping[str, FarEnd] = NO_FAR_ENDS, transcript: Transcript | None = None
    ) -> None:
        self.clock = clock
        self._far_ends = far_ends
        self._transcript = transcript
        self._lines: dict[_Port, Line] = {}
        self._taken: dict[_Port, _Taken] = {}

    def link(self, place: Address, settings: LinkSettings, half_duplex: bool) -> Link:
        """A link on the line of an address, closed as yet: it opens at its first exchange.

        Raises BadProfile, also when two instruments on one port want different line settings.
        """
        port = place.kind, place.place, place.port
        gap_s = settings.gap_s if place.kind == "serial" else 0.0
        if port not in self._lines:
            name = f"{place.kind}:{place.place}" + (f":{place.port}" if place.port else "")
            self._lines[port] = Line(
                self._wire(place, settings), self.clock, name, transcript=self._transcript, quiet_s=0.0
            )
        self._agree(port, _taken(place, settings))
        line = self._lines[port]
        line.suit(quiet_s=settings.quiet_s, gap_s=gap_s, always_drain=settings.drain, half_duplex=half_duplex)
        return Link(line, line.name if place.unit_id is None else f"{line.name} unit {place.unit_id}")

    def _agree(self, port: _Port, wanted: _Taken) -> None:
        """One port has one speed, one parity, one end of a line."""
        taken = self._taken.setdefault(port, wanted)
        if taken != wanted:
            one, other = (" ".join(str(part) for part in setting) for setting in (taken, wanted))
            raise BadProfile(
                f"{port[0]}:{port[1]}: two instruments share this port and want it set differently "
                f"({one} and {other}); give both the same settings, or each its own port"
            )

    def _wire(self, place: Address, settings: LinkSettings) -> Wire:
        match place.kind:
            case "simulated":
                if place.place not in self._far_ends:
                    known = ", ".join(self._far_ends) or "none"
                    raise BadProfile(f"no simulated instrument is called {place.place!r}; known: {known}")
                return MemoryWire(self._far_ends[place.place], fresh_on_reopen=not settings.drain)
            case "tcp":
                from drivers.wires.tcp import TcpWire

                return TcpWire(place.place, place.port)
            case "serial":
                from drivers.wires.serial import SerialWire

                return SerialWire(place.place, _line(settings.serial, place.options))
            case _:
                from drivers.wires.visa import VisaWire

                backend = place.options.get("backend", "@py")
                return VisaWire(place.place, backend, settings.receive_end, settings.serial)


def _taken(place: Address, settings: LinkSettings) -> _Taken:
    """What the wire itself is set to, and so must be the same for all on it."""
    if place.kind == "serial":
        line = _line(settings.serial, place.options)
        return line.baud, f"{line.bits}{line.parity}{line.stop}"
    return (place.options.get("backend", "@py"), settings.receive_end) if place.kind == "visa" else ()


def _line(settings: SerialSettings, options: Mapping[str, str]) -> SerialSettings:
    return SerialSettings(
        int(options.get("baud", settings.baud)),
        int(options.get("bits", settings.bits)),
        options.get("parity", settings.parity),
        int(options.get("stop", settings.stop)),
    )
