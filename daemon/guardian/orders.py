"""What the guardian is told at its start: the way to the controller, the park script as bytes, limits."""

from __future__ import annotations

import hashlib
import json
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Number:
    """A number in a reply: the text of the pattern's group `name`, or its bytes read by `struct`.

    `order` says which byte of the group comes first; value = number x `scale` + `offset`, and there is
    no value outside `low` to `high`.
    """

    name: str
    struct: str
    order: tuple[int, ...]
    scale: float
    offset: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Look:
    """The question that brings temperature and set-point, and the shape of its reply."""

    send: bytes
    pattern: str
    within_s: float
    temperature: Number
    set_point: Number


@dataclass(frozen=True, slots=True)
class Order:
    """One command. `pattern` is the shape of its reply, empty when it is not answered; a group
    `outcome` must read `accept`. `towards_c` is where it sends the set-point, None when it does not."""

    name: str
    send: bytes
    pattern: str
    accept: str
    within_s: float
    towards_c: float | None


@dataclass(frozen=True, slots=True)
class Script:
    """Everything needed to park: `first` ends whatever half command a dead daemon left on the line.

    `park` brings the source down by its own ramp, `safe` ends heating; `proof` moves the set-point to
    something else than `park` does, so that a drill sees a change. Cool is at or below `cool_c`. `held`: the
    source stays at its parking temperature, heater on, since its fluid would freeze.
    """

    first: bytes
    pause_s: float
    look: Look
    park: tuple[Order, ...]
    safe: tuple[Order, ...]
    proof: Order | None
    parking_c: float
    within_k: float
    cool_c: float
    held: bool = False

    def digest(self) -> str:
        """Hash by which daemon and guardian know that they mean the same script."""
        return hashlib.sha256(_text(asdict(self)).encode()).hexdigest()


@dataclass(frozen=True, slots=True)
class Way:
    """The guardian's own way to the controller: `kind` is "tcp" or "serial"; `place` a host or device."""

    kind: str
    place: str
    port: int = 0
    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stop: int = 1


@dataclass(frozen=True, slots=True)
class Limits:
    """Seconds: without a beat, without a fresh reading; between looks after parking; to go on looking."""

    dead_after_s: float = 5.0
    stale_after_s: float = 60.0
    recheck_s: float = 10.0
    longest_s: float = 24 * 3600.0


@dataclass(frozen=True, slots=True)
class Orders:
    """The whole of it; `log` is the guardian's own append-only file."""

    way: Way
    script: Script
    limits: Limits
    log: str

    @property
    def digest(self) -> str:
        """The park script's hash."""
        return self.script.digest()


def to_text(orders: Orders) -> str:
    """One line of JSON."""
    return _text(asdict(orders))


def from_text(text: str) -> Orders:
    """The orders in a line of JSON; raises ValueError, KeyError, TypeError when they are not whole."""
    told = json.loads(text)
    return Orders(Way(**told["way"]), _script(told["script"]), Limits(**told["limits"]), told["log"])


def _text(content: dict[str, Any]) -> str:
    return json.dumps(content, sort_keys=True, separators=(",", ":"), allow_nan=False, default=bytes.hex)


def _script(told: dict[str, Any]) -> Script:
    look = told["look"]
    return Script(
        **{
            **told,
            "first": bytes.fromhex(told["first"]),
            "look": Look(
                **{
                    **look,
                    "send": bytes.fromhex(look["send"]),
                    "temperature": _number(look["temperature"]),
                    "set_point": _number(look["set_point"]),
                }
            ),
            "park": tuple(map(_order, told["park"])),
            "safe": tuple(map(_order, told["safe"])),
            "proof": _order(told["proof"]) if told["proof"] else None,
        }
    )


def _number(told: dict[str, Any]) -> Number:
    return Number(**{**told, "order": tuple(told["order"])})


def _order(told: dict[str, Any]) -> Order:
    return Order(**{**told, "send": bytes.fromhex(told["send"])})
