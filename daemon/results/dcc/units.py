"""The unit grammar of D-SI: names behind backslashes, prefixes, \\tothe{n} and one \\per.

Source: the D-SI metadata model, version 2.1.0, which takes its names from the BIPM SI brochure; the list of
names is from memory. The schema itself accepts any text as a unit.
"""

from __future__ import annotations

import re

_TOKEN = re.compile(r"\\([a-z]+)(?:\{(-?\d+(?:\.\d+)?)\})?")
_UNITS = frozenset(
    (
        "one", "metre", "kilogram", "gram", "second", "ampere", "kelvin", "mole", "candela", "radian",
        "hertz", "newton", "pascal", "joule", "watt", "coulomb", "volt", "farad", "ohm", "siemens", "weber",
        "tesla", "henry", "degreecelsius", "minute", "hour", "day", "degree", "litre", "percent", "ppm",
        "bit", "byte",
    )
)  # fmt: skip
_PREFIXES = frozenset(
    (
        "deca", "hecto", "kilo", "mega", "giga", "tera", "peta", "exa", "zetta", "yotta", "deci", "centi",
        "milli", "micro", "nano", "pico", "femto", "atto", "zepto", "yocto",
    )
)  # fmt: skip


def unit_problem(unit: str) -> str:
    """Why a text is no D-SI unit; empty when it is one."""
    tokens = [(match[1], match[2]) for match in _TOKEN.finditer(unit)]
    if not unit or "".join(match[0] for match in _TOKEN.finditer(unit)) != unit:
        return f"the unit {unit!r} is not written as D-SI asks: \\name after \\name"
    expects_unit, divided, previous = True, False, ""
    for name, exponent in tokens:
        problem, expects_unit = _step(name, exponent, previous, expects_unit)
        if name == "per" and divided:
            problem = "only one \\per"
        if problem:
            return f"the unit {unit!r}: {problem}"
        divided, previous = divided or name == "per", name
    return f"the unit {unit!r} ends without a unit" if expects_unit else ""


def _step(name: str, exponent: str | None, previous: str, expects_unit: bool) -> tuple[str, bool]:
    """What is wrong with one word, and whether a unit must follow it."""
    if name == "tothe":
        fits = previous in _UNITS and exponent is not None
        return ("" if fits else "\\tothe{n} stands behind a unit", False)
    if exponent is not None:
        return "only \\tothe takes a number", expects_unit
    if name == "per":
        return ("\\per stands behind a unit" if not previous or expects_unit else "", True)
    if name in _PREFIXES:
        return ("two prefixes" if previous in _PREFIXES else "", True)
    return ("" if name in _UNITS else f"no unit {name!r}", False)
