"""Addresses in a bench file: simulated:source, tcp://host:port, serial:/dev/x?baud=9600, visa:RESOURCE.

A VISA resource that is a plain socket or serial port is taken by our own wires, unless a backend is named.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from urllib.parse import parse_qsl, urlsplit

from drivers.errors import BadProfile

FORMS = "simulated:NAME, tcp://HOST:PORT?unit=2, serial:PORT?baud=9600&parity=E&unit=2, visa:RESOURCE"
SERIAL_OPTIONS = ("baud", "bits", "parity", "stop", "unit")
VISA_BACKENDS = ("@py", "@ivi")
_SOCKET = re.compile(r"TCPIP\d*::(?P<host>[A-Za-z0-9._-]+)::(?P<port>[1-9]\d{0,4})::SOCKET", re.IGNORECASE)
_SERIAL_PORT = re.compile(r"ASRL(?P<port>/.+)::INSTR", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Address:
    """Where an instrument is: `kind` is simulated, tcp, serial or visa; `place` a name, host, port
    or resource; `port` a TCP port; `options` what the address overrides."""

    kind: str
    place: str
    port: int = 0
    options: dict[str, str] = field(default_factory=dict)

    @property
    def unit_id(self) -> int | None:
        """Which unit on a port that several share; None where the profile's own is meant."""
        return int(self.options["unit"]) if "unit" in self.options else None


def parse_address(text: str) -> Address:
    """Read an address; raises BadProfile with the forms that are known."""
    kind, colon, rest = text.partition(":")
    if not colon or not rest or kind not in _PARSERS or not text.isprintable():
        raise BadProfile(f"address {text!r}: expected one of {FORMS}")
    return _PARSERS[kind](text, rest)


def _simulated(text: str, rest: str) -> Address:
    return Address("simulated", rest)


def _tcp(text: str, rest: str) -> Address:
    try:
        parts = urlsplit(text)
        host, port = parts.hostname, parts.port
    except ValueError as error:
        raise BadProfile(f"address {text!r}: {error}") from error
    if not host or not port or parts.path or parts.fragment:
        raise BadProfile(f"address {text!r}: expected tcp://HOST:PORT with a port from 1 to 65535")
    _, options = _split_options(text, f"{host}?{parts.query}", ("unit",))
    _check_unit(text, options)
    return Address("tcp", host, port, options)


def _serial(text: str, rest: str) -> Address:
    place, options = _split_options(text, rest, SERIAL_OPTIONS)
    for key in ("baud", "bits", "stop"):
        if key in options and not options[key].isdecimal():
            raise BadProfile(f"address {text!r}: {key} must be a whole number")
    if options.get("parity", "N") not in ("N", "E", "O"):
        raise BadProfile(f"address {text!r}: parity must be N, E or O")
    _check_unit(text, options)
    return Address("serial", place, options=options)


def _check_unit(text: str, options: dict[str, str]) -> None:
    unit = options.get("unit", "1")
    if not (unit.isdecimal() and 1 <= int(unit) <= 247):
        raise BadProfile(f"address {text!r}: unit must be 1 to 247")


def _visa(text: str, rest: str) -> Address:
    place, options = _split_options(text, rest, ("backend",))
    if "backend" not in options and (own := _without_visa(place)) is not None:
        return own
    if options.get("backend", "@py") not in VISA_BACKENDS:
        raise BadProfile(f"address {text!r}: backend must be one of {', '.join(VISA_BACKENDS)}")
    return Address("visa", place, options=options)


def _without_visa(resource: str) -> Address | None:
    """A socket or a serial port, which our own wires carry better than a VISA library: it is seen at once
    when the peer hangs up, and no write waits for the acknowledgement of the one before."""
    if found := _SOCKET.fullmatch(resource):
        return _tcp(f"tcp://{found['host']}:{found['port']}", "")
    if found := _SERIAL_PORT.fullmatch(resource):
        return Address("serial", found["port"])
    return None


def _split_options(text: str, rest: str, known: tuple[str, ...]) -> tuple[str, dict[str, str]]:
    place, _, query = rest.partition("?")
    options = dict(parse_qsl(query, keep_blank_values=True))
    unknown = [key for key in options if key not in known]
    if not place or unknown:
        raise BadProfile(f"address {text!r}: expected {FORMS}; options known here: {', '.join(known)}")
    return place, options


_PARSERS = {"simulated": _simulated, "tcp": _tcp, "serial": _serial, "visa": _visa}
