"""A profile after loading: everything an exchange needs, compiled once."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from drivers.framing import Framing
from drivers.profile_fields import Values


@dataclass(frozen=True, slots=True)
class Question:
    """One exchange that brings values; `units` has an entry for each number field."""

    name: str
    body: bytes
    decode: Callable[[bytes], Values]
    units: Mapping[str, str]
    flags: frozenset[str]
    within_s: float
    earliest_s: float = 0.0
    discard: int = 0


@dataclass(frozen=True, slots=True)
class Verify:
    """Where a written value is read back, and how close it must come (unit of the command)."""

    question: str
    field: str
    within: float


@dataclass(frozen=True, slots=True)
class Command:
    """One write. `encode` takes the value (1.0 and 0.0 for a switch); `confirm` judges (sent body,
    reply body) and is None for a command that is not answered."""

    name: str
    unit: str
    switch: bool
    limits: tuple[float, float] | None
    encode: Callable[[float], bytes]
    confirm: Callable[[bytes, bytes], None] | None
    verify: Verify | None
    within_s: float


@dataclass(frozen=True, slots=True)
class Identity:
    """Who is there: `decode` gives the parts, `expect` those that must be as stated."""

    body: bytes
    decode: Callable[[bytes], dict[str, str]]
    expect: Mapping[str, str]
    within_s: float


@dataclass(frozen=True, slots=True)
class ErrorQueue:
    """The instrument's own list of errors; `decode` gives None at its end."""

    body: bytes
    decode: Callable[[bytes], str | None]
    drain_max: int
    within_s: float


@dataclass(frozen=True, slots=True)
class SerialSettings:
    """Line settings of a serial port."""

    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stop: int = 1


@dataclass(frozen=True, slots=True)
class LinkSettings:
    """How the profile's instrument wants to be talked to; times in seconds."""

    transports: tuple[str, ...]
    timeout_s: float
    quiet_s: float
    gap_s: float
    drain: bool
    half_duplex: bool
    receive_end: bytes
    serial: SerialSettings


@dataclass(frozen=True, slots=True)
class PowerReturn:
    """What the instrument does when power returns, and when somebody tested it (None: nobody)."""

    behaviour: str
    tested_on: date | None


@dataclass(frozen=True, slots=True)
class SafeStep:
    """One step towards the safe state; a switch takes 0.0."""

    command: Command
    value: float


@dataclass(frozen=True, slots=True)
class CommunicationLoss:
    """Commands that set the instrument's own reaction to silence."""

    time: str
    set_point: str


@dataclass(frozen=True, slots=True)
class BridgeFacts:
    """Channels count from 1; currents in mA; times in seconds; `reversal`: currents may be negative."""

    channels: int
    currents_ma: tuple[float, ...]
    integration_s: float
    settling_s: float
    reversal: bool = False


@dataclass(frozen=True, slots=True)
class ScannerFacts:
    """Channels count from 1; time in seconds."""

    channels: int
    settling_s: float


@dataclass(frozen=True, slots=True)
class Profile:
    """One instrument type. `framing(wire)` gives a new framing for "tcp", "serial", ..."""

    id: str
    title: str
    role: str
    protocol: str
    file: str
    link: LinkSettings
    framing: Callable[[str], Framing]
    identity: Identity
    errors: ErrorQueue | None
    questions: Mapping[str, Question]
    commands: Mapping[str, Command]
    safe: tuple[SafeStep, ...]
    power_return: PowerReturn
    communication_loss: CommunicationLoss | None
    bridge: BridgeFacts | None
    scanner: ScannerFacts | None
    resolution_k: float
