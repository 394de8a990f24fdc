"""When what will happen: a forecast before anything is switched on.

The model is simple on purpose (ramp, a settling time, soak, the reading sequence). Its figures are what the
bench's own past nights took; without any, those of the simulated sources, furnace: common practice, no
source. Only the clock depends on them, never a limit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from plans.learned import Cooling, Direction, Timing
from plans.run_plan import RunPlan
from plans.unroll import FinishStep, Step, attended_steps, unroll
from plans.values import SourceKind

SETTLING_S: dict[SourceKind, float] = {"stirred_bath": 2000.0, "dry_block": 900.0, "furnace": 2700.0}
COOLING_TIME_CONSTANT_S: dict[SourceKind, float] = {
    "stirred_bath": 7200.0,
    "dry_block": 900.0,
    "furnace": 10800.0,
}
CHILLED_BELOW_AMBIENT_K = 5.0
NEAREST_K = 1.0
WARMING_S = 20.0
"""After a change of current readings are discarded for so long. Common practice, no source."""
HANDS_OFF_ABOVE_K = 5.0
_COVERAGE = 0.95
_LONG_RAMP_K, _SMALLEST_STEP_K = 6.0, 3.0
HANDLING_S = 60.0
"""What a person needs to set a probe's depth. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Row:
    """One temperature; times in s from the start, temperatures in °C.

    `margin_k`: from here to the tightest highest limit; `attended`: a person must still be there,
    `asked`: and does something here.
    """

    index: int
    kind: str
    label: str
    from_s: float
    to_s: float
    temperature_c: float
    what: str
    approach_s: float
    settle_s: float
    soak_s: float
    sequence_s: float
    margin_k: float
    attended: bool
    asked: bool = False


@dataclass(frozen=True, slots=True)
class Timetable:
    """All rows, the whole length, and how long the source is hotter than the coolest-rated head may be.

    `give_or_take_s`: half of the interval that holds the true length in 95 nights of 100, where past
    nights tell it.
    """

    rows: tuple[Row, ...]
    total_s: float
    above_head_limit_s: float
    tightest: str
    give_or_take_s: float | None = None

    @property
    def attended_until_s(self) -> float:
        """Until when a person must stay: the first hot point is reached, and everything asked is done."""
        asked_s = max((row.to_s for row in self.rows if row.asked), default=0.0)
        reached_s = max((row.from_s + row.approach_s for row in self.rows if row.attended), default=0.0)
        return max(asked_s, reached_s)

    @property
    def asked(self) -> bool:
        """Whether a person is asked to do something at any point."""
        return any(row.asked for row in self.rows)

    def lines(self) -> list[str]:
        """Plain text, one line a row."""
        return [_line(row) for row in self.rows] + [f"in all {_clock(self.total_s)} h"]


def presence_at(row: Row) -> str:
    """Until when a person stays at this temperature; empty where nobody needs to be there."""
    return "stay until it is done" if row.asked else "stay until it is reached" if row.attended else ""


def forecast(run: RunPlan, timing: Timing | None = None) -> Timetable:
    """Rows for every step, the finish included; `timing`: what past nights took, when known."""
    now_c, now_s = run.bench.start_c, 0.0 if timing is None else timing.lead_in_s
    rows: list[Row] = []
    attended, last_asked = True, max((step.index for step in attended_steps(run)), default=-1)
    for step in unroll(run):
        row = _row(run, step, now_c, now_s, attended or step.index <= last_asked, timing)
        rows.append(row)
        now_c, now_s = step.temperature_c, row.to_s
        attended = attended and not step.temperature_c > run.bench.ambient_c + HANDS_OFF_ABOVE_K
    owner, above_s = run.rating.highest.owner, _above_head_limit_s(run, rows)
    return Timetable(tuple(rows), now_s, above_s, owner, _give_or_take_s(run, rows, timing))


