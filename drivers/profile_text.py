"""The text families of profiles: IEEE 488.2 / SCPI-style lines and framed ASCII."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

from drivers.checks import lrc8, sum8, xor8
from drivers.errors import GarbledReply, OutsideLimits, Refused
from drivers.framing import CheckedFraming, Framing, LineFraming
from drivers.profile_fields import NumberField, TextFlag, Value, Values, read_number_field
from drivers.profile_model import ErrorQueue
from drivers.profile_table import Table

CHECKS = {"xor8": xor8, "sum8": sum8, "lrc8": lrc8}
_SLOT = re.compile(r"\{value:(d|[+]?0?\d{0,2}\.\d{1,2}[fE])\}")
_LONGEST_NUMBER = 32


def read_framing(link: Table) -> Callable[[str], Framing]:
    """Terminators, longest reply and, where there is one, the checked frame."""
    line = LineFraming(
        link.terminator("send_end"), link.terminator("receive_end"), link.whole("max_reply", 1, 65536)
    )
    if not link.has("frame"):
        return lambda wire: line
    table = link.table("frame")
    frame = CheckedFraming(
        line,
        table.text("send_prefix", "").encode("ascii"),
        table.text("receive_prefix", "").encode("ascii"),
        CHECKS[table.choice("check", CHECKS)],
        table.flag("check_covers_prefix", True),
    )
    table.finish()
    return lambda wire: frame


def matcher(pattern: re.Pattern[bytes]) -> Callable[[bytes], re.Match[bytes]]:
    """Full match or GarbledReply: a shorter, longer or damaged reply never yields a number."""
    fullmatch = pattern.fullmatch

    def match(body: bytes) -> re.Match[bytes]:
        found = fullmatch(body)
        if found is None:
            raise GarbledReply(f"the reply {body[:80]!r} has not the expected shape")
        return found

    return match


def read_question(table: Table) -> tuple[bytes, Callable[[bytes], Values], dict[str, str], frozenset[str]]:
    """Keys ask, parse, fields: (body, decode, units of numbers, names of flags)."""
    body = table.text("ask").encode("ascii")
    pattern = table.pattern("parse")
    fields = table.table("fields")
    takes = {name: _read_field(fields.table(name)) for name in fields.names()}
    _same_names(table, pattern, takes)
    names = sorted(takes, key=pattern.groupindex.__getitem__)
    if pattern.groups != len(names):
        raise table.fault("parse", "every group needs a name and a field")
    match = matcher(pattern)
    pairs: list[tuple[str, Callable[[bytes], Value]]] = [(name, takes[name].from_text) for name in names]

    def decode(body: bytes) -> Values:
        return {name: take(text) for (name, take), text in zip(pairs, match(body).groups(), strict=True)}

    units = {name: take.unit for name, take in takes.items() if isinstance(take, NumberField)}
    return body, decode, units, frozenset(takes) - frozenset(units)


def _read_field(table: Table) -> NumberField | TextFlag:
    if table.has("on") or table.has("off"):
        field: NumberField | TextFlag = TextFlag(
            {table.text("on").encode("ascii"): True, table.text("off").encode("ascii"): False}
        )
    else:
        field = read_number_field(table)
    table.finish()
    return field


def _same_names(table: Table, pattern: re.Pattern[bytes], names: Iterable[str]) -> None:
    odd = set(names) ^ set(pattern.groupindex)
    if odd:
        raise table.fault(
            "fields", f"groups of parse and fields must have the same names; see {sorted(odd)[0]!r}"
        )


def read_encoder(table: Table, switch: bool, scale: float, offset: float) -> Callable[[float], bytes]:
    """Text of a command; the one slot is `{value:format}` and only a number goes into it."""
    if switch:
        on, off = table.text("on").encode("ascii"), table.text("off").encode("ascii")
        return lambda value: on if value else off
    key = "ask" if table.has("ask") else "tell"
    template = table.text(key)
    slots = _SLOT.findall(template)
    if len(slots) != 1 or "{" in _SLOT.sub("", template) or "}" in _SLOT.sub("", template):
        raise table.fault(
            key, "needs exactly one slot such as {value:.3f}, {value:+09.3f}, {value:.4E} or {value:d}"
        )
    whole = slots[0] == "d"

    def encode(value: float) -> bytes:
        number = (value - offset) / scale
        text = template.format(value=round(number) if whole else number)
        if len(text) > len(template) + _LONGEST_NUMBER:
            raise OutsideLimits(f"{value:g} is too long a number to send")
        return text.encode("ascii")

    return encode


def read_confirm(table: Table) -> Callable[[bytes, bytes], None] | None:
    """Keys parse and accept: the group `outcome` must be the accepted text, else Refused."""
    if table.has("tell") or not table.has("parse"):
        return None
    pattern = table.pattern("parse")
    if set(pattern.groupindex) != {"outcome"}:
        raise table.fault("parse", "needs the one named group (?P<outcome>...)")
    match = matcher(pattern)
    accept = table.text("accept").encode("ascii")

    def confirm(sent: bytes, reply: bytes) -> None:
        outcome = match(reply)["outcome"]
        if outcome != accept:
            raise Refused(f"the instrument answered {outcome.decode('ascii')!r} to {sent.decode('ascii')!r}")

    return confirm


def read_identity(table: Table) -> tuple[bytes, Callable[[bytes], dict[str, str]], set[str]]:
    """Keys ask and parse: (body, decode, names of the parts)."""
    pattern = table.pattern("parse")
    if not pattern.groupindex:
        raise table.fault("parse", "needs named groups such as (?P<model>...)")
    match = matcher(pattern)

    def decode(body: bytes) -> dict[str, str]:
        parts = match(body).groupdict()
        return {name: text.decode("ascii", "replace") for name, text in parts.items() if text is not None}

    return table.text("ask").encode("ascii"), decode, set(pattern.groupindex)


def read_error_queue(table: Table, timeout_s: float) -> ErrorQueue:
    """Keys ask, parse (groups code and text), ok, drain_max."""
    pattern = table.pattern("parse")
    if set(pattern.groupindex) != {"code", "text"}:
        raise table.fault("parse", "needs the named groups code and text")
    match, ok = matcher(pattern), table.whole("ok", -99999, 99999)

    def decode(body: bytes) -> str | None:
        found = match(body)
        if int(found["code"]) == ok:
            return None
        return f"{int(found['code'])}: {found['text'].decode('ascii', 'replace')}"

    queue = ErrorQueue(
        table.text("ask").encode("ascii"), decode, table.whole("drain_max", 1, 1000), timeout_s
    )
    table.finish()
    return queue
