"""A slice of the kill campaign: one kill -9 at a random instant, nothing acknowledged is lost."""

from __future__ import annotations

from pathlib import Path
from random import Random

from daemon.states import State
from tests.campaigns.kills import Kill, Undisturbed, figures, kill_once


def test_a_killed_daemon_has_lost_nothing_that_it_acknowledged(tmp_path: Path) -> None:
    kill = kill_once(Undisturbed(tmp_path), Random(3))
    assert kill.acknowledged > 10
    assert not kill.bad, kill


def test_a_lost_entry_and_another_result_are_called_bad() -> None:
    good = Kill(100, 103, True, State.FINISHED, 0.2)
    assert not good.bad
    assert Kill(100, 99, True, State.FINISHED, 0.2).bad
    assert Kill(100, 103, True, State.PARKED, 0.2).bad
    assert Kill(100, 103, True, State.FINISHED, 9.0).bad
    assert "lost in 0;" in figures([good])