def approach_time_s(
    run: RunPlan, from_c: float, to_c: float, ramp_k_per_min: float, cooling: Cooling | None = None
) -> float:
    """Seconds from one temperature to another: by the ramp, or slower where cooling is only natural.

    `cooling`: how fast this bench was seen to cool; without it as the simulated sources do.
    """
    knee_c = slow_until_c(run, from_c, to_c)
    if knee_c is not None:
        slow = min(ramp_k_per_min, cooling_limit(run, from_c))
        rest_s = approach_time_s(run, knee_c, to_c, ramp_k_per_min, cooling)
        return (from_c - knee_c) / slow * 60.0 + rest_s
    ramp = min(ramp_k_per_min, run.bench.heat_source.ramp_limit_k_per_min) / 60.0
    law = cooling or _shipped_cooling(run)
    if to_c >= from_c or law is None:
        return abs(to_c - from_c) / ramp
    start_k, end_k = from_c - law.towards_c, max(to_c - law.towards_c, NEAREST_K)
    knee_k = min(max(ramp * law.time_constant_s, end_k), start_k)
    return max(0.0, start_k - knee_k) / ramp + law.time_constant_s * math.log(max(knee_k, end_k) / end_k)


def _shipped_cooling(run: RunPlan) -> Cooling | None:
    """None for a source with a chiller."""
    source, ambient_c = run.bench.heat_source, run.bench.ambient_c
    if source.minimum_c < ambient_c - CHILLED_BELOW_AMBIENT_K:
        return None
    return Cooling(towards_c=ambient_c, time_constant_s=COOLING_TIME_CONSTANT_S[source.kind])


def smallness(step_k: float) -> float:
    """Logarithm of a step's disturbance over that of a long ramp, 0 for long ones.

    A repeated point takes as long as the smallest step: readings must fill their windows all the same.
    Common practice, no source.
    """
    step_k = max(step_k, _SMALLEST_STEP_K)
    return math.log(step_k / (step_k + _LONG_RAMP_K))


def hotness(temperature_c: float) -> float:
    """0 at 100 °C, 1 at 200 °C."""
    return (temperature_c - 100.0) / 100.0


def cooling_limit(run: RunPlan, temperature_c: float) -> float:
    """Fastest cooling in K/min that everything in the source bears from this temperature."""
    return min(one.cooling_from(temperature_c).value for one in run.thermometers)


def slow_until_c(run: RunPlan, from_c: float, to_c: float) -> float | None:
    """Down to where cooling must be slow on the way from one temperature to a lower one; None: nowhere."""
    if not to_c < from_c or not cooling_limit(run, from_c) < cooling_limit(run, to_c):
        return None
    knee_c = from_c
    while knee_c > to_c and cooling_limit(run, knee_c) <= cooling_limit(run, from_c):
        knee_c -= 1.0
    return max(knee_c, to_c)


def sequence_time_s(run: RunPlan, step: Step) -> float:
    """Seconds of one symmetrical reading sequence through all channels."""
    if step.kind == "anneal":
        return 0.0
    bridge, sequence = run.bench.bridge, step.sequence
    conversions, cycles_both_ways = sequence.readings_a_visit, 2 * sequence.cycles
    visits = cycles_both_ways * len(run.channels)
    once_s = visits * (bridge.settling_s + conversions * bridge.integration_s)
    once_s += cycles_both_ways * math.fsum(placed.settling_s for placed in run.plan.placed)
    twice_s = 0.0 if step.self_heating_ma is None else once_s * 2.0 + 2.0 * visits * WARMING_S
    return once_s + twice_s + immersion_time_s(run, step)


def immersion_time_s(run: RunPlan, step: Step) -> float:
    """Seconds of an immersion profile: at five depths, each set by a person, waited for and read."""
    if step.immersion is None:
        return 0.0
    bridge, sequence = run.bench.bridge, step.sequence
    reading_s = bridge.settling_s + sequence.readings_a_visit * bridge.integration_s
    reading_s *= 4.0 * sequence.cycles
    return 5.0 * reading_s + 4.0 * (60.0 * step.immersion.wait_minutes + HANDLING_S)


