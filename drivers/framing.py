"""How a message is put into bytes and taken out again: text lines, and text lines with a check."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from drivers.errors import GarbledReply


class Framing(Protocol):
    """Wraps a body into a frame, sees when a frame is complete, and unwraps it."""

    def wrap(self, body: bytes) -> bytes:
        """The frame to send."""

    def complete(self, buffer: bytearray) -> int:
        """Length of the complete frame at the start of `buffer`, 0 for not yet; GarbledReply."""

    def unwrap(self, frame: bytes, sent: bytes) -> bytes:
        """The body of a complete frame that answers the frame `sent`; raises GarbledReply."""


@dataclass(frozen=True, slots=True)
class LineFraming:
    """A text line between nothing and a terminator."""

    send_end: bytes
    receive_end: bytes
    max_reply: int

    def wrap(self, body: bytes) -> bytes:
        return body + self.send_end

    def complete(self, buffer: bytearray) -> int:
        at = buffer.find(self.receive_end)
        if at >= 0:
            return at + len(self.receive_end)
        if len(buffer) > self.max_reply:
            raise GarbledReply(f"more than {self.max_reply} bytes without the end of a reply")
        return 0

    def unwrap(self, frame: bytes, sent: bytes) -> bytes:
        return frame[: -len(self.receive_end)]


@dataclass(frozen=True, slots=True)
class CheckedFraming:
    """A text line with a prefix each way and a check value in two upper-case hex digits."""

    line: LineFraming
    send_prefix: bytes
    receive_prefix: bytes
    check: Callable[[bytes], int]
    check_covers_prefix: bool

    def wrap(self, body: bytes) -> bytes:
        return self.line.wrap(self.send_prefix + body + self._digits(self.send_prefix, body))

    def complete(self, buffer: bytearray) -> int:
        return self.line.complete(buffer)

    def unwrap(self, frame: bytes, sent: bytes) -> bytes:
        content = self.line.unwrap(frame, sent)
        if not content.startswith(self.receive_prefix) or len(content) < len(self.receive_prefix) + 2:
            raise GarbledReply(f"the reply {content!r} does not start with {self.receive_prefix!r}")
        body = content[len(self.receive_prefix) : -2]
        if content[-2:] != self._digits(self.receive_prefix, body):
            raise GarbledReply(f"the check of the reply {content!r} is wrong")
        return body

    def _digits(self, prefix: bytes, body: bytes) -> bytes:
        return b"%02X" % self.check(prefix + body if self.check_covers_prefix else body)
