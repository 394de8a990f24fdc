"""Whether plan, bench and register fit each other; every misfit is reported, none stops the search."""

from __future__ import annotations

from collections.abc import Iterator

from plans.errors import Problem, shown
from plans.ordering import order_problem
from plans.plan import FEWEST_READINGS, Placed
from plans.run_plan import RunPlan
from plans.suitability import heated_to, suitability

WARMEST_HOLDING_K = 30.0  # common practice, no source: above the lowest at which a fluid is held molten
WARMEST_PARKING_C = 60.0  # common practice, no source: what a person may find in the morning


def crosscheck(run: RunPlan) -> list[Problem]:
    """All misfits; the later questions are asked only when every serial is known."""
    found = [
        *_serials(run),
        *_channels(run),
        *_source_range(run),
        *_order(run),
        *_readings(run),
        *_parking(run),
        *_inspections(run),
    ]
    known = all(run.register.find(placed.serial) for placed in run.plan.placed)
    return [*found, *suitability(run)] if known else found


def _places(run: RunPlan) -> Iterator[tuple[str, Placed]]:
    yield "[reference]", run.plan.reference
    for number, item in enumerate(run.plan.items, 1):
        yield f"[[items]] {number},", item


def _serials(run: RunPlan) -> Iterator[Problem]:
    seen: dict[str, str] = {}
    for where, placed in _places(run):
        place = f"{where} serial"
        if run.register.find(placed.serial) is None:
            sentence = (
                f"not in the register {run.names.register}; correct the serial or add the thermometer there."
            )
            yield Problem(run.names.plan, place, shown(placed.serial), sentence)
        if placed.serial in seen:
            sentence = f"this thermometer is already {seen[placed.serial]}; each can be in the source once."
            yield Problem(run.names.plan, place, shown(placed.serial), sentence)
        seen.setdefault(placed.serial, where.rstrip(","))


def _channels(run: RunPlan) -> Iterator[Problem]:
    seen: dict[int, str] = {}
    offered, who = run.bench.channels, "the bridge" if run.bench.scanner is None else "the scanner"
    for where, placed in _places(run):
        place = f"{where} channel"
        if placed.channel > offered:
            sentence = f"{who} of {run.names.bench} has the channels 1 to {offered}; use one of them."
            yield Problem(run.names.plan, place, str(placed.channel), sentence)
        if placed.channel in seen:
            sentence = f"this channel already carries {seen[placed.channel]}; give each thermometer its own."
            yield Problem(run.names.plan, place, str(placed.channel), sentence)
        seen.setdefault(placed.channel, placed.serial)
    yield from _head_channels(run, seen)


def _head_channels(run: RunPlan, seen: dict[int, str]) -> Iterator[Problem]:
    for placed in run.plan.placed:
        thermometer = run.register.find(placed.serial)
        head = thermometer.head_channel if thermometer else None
        if head is not None and (head in seen or head > run.bench.channels):
            sentence = f"the head channel of {placed.serial} is taken or not offered by the bridge; free it."
            yield Problem(run.names.register, "[[thermometers]] head_channel", str(head), sentence)


def _source_range(run: RunPlan) -> Iterator[Problem]:
    source = run.bench.heat_source
    for where, temperature_c in heated_to(run):
        if not source.minimum_c <= temperature_c <= source.maximum_c:
            sentence = (
                f"the {source.spoken} of {run.names.bench} works from {source.minimum_c:g} °C to "
                f"{source.maximum_c:g} °C; choose a temperature in that range or another bench."
            )
            yield Problem(run.names.plan, where, f"{temperature_c:g}", sentence)


def _parking(run: RunPlan) -> Iterator[Problem]:
    source, molten, heater = run.bench.heat_source, run.bench.molten, run.plan.finish.heater
    lowest, highest = source.minimum_c, min(source.maximum_c, WARMEST_PARKING_C)
    if molten is not None:
        lowest, highest = molten.coldest_held_c, molten.coldest_held_c + WARMEST_HOLDING_K
    if not lowest <= run.parking_c <= highest:
        where = "[finish] parking_c"
        sentence = f"expected {lowest:g} °C to {highest:g} °C; choose a temperature there."
        yield Problem(run.names.plan, where, f"{run.parking_c:g}", sentence)
    if heater not in (None, run.parked_heater):
        why = "a run ends with the heater off" if molten is None else f"{molten.name} would freeze"
        sentence = f'{why}: write "{run.parked_heater}", or take the key out.'
        yield Problem(run.names.plan, "[finish] heater", shown(heater), sentence)


def _order(run: RunPlan) -> Iterator[Problem]:
    sentence = order_problem(run.plan.header.order, [point.temperature_c for point in run.plan.points])
    if sentence:
        yield Problem(run.names.plan, "[plan] order", shown(run.plan.header.order), sentence)


def _inspections(run: RunPlan) -> Iterator[Problem]:
    placed = {one.serial for one in run.plan.placed}
    for number, one in enumerate(run.plan.inspections, 1):
        if one.serial not in placed:
            sentence = "this thermometer is not in this run; correct the serial or take the entry out."
            yield Problem(run.names.plan, f"[[inspections]] {number}, serial", shown(one.serial), sentence)


def _readings(run: RunPlan) -> Iterator[Problem]:
    counts = [("[defaults] sequence", run.zero_settings.sequence.readings_per_thermometer)]
    for number, point in enumerate(run.plan.points, 1):
        counts.append(
            (f"[[points]] {number}, sequence", run.settings(point).sequence.readings_per_thermometer)
        )
    for where, count in counts:
        if count < FEWEST_READINGS:
            sentence = (
                f"cycles × 2 × readings_per_visit makes {count} readings per thermometer; "
                f"at least {FEWEST_READINGS} are needed. Raise cycles or readings_per_visit."
            )
            yield Problem(run.names.plan, where, str(count), sentence)
