"""The daemon's log: one JSON object a line, for people with grep and for log collectors."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import TextIO

LOG = logging.getLogger("ohmvigil.service")


class JsonLines(logging.Formatter):
    """Time, level, sentence, and whatever facts came with it."""

    def format(self, record: logging.LogRecord) -> str:
        """One line of JSON."""
        line = {
            "t": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False)


def note(sentence: str, /, level: int = logging.INFO, **facts: object) -> None:
    """Write a line; facts are named values."""
    LOG.log(level, "%s", sentence, extra={"facts": facts})


def begin_log(stream: TextIO = sys.stderr) -> None:
    """Send everything that is logged to a stream as JSON lines."""
    handler = logging.StreamHandler(stream)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.INFO, handlers=[handler], force=True)
