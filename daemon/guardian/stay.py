"""Staying alive when the machine is short of memory."""

from __future__ import annotations

import ctypes
from contextlib import suppress
from pathlib import Path

_NOW_AND_LATER = 3  # MCL_CURRENT | MCL_FUTURE, mlockall(2)
_KILL_LATE = "-900"


def stay_in_memory() -> None:
    """Keep the pages in memory and be among the last to be killed, as far as the system allows."""
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text(_KILL_LATE)
    with suppress(OSError, AttributeError):
        ctypes.CDLL(None).mlockall(_NOW_AND_LATER)
