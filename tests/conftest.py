"""How the suite is spread over the machine."""

from __future__ import annotations

import os


def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores: the tests of real time spend much of it waiting."""
    return (os.cpu_count() or 1) + 1
