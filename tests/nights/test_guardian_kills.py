"""A heating daemon, killed, stopped or blocked: its guardian has the source parked, fencing first."""

from __future__ import annotations

import pytest

from tests.campaigns.guardian import QUICK_LIMIT_S, trial


@pytest.mark.parametrize("fault", ["kill", "stop", "block"])
def test_a_daemon_that_dies_or_hangs_leaves_a_parked_source(fault: str) -> None:
    with trial(seed=7, limit_s=QUICK_LIMIT_S) as running:
        outcome = running.strike(fault)
        allowed_s = (
            1.5 if fault == "kill" else QUICK_LIMIT_S + 1.5
        )  # a busy machine is slow to start a command
        assert outcome.command_s < allowed_s
        assert outcome.command_s < outcome.confirmed_s
