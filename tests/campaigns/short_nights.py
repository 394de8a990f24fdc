"""Shortened nights for fault campaigns: baths, block and furnace, three points each, criteria loosened."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

from plans.loading import parse_plan
from plans.run_plan import Names, RunPlan

_EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"

_PLAN = """
[plan]
title = "Tern Rock, a shortened night"
bench = "bench.toml"
register = "register.toml"
order = "custom"
order_reason = "far apart, so that a short night has long ramps both ways"

[reference]
serial = "{reference}"
channel = 1

{items}

[zero]
first = false
last = false
reason = "a shortened night: only the way there and back counts"
kind = "attended_ice_point"
temperature_c = {start}

[defaults]
ramp_k_per_min = {ramp}
minimum_soak_minutes = 6
maximum_wait_minutes = 40

[defaults.equilibrium]
window_minutes = 2
drift_mk = 300
scatter_mk = 150
item_drift_mk = 300
remaining_mk = 1000

[defaults.sequence]
cycles = 2
readings_per_visit = 3
discard_after_switch = 0

{points}

[finish]
parking_c = {parking}
"""

# Reference, items, first temperature, ramp in K/min, points in °C, parking temperature.
_NIGHTS = {
    "bath": ("TR-REF-01", ("TR-IPRT-11", "TR-IPRT-13", "TR-CHK-31"), 40.0, 2.5, (90.0, 195.0, 120.0), 40.0),
    "cold": ("TR-REF-01", ("TR-IPRT-11", "TR-SEMI-21"), 20.0, 2.5, (0.0, -35.0, -10.0), 20.0),
    "block": ("TR-REF-01", ("TR-IPRT-11", "TR-SEMI-21", "TR-CHK-31"), 50.0, 4.0, (150.0, 415.0, 200.0), 40.0),
    "furnace": ("TR-REF-02", ("TR-IPRT-11", "TR-CHK-31"), 50.0, 4.0, (300.0, 500.0, 470.0), 40.0),
}
PLANTS = tuple(_NIGHTS)
HEAD_MAXIMUM_C = 120.0


@cache
def short_night(plant: str) -> RunPlan:
    """The run plan of a plant's shortened night."""
    reference, serials, start, ramp, points, parking = _NIGHTS[plant]
    items = "\n".join(
        f'[[items]]\nserial = "{serial}"\nchannel = {channel}\n' for channel, serial in enumerate(serials, 2)
    )
    stops = "\n".join(f"[[points]]\ntemperature_c = {point}\n" for point in points)
    plan = _PLAN.format(
        reference=reference, items=items, start=start, ramp=ramp, points=stops, parking=parking
    )
    register = _with_head_sensor((_EXAMPLES / "register.toml").read_text())
    return parse_plan(plan, _bench(plant), register, Names("plan.toml", "bench.toml", "register.toml"))


def _with_head_sensor(register: str) -> str:
    serial = 'serial = "TR-IPRT-11"\n'
    assert register.count(serial) == 1
    return register.replace(serial, f"{serial}head_channel = 8\nhead_maximum_c = {HEAD_MAXIMUM_C}\n")


def _bench(plant: str) -> str:
    if plant == "cold":
        return (_EXAMPLES / "bench-wide.toml").read_text()
    if plant != "furnace":
        return (_EXAMPLES / f"bench-{plant}.toml").read_text()
    text = (_EXAMPLES / "bench-block.toml").read_text()
    for old, new in (
        ('kind = "dry_block"', 'kind = "furnace"'),
        ('model = "dry_block"', 'model = "furnace"'),
        ("maximum_c = 600.0", "maximum_c = 690.0"),
        ("coast_time_s = 60.0", "coast_time_s = 180.0"),
        ("ramp_limit_k_per_min = 10.0", "ramp_limit_k_per_min = 5.0"),
        ("setting_c = 440.0", "setting_c = 525.0"),
    ):
        text, count = re.subn(re.escape(old), new, text)
        assert count == 1, old
    return text
