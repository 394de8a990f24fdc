"""The guardian's own file: one line an event, only ever appended to."""

from __future__ import annotations

import os
from contextlib import suppress

from daemon.guardian.now import utc_text


class Logbook:
    """Appends lines; a full disk must not keep the guardian from parking."""

    def __init__(self, path: str) -> None:
        self._path = path

    def say(self, text: str) -> None:
        """Write one line with the UTC time before it."""
        line = f"{utc_text()}  guardian {os.getpid()}  {text}\n"
        with suppress(OSError):
            descriptor = os.open(self._path, os.O_WRONLY | os.O_APPEND | os.O_CREAT, 0o644)
            try:
                os.write(descriptor, line.encode())
            finally:
                os.close(descriptor)