def _row(
    run: RunPlan,
    step: Step | FinishStep,
    from_c: float,
    from_s: float,
    attended: bool,
    timing: Timing | None,
) -> Row:
    known = None if timing is None else timing.towards(step.temperature_c >= from_c)
    cooling = None if timing is None else timing.cooling
    approach_s = approach_time_s(run, from_c, step.temperature_c, step.ramp_k_per_min, cooling)
    approach_s *= 1.0 if known is None else known.approach_ratio
    settle_s = _settle_s(run, step, known)
    if timing is not None and settle_s > 0.0:
        step_k = abs(step.temperature_c - from_c)
        settle_s += timing.small_step_s * smallness(step_k) + timing.hotter_s * hotness(step.temperature_c)
        settle_s = max(0.0, settle_s)
    soak_s = step.soak_s if isinstance(step, Step) else 0.0
    sequence_s = sequence_time_s(run, step) if isinstance(step, Step) else 0.0
    return Row(
        index=step.index,
        kind=step.kind,
        label=step.label,
        from_s=from_s,
        to_s=from_s + approach_s + settle_s + soak_s + sequence_s,
        temperature_c=step.temperature_c,
        what=_what(run, step),
        approach_s=approach_s,
        settle_s=settle_s,
        soak_s=soak_s,
        sequence_s=sequence_s,
        margin_k=run.rating.highest_allowed_c - step.temperature_c,
        attended=attended,
        asked=isinstance(step, Step) and step.immersion is not None,
    )


def _settle_s(run: RunPlan, step: Step | FinishStep, known: Direction | None) -> float:
    if isinstance(step, FinishStep) or step.kind == "anneal":
        return 0.0
    usual_s = SETTLING_S[run.bench.heat_source.kind] + step.equilibrium.window_s
    return usual_s if known is None else known.settling_s


def _give_or_take_s(run: RunPlan, rows: list[Row], timing: Timing | None) -> float | None:
    """Expanded scatter of the whole night: every point its own draw, the learned means common to all."""
    if timing is None:
        return None
    ahead: dict[bool, int] = {True: 0, False: 0}
    for before_c, row in zip([run.bench.ambient_c, *(row.temperature_c for row in rows)], rows, strict=False):
        ahead[row.temperature_c >= before_c] += row.settle_s > 0.0
    known = {rising: timing.towards(rising) for rising, count in ahead.items() if count}
    ways = {rising: way for rising, way in known.items() if way is not None}
    if not ways:
        return None
    free = {rising: max(way.points - 1, 1) for rising, way in ways.items()}
    # One direction alone is seen too seldom to tell its own scatter: both are pooled.
    pooled_s2 = sum(free[rising] * way.scatter_s**2 for rising, way in ways.items()) / sum(free.values())
    spent = sum(ahead[rising] * (1.0 + ahead[rising] / max(way.points, 1)) for rising, way in ways.items())
    from daemon.fitting.coverage import student_factor

    return student_factor(sum(free.values()), _COVERAGE) * math.sqrt(pooled_s2 * spent)


def _what(run: RunPlan, step: Step | FinishStep) -> str:
    if isinstance(step, FinishStep):
        held = "" if run.bench.molten is None else f": {run.bench.molten.name} is held molten"
        return f"park, heater {run.parked_heater}{held}"
    if step.kind == "anneal":
        return f"hold for {step.soak_s / 60.0:g} min, read nothing"
    second = "" if step.self_heating_ma is None else f", again at {step.self_heating_ma:g} mA"
    profile = "" if step.immersion is None else f", immersion profile of {step.immersion.serial} BY A PERSON"
    return f"read {len(run.channels)} channels{second}{profile}"


def _above_head_limit_s(run: RunPlan, rows: list[Row]) -> float:
    limit_c = min(one.head_maximum_c for one in run.thermometers)
    return math.fsum(row.to_s - row.from_s for row in rows if row.temperature_c > limit_c)


def _line(row: Row) -> str:
    presence = presence_at(row)
    return (
        f"{_clock(row.from_s)} to {_clock(row.to_s)}  {row.temperature_c:8.2f} °C  "
        f"{row.margin_k:6.1f} K to the limit  {row.label}: {row.what}  {presence}"
    ).rstrip()


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60:2d}:{minutes % 60:02d}"
