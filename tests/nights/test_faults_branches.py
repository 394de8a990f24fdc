"""Branches of one healthy night show what whole nights with the same faults show."""

from __future__ import annotations

import pytest

from tests.campaigns.fault_branches import branches
from tests.campaigns.fault_oracle import night_with
from tests.campaigns.short_nights import short_night

FAULTS = ["panel-heater-off@0:20", "silence@0:12=bridge/300", "brown-out@0:30/200"]


def test_a_branch_judges_as_the_whole_night_does() -> None:
    for case in branches("bath", FAULTS, 8000.0):
        whole = night_with(short_night("bath"), "bath", case.fault, hours_after=2.5)
        assert case.violations == whole.violations == []
        assert (case.first_guard, case.reaction) == (whole.first_guard, whole.reaction)
        assert case.first_s == pytest.approx(whole.first_s, abs=3.0)
        assert case.hottest_c.keys() == whole.hottest_c.keys()


def test_branches_come_in_the_order_of_their_instants() -> None:
    found = [case.fault for case in branches("bath", FAULTS, 8000.0)]
    assert found == ["silence@0:12=bridge/300", "panel-heater-off@0:20", "brown-out@0:30/200"]


def test_a_branch_that_computes_for_ever_is_a_violation(capfd: pytest.CaptureFixture[str]) -> None:
    (case,) = branches("bath", FAULTS[:1], 8000.0, longest_computing_s=0.05)
    assert "0 s of computing" in case.violations[0]
    assert "Timeout" in capfd.readouterr().err
