"""Whether the computer runs on a battery, told from files such as Linux shows."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.executor.power import Power, power

ON, OFF = {"type": "Mains", "online": "1"}, {"type": "Mains", "online": "0"}
BATTERY = {"type": "Battery", "status": "Discharging", "capacity": "83"}
CHARGING = BATTERY | {"status": "Charging"}
MOUSE = {"type": "Battery", "scope": "Device", "status": "Discharging", "capacity": "7"}


@pytest.mark.parametrize(
    ("supplies", "told"),
    [
        ((), Power()),
        ((ON,), Power()),
        ((ON, BATTERY), Power(False, 83.0)),
        ((OFF, BATTERY), Power(True, 83.0)),
        ((OFF, ON, BATTERY), Power(False, 83.0)),
        ((BATTERY,), Power(True, 83.0)),
        ((CHARGING,), Power(False, 83.0)),
        ((MOUSE,), Power()),
        ((OFF, {"type": "UPS", "status": "Discharging", "capacity": "x"}), Power(True, None)),
    ],
)
def test_a_battery_counts_only_where_the_computer_lives_on_it(
    supplies: tuple[dict[str, str], ...], told: Power, tmp_path: Path
) -> None:
    for number, files in enumerate(supplies):
        (tmp_path / f"S{number}").mkdir()
        for name, text in files.items():
            (tmp_path / f"S{number}" / name).write_text(f"{text}\n", "ascii")
    assert power(tmp_path) == told


def test_a_computer_that_tells_nothing_is_not_taken_for_one_on_battery(tmp_path: Path) -> None:
    assert power(tmp_path / "nothing there") == Power()
