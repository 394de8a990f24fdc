"""How the thermometer behaved, in a digital certificate: what else was found beside its characteristic."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Protocol

from lxml import etree

from daemon.fitting.table import two_digits
from daemon.results.calibrate import ItemResult
from daemon.results.certificate.content import u_at_zero
from daemon.results.certificate.facts import Facts
from daemon.results.certificate.rows import rounded
from daemon.results.dcc.quantity import Expanded, Quantity
from daemon.results.dcc.tree import node, quantity_node, words

_MK, _OHM = r"\milli\kelvin", r"\ohm"
Column = Callable[[], Quantity]


def behaviour_nodes(facts: Facts) -> list[etree._Element]:
    """A result for each of them that was measured; raises DccError."""
    item = facts.item
    found = (
        ("Hysteresis", "hysteresis", _hysteresis(item)),
        ("Repeatability after other temperatures", "repeats", _repeats(item)),
        ("Self-heating, and resistance at zero power", "selfHeating", _self_heating(item)),
        ("Stem conduction, by immersion profile", "stemConduction", _stem_conduction(item)),
    )
    stability = map(quantity_node, _stability(facts))
    return [
        _result("Stability over the run", "stability", *stability),
        *(_result(name, kind, _list(kind, columns)) for name, kind, columns in found if columns),
    ]


def _result(name: str, kind: str, *inside: etree._Element) -> etree._Element:
    return node("dcc:result", words("dcc:name", name), node("dcc:data", *inside), refType=f"ohmvigil_{kind}")


def _list(kind: str, columns: list[Quantity]) -> etree._Element:
    return node("dcc:list", *map(quantity_node, columns), refType=f"ohmvigil_{kind}")


def _stability(facts: Facts) -> list[Quantity]:
    item = facts.item
    before = f"R0 before the points, {'as found' if item.annealing_mk is None else 'after annealing'}"
    repeatability = two_digits(item.repeatability_mk)
    return [
        *_r0(facts, before, item.r0_before_ohm),
        *_r0(facts, "R0 after the points, as left", item.r0_after_ohm),
        *_change(item, "Change by annealing, left minus found", "annealing", item.annealing_mk),
        *_change(item, "Shift of R0, after minus before", "shift", item.shift_mk),
        *_change(item, "Change at the return point, after minus before", "return", item.return_mk),
        Quantity("Repeatability from cycle to cycle, s", "ohmvigil_repeatability", _MK, (repeatability,)),
    ]


def _r0(facts: Facts, name: str, r0_ohm: float | None) -> Iterator[Quantity]:
    if r0_ohm is not None:
        u_ohm, factor = u_at_zero(facts)
        expanded = Expanded((two_digits(u_ohm),), (f"{factor:.2f}",))
        yield Quantity(name, "ohmvigil_r0", _OHM, (rounded(r0_ohm, u_ohm),), expanded)


def _change(item: ItemResult, name: str, kind: str, change_mk: float | None) -> Iterator[Quantity]:
    if change_mk is not None:
        yield _with_u(name, kind, _MK, [(change_mk, item.shift_standard_mk)])()


def _hysteresis(item: ItemResult) -> list[Quantity]:
    half = [(one.half_difference_mk, one.standard_mk) for one in item.hysteresis]
    name = "Half the difference, reached from above minus from below"
    return _at(item.hysteresis, _with_u(name, "hysteresis", _MK, half))


def _repeats(item: ItemResult) -> list[Quantity]:
    later = [(one.difference_mk, one.standard_mk) for one in item.repeats]
    name = "Later minus earlier, reached from the same side"
    return _at(item.repeats, _with_u(name, "repeat", _MK, later))


def _self_heating(item: ItemResult) -> list[Quantity]:
    rows = item.self_heating
    heating = [(one.heating_mk, one.standard_mk) for one in rows]
    zero_power = [(one.zero_power_ohm, one.zero_power_standard_ohm) for one in rows]
    return _at(
        rows,
        _with_u("Self-heating by the measuring current", "selfHeating", _MK, heating),
        _with_u("Resistance at zero power", "zeroPower", _OHM, zero_power),
        _plain("Measuring current", "current", r"\milli\ampere", [one.current_ma for one in rows]),
    )


def _stem_conduction(item: ItemResult) -> list[Quantity]:
    rows = item.immersion
    conduction = [(one.conduction_mk, 0.5 * one.expanded_mk) for one in rows]
    return _at(
        rows,
        _with_u("Thermometer minus medium", "stemConduction", _MK, conduction),
        _plain("Immersion depth", "depth", r"\milli\metre", [one.depth_mm for one in rows]),
    )


class _Somewhere(Protocol):
    @property
    def temperature_c(self) -> float: ...


def _at(rows: Sequence[_Somewhere], *columns: Column) -> list[Quantity]:
    """The columns behind that of the temperatures; nothing where nothing was measured."""
    if not rows:
        return []
    temperatures = _plain(
        "Temperature, t90", "temperature", r"\degreecelsius", [o.temperature_c for o in rows]
    )
    return [column() for column in (temperatures, *columns)]


def _plain(name: str, kind: str, unit: str, values: list[float]) -> Column:
    return lambda: Quantity(name, f"ohmvigil_{kind}", unit, tuple(f"{value:.6g}" for value in values))


def _with_u(name: str, kind: str, unit: str, found: list[tuple[float, float]]) -> Column:
    """Values with their standard uncertainties, which are stated expanded, k = 2."""
    expanded = tuple(two_digits(2.0 * standard) for _, standard in found)
    values = tuple(rounded(value, 2.0 * standard) for value, standard in found)
    return lambda: Quantity(name, f"ohmvigil_{kind}", unit, values, Expanded(expanded, ("2",) * len(found)))
