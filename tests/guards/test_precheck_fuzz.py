"""Every plan that can be read can be judged: odd but legal values break neither pre-check nor forecast."""

from __future__ import annotations

import math
from datetime import date
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.precheck import precheck
from daemon.timetable import forecast
from plans.errors import PlanError
from plans.loading import load_plan, parse_plan

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin

EXAMPLES = Path(__file__).parents[2] / "plans" / "examples"
NIGHTS = [load_plan(EXAMPLES / name).texts for name in ("overnight.toml", "block-night.toml", "too-hot.toml")]
NUMBERS = st.one_of(
    st.floats(-300.0, 1100.0).map(lambda value: round(value, 3)),
    st.sampled_from([0.0, -0.0, 1e-320, 1e-9, 0.01, 1.0, 2, 3, 5, 8, 50.0, 1e4]),
    st.dates().map(lambda day: day.isoformat()),
)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_a_plan_that_can_be_read_can_be_judged(data: st.DataObject) -> None:
    texts = data.draw(st.sampled_from(NIGHTS))
    files = [texts.plan, texts.bench, texts.register]
    for _ in range(data.draw(st.integers(1, 3))):
        which = data.draw(st.integers(0, 2))
        lines = files[which].splitlines()
        numbers = [index for index, line in enumerate(lines) if " = " in line and line[-1].isdigit()]
        index = data.draw(st.sampled_from(numbers))
        lines[index] = f"{lines[index].split(' = ')[0]} = {data.draw(NUMBERS)}"
        files[which] = "\n".join(lines)
    try:
        run = parse_plan(*files)
    except PlanError:
        return
    report = precheck(run, THE_DAY)
    assert report.cautions
    assert math.isfinite(forecast(run).total_s)
    assert all(finding.sentence for finding in report.findings)
