"""The guardian's own clock: it shares no code with the daemon whose clock it judges."""

from __future__ import annotations

import time


def monotonic_s() -> float:
    """Monotonic seconds; only differences have a meaning."""
    return time.monotonic()


def utc_text() -> str:
    """UTC now, to the millisecond, for the log."""
    now_s = time.time()
    return f"{time.strftime('%Y-%m-%dT%H:%M:%S', time.gmtime(now_s))}.{int(now_s * 1000) % 1000:03d}Z"


def wait(seconds: float) -> None:
    """Do nothing for a while."""
    time.sleep(max(0.0, seconds))
