"""At load-up each thermometer is warmed by hand: the channel that moves must be the one of the plan."""

from __future__ import annotations

import json

import pytest

from daemon.channel_test import Found, refusals
from daemon.cli import main
from daemon.rehearsal import rehearse_channel_test
from plans.loading import load_plan
from tests.nights.rehearsed import EXAMPLES

PLAN = EXAMPLES / "overnight.toml"


def test_every_thermometer_is_found_on_its_channel() -> None:
    found = rehearse_channel_test(load_plan(PLAN))
    assert len(found) == 7 and all(one.good for one in found)
    assert all(one.rise_k == pytest.approx(6.0, abs=0.5) for one in found)
    assert list(refusals(found)) == []


def test_an_exchanged_pair_is_refused_and_named_once(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "swapped-channels@0:00=2:3"]) == 2
    (sentence,) = capsys.readouterr().err.splitlines()
    assert "TR-IPRT-11 and TR-IPRT-12 are exchanged: channel 3 moved for the first" in sentence


def test_a_thermometer_whose_lead_is_open_moves_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "open-lead@0:00=4", "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert [row["serial"] for row in said["thermometers"] if not row["good"]] == ["TR-IPRT-13"]
    assert "not connected, or not warmed enough" in said["problems"][0]


def test_three_in_a_ring_are_each_named() -> None:
    ring = [Found("A", 1, 2, 5.0), Found("B", 2, 3, 5.0), Found("C", 3, 1, 5.0)]
    assert [sentence.split(";")[0] for sentence in refusals(ring)] == [
        "channel 2 moved while A was warmed",
        "channel 3 moved while B was warmed",
        "channel 1 moved while C was warmed",
    ]


def test_a_fault_that_does_not_exist_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["channels", str(PLAN), "--fault", "nonsense"]) == 2
    assert "REFUSED: fault 'nonsense'" in capsys.readouterr().err
