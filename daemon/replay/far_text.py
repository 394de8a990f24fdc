"""The instrument's side of a text profile: questions and commands recognised, replies composed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from daemon.replay.spelling import Spelling
from drivers.errors import GarbledReply
from drivers.framing import CheckedFraming, Framing, LineFraming
from drivers.profile_text import CHECKS

Shown = str | float | bool
"""What a field shall show: the raw text as it came, a number in the field's unit, or on/off."""

Asked = tuple[str, str]
"""What sort of question it is (read, identity, errors), and its name."""

_NUMBER = r"([+-]?[0-9]+\.?[0-9]*(?:E[+-]?[0-9]+)?)"
_LONGEST = 4096


class TextSide:
    """Made from the tables of a profile that was found good; raises BadProfile where it cannot be turned."""

    def __init__(self, tables: Mapping[str, Any]) -> None:
        self._framing = _mirrored(tables["link"])
        self._buffer = bytearray()
        self._reads: Mapping[str, Any] = tables.get("read", {})
        self._writes: Mapping[str, Any] = tables.get("write", {})
        self._errors: Mapping[str, Any] = tables.get("errors", {})
        sorts = {("read", name): read for name, read in self._reads.items()}
        sorts[("identity", "")] = tables["identity"]
        if self._errors:
            sorts[("errors", "")] = self._errors
        self._asks: dict[bytes, Asked] = {read["ask"].encode(): sort for sort, read in sorts.items()}
        self._spellings = {sort: Spelling(read["parse"]) for sort, read in sorts.items()}

    def names(self, asked: Asked) -> list[str]:
        """The fields of a question, in the order of a look's raw text."""
        return self._spellings[asked].names

    def requests(self, data: bytes) -> list[tuple[bytes, bytes]]:
        """Every complete request so far, with nothing that its reply must repeat; bad ones are dropped."""
        self._buffer += data
        found = []
        while len(self._buffer) <= _LONGEST and (length := self._framing.complete(self._buffer)):
            frame = bytes(self._buffer[:length])
            del self._buffer[:length]
            try:
                found.append((self._framing.unwrap(frame, frame), b""))
            except GarbledReply:
                continue
        if len(self._buffer) > _LONGEST:
            self._buffer.clear()
        return found

    def question(self, body: bytes) -> Asked | None:
        """Which question this is; None when it is none of the profile's."""
        return self._asks.get(body)

    def answer(self, asked: Asked, body: bytes, shown: Mapping[str, Shown], envelope: bytes) -> bytes:
        """The reply to a question in which the fields show this."""
        sort, name = asked
        if sort == "errors":
            shown = {"code": float(self._errors["ok"]), "text": "No error"}
        fields = self._reads[name]["fields"] if sort == "read" else {}
        texts = {key: _on_the_wire(fields.get(key, {}), shown[key]) for key in self.names(asked)}
        return self._framing.wrap(self._spellings[asked].text(texts).encode())

    def command(self, body: bytes) -> tuple[str, float] | None:
        """Name and value of a command, a switch as 1 or 0; None when it is none of the profile's."""
        text = body.decode("ascii", "replace")
        for name, write in self._writes.items():
            if "on" in write and text in (write["on"], write["off"]):
                return name, float(text == write["on"])
            if "on" not in write and (found := _template(write).fullmatch(text)):
                return name, float(found[1]) * write.get("scale", 1.0) + write.get("offset", 0.0)
        return None

    def accepted(self, name: str, body: bytes, envelope: bytes) -> bytes:
        """The reply that says yes to a command; empty where it has none."""
        write = self._writes[name]
        if "tell" in write or "parse" not in write:
            return b""
        return self._framing.wrap(Spelling(write["parse"]).text({"outcome": write["accept"]}).encode())


def _mirrored(link: Mapping[str, Any]) -> Framing:
    ends = link["receive_end"].encode(), link["send_end"].encode()
    line = LineFraming(*ends, _LONGEST)
    if "frame" not in link:
        return line
    frame = link["frame"]
    prefixes = frame.get("receive_prefix", "").encode(), frame.get("send_prefix", "").encode()
    return CheckedFraming(line, *prefixes, CHECKS[frame["check"]], frame.get("check_covers_prefix", True))


def _template(write: Mapping[str, Any]) -> re.Pattern[str]:
    before, _, after = (write.get("ask") or write["tell"]).partition("{")
    return re.compile(re.escape(before) + _NUMBER + re.escape(after.partition("}")[2]))


def _on_the_wire(field: Mapping[str, Any], shown: Shown) -> str | float:
    if isinstance(shown, bool):
        text: str = field["on" if shown else "off"]
        return text
    if isinstance(shown, str):
        return shown
    return float((shown - field.get("offset", 0.0)) / field.get("scale", 1.0))
