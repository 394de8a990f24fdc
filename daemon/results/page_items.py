"""The thermometers on the page: one table of all, then a section for each."""

from __future__ import annotations

import re

from daemon.fitting.characteristic import Characteristic
from daemon.fitting.comparison import furthest_apart_mk
from daemon.fitting.printing import check_pairs, printed_coefficients
from daemon.results.calibrate import ItemResult, NightResult
from daemon.results.item_points import item_points, largest_residual_mk
from daemon.results.judgement import SIMULATED, item_sentences
from daemon.results.markup import Html, bullets, element, joined, section, table
from daemon.results.numbers import UNKNOWN, fixed, powers, signed, uncertainty
from daemon.results.page_changes import changes
from daemon.results.page_figures import ItemPictures, budget_bars, figure
from daemon.results.page_points import item_point_table
from daemon.results.page_sequences import sequences_table

KINDS = {
    "its90": "ITS-90 deviation function",
    "callendar_van_dusen": "Callendar–Van Dusen",
    "polynomial": "polynomial on the IEC 60751 curve",
}
_ROLES = {"item": "under test", "check_standard": "check standard"}
_GRID = 41
_EXPONENT = re.compile(r"-?[\d.]+e[-+]\d+")


def largest_expanded_mk(characteristic: Characteristic) -> float:
    """Largest U(t) over the range, in mK."""
    low, high = characteristic.range_c
    where = [low + (high - low) * i / (_GRID - 1) for i in range(_GRID)]
    return float(1e3 * characteristic.expanded_uncertainty_k(where).max())


def items_section(night: NightResult) -> Html:
    """All thermometers in one table."""
    header = (
        "thermometer",
        "equation",
        "R₀ before / Ω",
        "R₀ after / Ω",
        "shift / mK",
        "χ² (degrees of freedom)",
        "95 % of χ²",
        "largest residual / mK",
        "largest U / mK",
        "points used",
    )
    common = common_cautions(night)
    words = [element("p", "For all of them:", cls="quiet"), bullets(common)] if common else []
    return section(
        "Thermometers",
        table(header, [_row(night, item) for item in night.items], words=2),
        *words,
        name="items",
    )


def common_cautions(night: NightResult) -> tuple[str, ...]:
    """Cautions that every fitted thermometer carries."""
    fitted = [item.characteristic for item in night.items if item.characteristic is not None]
    if not fitted:
        return ()
    return tuple(c for c in fitted[0].cautions if all(c in other.cautions for other in fitted))


def _row(night: NightResult, item: ItemResult) -> list[str]:
    points, found = item_points(night, item), item.characteristic
    used = sum(not point.excluded_because for point in points)
    r0 = [fixed(item.r0_before_ohm, 5), fixed(item.r0_after_ohm, 5), signed(item.shift_mk, 2)]
    if found is None:
        return [item.serial, f"none: {item.problem}", *r0, *[UNKNOWN] * 4, f"0 of {len(points)}"]
    bounds = found.fit.findings.chi_squared_bounds if found.fit else None
    return [
        f"{item.serial} ({_ROLES[item.role]})",
        KINDS[found.equation.kind],
        *r0,
        f"{found.chi_squared:.2f} ({found.degrees_of_freedom})",
        f"{bounds[0]:.2f} … {bounds[1]:.2f}" if bounds else UNKNOWN,
        signed(largest_residual_mk(points), 2),
        uncertainty(largest_expanded_mk(found), ""),
        f"{used} of {len(points)}",
    ]


def item_section(
    night: NightResult, item: ItemResult, pictures: ItemPictures | None, *, simulated: bool
) -> Html:
    """Everything about one thermometer."""
    points, found = item_points(night, item), item.characteristic
    tags = [element("span", _ROLES[item.role], cls="tag")]
    flags = item_sentences(item)
    if simulated:
        tags.append(element("span", SIMULATED, cls="tag warn"))
    if flags:
        tags.append(element("span", "look here", cls="tag warn"))
    parts = [element("h2", item.serial, *tags), bullets(flags)]
    if found is not None:
        parts += [_facts(item, found), _coefficients(found)]
    elif item.points:
        parts.append(_listed(_own(item)))
    if pictures is not None:
        caption = (
            f"{item.serial}: residuals, temperature by the equation minus reference. Left with U of each "
            "point and U(t) of the characteristic, right on their own scale with repeatability only."
        )
        parts.append(figure(pictures.residuals, f"r-{item.serial}", caption))
        parts.append(figure(pictures.over_range, f"u-{item.serial}", _over_range(night, item)))
    parts += [item_point_table(points), sequences_table(item)]
    budgets = [point.budget for point in points if point.budget is not None]
    if budgets:
        parts.append(budget_bars(max(budgets, key=lambda budget: budget.expanded_mk)))
    if found is not None:
        common = common_cautions(night)
        parts.append(
            bullets(f"{caution.rstrip('.')}." for caution in found.cautions if caution not in common)
        )
    return element("section", joined(parts), cls="item", id=f"item-{item.serial}")


def _over_range(night: NightResult, item: ItemResult) -> str:
    told = f"{item.serial}: expanded uncertainty over the range and the largest standard uncertainties in it."
    if night.run.thermometer(item.serial).kind != "iprt":
        return told
    return (
        f"{told} Right, what an indicator set to IEC 60751 would be wrong by, with U(t), and the limits of "
        "the classes up to the first that it stays within. A statement of conformity is made on a "
        "certificate only, by the rule agreed."
    )


def _facts(item: ItemResult, found: Characteristic) -> Html:
    low, high = found.range_c
    pairs = "; ".join(
        f"{pair.resistance_ohm:.6g} Ω is {fixed(pair.temperature_c, 4, '°C')}" for pair in check_pairs(found)
    )
    facts = {
        "equation": _EXPONENT.sub(lambda number: powers(number[0]), found.equation.description),
        "chosen because": found.reason,
        "holds": f"{fixed(low, 3)} °C to {fixed(high, 3)} °C, nowhere else",
        "to check typing": pairs,
        **_own(item),
    }
    if found.with_excluded is not None:
        other = found.with_excluded
        facts["with the excluded points"] = (
            f"χ² would be {other.chi_squared:.2f} ({other.degrees_of_freedom} degrees of freedom), "
            f"largest change {fixed(furthest_apart_mk(found, other), 2, 'mK')}"
        )
    return _listed(facts)


def _own(item: ItemResult) -> dict[str, str]:
    """What the night showed of a thermometer whether or not an equation could be fitted."""
    return {
        "R₀ over the night": _shift(item),
        **changes(item),
        "repeatability": f"{uncertainty(item.repeatability_mk)} from cycle to cycle, pooled over all points",
    }


def _listed(facts: dict[str, str]) -> Html:
    return element(
        "dl", *(cell for name, value in facts.items() for cell in (_term(name), element("dd", value)))
    )


def _term(name: str) -> Html:
    return element("dt", name)


def _shift(item: ItemResult) -> str:
    if item.r0_before_ohm is None and item.r0_after_ohm is None:
        return "not measured: no point was at 0 °C"
    before, after = fixed(item.r0_before_ohm, 5, "Ω"), fixed(item.r0_after_ohm, 5, "Ω")
    return f"{before} before, {after} after: {signed(item.shift_mk, 2, 'mK')}"


def _coefficients(found: Characteristic) -> Html:
    rows = [
        (c.name, powers(c.printed), powers(f"{c.standard:.1e}"), c.unit or "1")
        for c in printed_coefficients(found)
    ]
    return table(("coefficient", "value", "standard uncertainty", "unit"), rows)
