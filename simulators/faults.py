"""What breaks, and when: faults as one-line texts such as `open-lead@3:10=4` or `silence@2:00=bridge/90`.

Form: KIND@H:MM[:SS][=VALUE][/DURATION_S]. Time counts from the start of the run; without a duration a
fault lasts for ever.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass

FORM = re.compile(
    r"(?P<kind>[a-z-]+)@(?P<hours>\d{1,3}):(?P<minutes>[0-5]\d)(:(?P<seconds>[0-5]\d))?"
    r"(=(?P<value>[^/\s]+))?(/(?P<duration>[^/\s]+))?"
)
LARGEST_NUMBER = 1e4
LONGEST_S = 1e7

KINDS: dict[str, tuple[str, str]] = {
    "panel-set-point": ("number", "somebody turns the set-point on the front panel to VALUE °C"),
    "panel-heater-off": ("nothing", "somebody switches the heater off on the front panel"),
    "lost-write": ("nothing", "the source confirms what is written and does nothing"),
    "stuck-relay": ("nothing", "the heater stays at full power"),
    "heater-open": ("nothing", "the heater gives no heat"),
    "weak-heater": ("number", "the heater gives only VALUE (0 to 1) of its power"),
    "bad-control": ("number", "the controller's gain is VALUE times what it should be"),
    "controller-sensor-detached": ("nothing", "the control sensor hangs in the air"),
    "display-drift": ("number", "the controller's display drifts by VALUE K/min, and the control with it"),
    "stirrer-stop": ("nothing", "the stirrer stands still: layers form"),
    "level-low": ("nothing", "the level switch reports too little fluid"),
    "over-temperature": ("nothing", "the independent cut-out trips"),
    "fan-stuck": ("nothing", "fan or coolant stay fully on"),
    "cooling-stop": ("nothing", "fan, coolant or compressor stop: nothing cools any more"),
    "cold-load": ("number", "something cold is put in: the medium drops by VALUE K"),
    "brown-out": ("nothing", "the source loses power; when it comes back it resumes heating"),
    "open-lead": ("channel", "a lead of channel VALUE breaks"),
    "short": ("channel", "channel VALUE is shorted"),
    "noisy": ("channel", "channel VALUE becomes 200 times noisier"),
    "step": ("channel:number", "channel:K, the probe on the channel shows K more at once"),
    "reference-drift": ("number", "the reference thermometer drifts by VALUE K/min"),
    "probe-pulled": ("channel", "the probe of channel VALUE is pulled out into the room"),
    "swapped-channels": ("channel:channel", "two channels are exchanged at the scanner"),
    "head-hot": ("number", "all sensors in probe heads get VALUE K warmer"),
    "humid-room": ("number", "the room's air has a relative humidity of VALUE %"),
    "frozen-reading": ("channel or source", "channel VALUE, or the source's display, repeats its last value"),
    "silence": ("instrument", "instrument VALUE does not answer"),
    "garbage": ("instrument", "instrument VALUE answers with wrong bytes"),
    "late-answer": ("instrument", "instrument VALUE answers 5 s late"),
    "half-line": ("instrument", "instrument VALUE stops in the middle of its answers"),
    "disconnect": ("instrument", "the cable of instrument VALUE is off: a connection breaks, none is made"),
    "reset": ("device", "source or bridge restarts: off the wire for 3 s, then set as after power-up"),
    "wrong-identity": ("device", "source or bridge is another one than expected"),
}
DEVICES = ("source", "bridge")
INSTRUMENTS = (*DEVICES, "scanner", "readout", "ambient", "interlocks")
CHANNELS = range(1, 9)


class FaultError(ValueError):
    """The text does not describe a fault; the message says what was expected."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that breaks at `at_s` and stays so for `duration_s`; `value` as its kind asks."""

    kind: str
    at_s: float
    value: str = ""
    duration_s: float = math.inf

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise FaultError(f"unknown fault {self.kind!r}; known are: {', '.join(KINDS)}")
        _check_range("start", self.at_s, 0.0)
        if self.duration_s != math.inf:
            _check_range("duration", self.duration_s, 0.1)
        _check_value(self)

    @property
    def ends_s(self) -> float:
        """When it is over."""
        return self.at_s + self.duration_s

    def active(self, now_s: float) -> bool:
        """True while it lasts."""
        return self.at_s <= now_s < self.ends_s

    @property
    def number(self) -> float:
        """The value as a number (the part behind the colon when there are two)."""
        return float(self.value.split(":")[-1])

    @property
    def channel(self) -> int:
        """The value as a channel (the part before the colon when there are two)."""
        return int(self.value.split(":")[0])


def parse_fault(text: str) -> Fault:
    """Read one fault; FaultError with a sentence when it cannot be understood."""
    match = FORM.fullmatch(text.strip())
    if match is None:
        raise FaultError(
            f"fault {text!r} is not of the form KIND@H:MM[:SS][=VALUE][/DURATION_S],"
            " for example open-lead@3:10=4 or silence@2:00=bridge/90"
        )
    hours, minutes, seconds = (int(match[part] or 0) for part in ("hours", "minutes", "seconds"))
    duration_s = _number(match["duration"], "duration in seconds") if match["duration"] else math.inf
    if not (duration_s > 0.0) or (match["duration"] and duration_s == math.inf):
        raise FaultError(f"fault {text!r}: the duration must be a positive number of seconds")
    return Fault(match["kind"], 3600.0 * hours + 60.0 * minutes + seconds, match["value"] or "", duration_s)


def parse_faults(texts: Iterable[str]) -> tuple[Fault, ...]:
    """Read several faults, in order of their start."""
    return tuple(sorted((parse_fault(text) for text in texts), key=lambda fault: fault.at_s))


def describe_kinds() -> str:
    """One line a kind, for help texts."""
    return "\n".join(f"{kind} ({needs}): {meaning}" for kind, (needs, meaning) in KINDS.items())


def _check_range(what: str, seconds: float, lowest: float) -> None:
    if not (lowest <= seconds <= LONGEST_S):
        raise FaultError(f"the {what} of a fault must be {lowest:g} to {LONGEST_S:g} s, not {seconds!r}")


def _check_value(fault: Fault) -> None:
    needs, meaning = KINDS[fault.kind]
    where = f"fault {fault.kind!r} ({meaning})"
    parts = fault.value.split(":")
    wanted = needs.split(":")
    if needs == "nothing":
        if fault.value:
            raise FaultError(f"{where} takes no value, but {fault.value!r} was given")
    elif len(parts) != len(wanted):
        raise FaultError(f"{where} needs {needs} as its value, not {fault.value!r}")
    else:
        for want, part in zip(wanted, parts, strict=True):
            _check_part(where, want, part)


def _check_part(where: str, want: str, part: str) -> None:
    if want == "number":
        if not (abs(_number(part, where)) <= LARGEST_NUMBER):
            raise FaultError(f"{where}: {part!r} is not a number up to {LARGEST_NUMBER:g}")
    elif want == "device":
        if part not in DEVICES:
            raise FaultError(f"{where}: the value is source or bridge, not {part!r}")
    elif want == "instrument":
        if part not in INSTRUMENTS:
            raise FaultError(f"{where}: the value is one of {', '.join(INSTRUMENTS)}, not {part!r}")
    elif not (want == "channel or source" and part == "source") and part not in map(str, CHANNELS):
        raise FaultError(f"{where}: {part!r} is not a {want}; channels are 1 to 8")


def _number(text: str, what: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise FaultError(f"{what}: {text!r} is not a number") from None
