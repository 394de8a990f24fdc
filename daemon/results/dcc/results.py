"""The results in a digital certificate: points, characteristic, interpolation table."""

from __future__ import annotations

import base64
import json

from lxml import etree

from daemon.fitting.printing import printed_coefficients
from daemon.results.certificate.facts import Facts
from daemon.results.certificate.rows import PointRow, TableLine
from daemon.results.dcc.behaviour import behaviour_nodes
from daemon.results.dcc.quantity import Expanded, Quantity
from daemon.results.dcc.tree import node, quantity_node, words

CHARACTERISTIC, COEFFICIENT, TABLE = "ohmvigil_characteristic", "ohmvigil_coefficient", "ohmvigil_table"
TEMPERATURE, RESISTANCE = "basic_referenceValue", "basic_measuredValue"  # from memory, as all basic_ names
_UNITS = {
    "Ω": r"\ohm",
    "": r"\one",
    "1/°C": r"\degreecelsius\tothe{-1}",
    "1/°C²": r"\degreecelsius\tothe{-2}",
    "1/°C⁴": r"\degreecelsius\tothe{-4}",
}


def results_node(facts: Facts) -> etree._Element:
    """All results; raises DccError when a list does not fit its neighbours."""
    used = [row for row in facts.points if not row.excluded_because]
    left_out = [row for row in facts.points if row.excluded_because]
    found = [_points("Calibration points", used), _characteristic(facts), _table(facts.table)]
    found += behaviour_nodes(facts)
    if left_out:
        causes = "; ".join(f"point {row.number}: {row.excluded_because}" for row in left_out)
        found.append(_points("Points measured but not used in the characteristic", left_out, causes))
    return node("dcc:results", *found)


def _points(name: str, rows: list[PointRow], about: str = "") -> etree._Element:
    quantities = [
        Quantity(
            "Reference temperature, t90", TEMPERATURE, r"\degreecelsius", _column(rows, "temperature_c")
        ),
        Quantity(
            "Measured resistance", RESISTANCE, r"\ohm", _column(rows, "resistance_ohm"), _expanded(rows)
        ),
        _in_kelvin(rows),
        *_residuals(rows),
    ]
    return _result(name, about, quantities, "basic_measuringPoints")


def _residuals(rows: list[PointRow]) -> list[Quantity]:
    """By the characteristic minus by the reference; nothing where a point lies outside its range."""
    known = [f"{row.residual_mk:.2f}" for row in rows if row.residual_mk is not None]
    if len(known) != len(rows):
        return []
    return [Quantity("Residual", "ohmvigil_residual", r"\milli\kelvin", tuple(known))]


def _table(rows: tuple[TableLine, ...]) -> etree._Element:
    quantities = [
        Quantity("t90", TEMPERATURE, r"\degreecelsius", _column(rows, "temperature_c")),
        Quantity("R(t)", RESISTANCE, r"\ohm", _column(rows, "resistance_ohm"), _expanded(rows)),
        Quantity("dR/dt", "ohmvigil_sensitivity", r"\ohm\per\kelvin", _column(rows, "sensitivity_ohm_per_k")),
        _in_kelvin(rows),
    ]
    return _result("Interpolation table", "", quantities, TABLE)


def _in_kelvin(rows: list[PointRow] | tuple[TableLine, ...]) -> Quantity:
    values = _column(rows, "expanded_mk")
    return Quantity(
        "U(t), expanded uncertainty of t90", "ohmvigil_expandedUncertainty", r"\milli\kelvin", values
    )


def _expanded(rows: list[PointRow] | tuple[TableLine, ...]) -> Expanded:
    return Expanded(_column(rows, "expanded_ohm"), _column(rows, "coverage_factor"))


def _column(rows: list[PointRow] | tuple[TableLine, ...], name: str) -> tuple[str, ...]:
    return tuple(str(getattr(row, name)) for row in rows)


def _characteristic(facts: Facts) -> etree._Element:
    found = facts.characteristic
    equation = json.dumps(found.equation.to_dict(), sort_keys=True).encode()
    form = node(
        "dcc:file",
        node("dcc:fileName", text="equation.json"),
        node("dcc:mimeType", text="application/json"),
        node("dcc:dataBase64", text=base64.b64encode(equation).decode("ascii")),
    )
    about = node("dcc:description", node("dcc:content", text=found.equation.description, lang="en"), form)
    data = node(
        "dcc:data",
        *(
            quantity_node(Quantity(c.name, COEFFICIENT, _UNITS[c.unit], (c.printed,)))
            for c in printed_coefficients(found)
        ),
    )
    return node("dcc:result", words("dcc:name", "Characteristic"), about, data, refType=CHARACTERISTIC)


def _result(name: str, about: str, quantities: list[Quantity], ref_type: str) -> etree._Element:
    told = [words("dcc:description", about)] if about else []
    listed = node("dcc:list", *map(quantity_node, quantities), refType=ref_type)
    return node("dcc:result", words("dcc:name", name), *told, node("dcc:data", listed), refType=ref_type)
