"""A thermometer's characteristic back from a digital certificate."""

from __future__ import annotations

import base64
import json
from pathlib import Path

import numpy as np
from lxml import etree

from daemon.fitting import equations
from daemon.fitting.certificate_entry import check_against_table
from daemon.fitting.characteristic import Characteristic
from daemon.fitting.errors import FittingError
from daemon.fitting.printing import ROUNDING_COST_MK
from daemon.fitting.uncertainty import Component
from daemon.results.dcc.quantity import DccError
from daemon.results.dcc.results import CHARACTERISTIC, COEFFICIENT, RESISTANCE, TABLE, TEMPERATURE
from daemon.results.dcc.tree import DCC, DCC_VERSION, NAMES, parse

_SIMULATED = "SIMULATED"
_DRAFT = "DRAFT"
_SERIALS = ".//dcc:item/dcc:identifications/dcc:identification/dcc:value"
_GRID = 101
_LARGEST = 1e9


def characteristic_from_dcc(path: Path, serial: str = "") -> Characteristic:
    """The characteristic in a DCC that this program wrote; raises DccError.

    With `serial` it must be that thermometer's. Its coefficients are held against its interpolation table,
    whose U(t) is taken as common to all temperatures.
    """
    try:
        root = parse(path.read_bytes())
    except OSError as problem:
        why = (problem.strerror or "cannot be read").lower()
        raise DccError(f"{path}: {why}; name the XML of a digital calibration certificate") from problem
    if root.tag != f"{{{DCC}}}digitalCalibrationCertificate" or root.get("schemaVersion") != DCC_VERSION:
        raise DccError(f"{path.name}: not a digital calibration certificate of version {DCC_VERSION}")
    number = _text(root, ".//dcc:coreData/dcc:uniqueIdentifier")
    if number.startswith((_SIMULATED, _DRAFT)):
        raise DccError(f"{path.name}: certificate {number} is no certificate; nothing may be based on it")
    known = [(one.text or "").strip() for one in root.iterfind(_SERIALS, NAMES)]
    if serial and serial not in known:
        raise DccError(f"{path.name}: the certificate of {', '.join(known) or 'nobody'}, not of {serial}")
    try:
        return _read(root, number)
    except (LookupError, ValueError, TypeError, AttributeError, RecursionError, FittingError) as problem:
        raise DccError(f"{path.name}: its characteristic cannot be read ({problem!r})") from problem


def _read(root: etree._Element, number: str) -> Characteristic:
    found = _first(root, f".//dcc:result[@refType='{CHARACTERISTIC}']")
    described = json.loads(base64.b64decode(_text(found, "dcc:description/dcc:file/dcc:dataBase64")))
    equation = equations.from_dict(described)
    given = {
        _text(one, "dcc:name/dcc:content"): _number(_text(one, "si:real/si:value"))
        for one in found.iterfind(f"dcc:data/dcc:quantity[@refType='{COEFFICIENT}']", NAMES)
    }
    temperatures, resistance_ohm, standard_mk = _table(root)
    term = Component(
        "calibration of the reference thermometer",
        1.0,
        divisor=1.0,
        shape="table",
        table=tuple(zip(temperatures, standard_mk, strict=True)),
        note=f"certificate {number}",
    )
    read = Characteristic(
        equation,
        tuple(given[name] for name in equation.parameters),
        (temperatures[0], temperatures[-1]),
        added=(term,),
        reason="from its digital certificate",
    )
    _agrees(read, list(zip(temperatures, resistance_ohm, strict=True)), 2.0 * max(standard_mk))
    return read


def _agrees(read: Characteristic, rows: list[tuple[float, float]], expanded_mk: float) -> None:
    """Coefficients against the certificate's own table: a wrong digit in either must not pass."""
    with np.errstate(all="ignore"):
        rising = (np.diff(read.resistance_ohm(np.linspace(*read.range_c, _GRID))) > 0).all()
        # Half of the last place printed, which is the second digit of U, and the rounding of coefficients.
        off = check_against_table(read, rows, ROUNDING_COST_MK + 0.06 * expanded_mk)
    if not rising:
        raise ValueError("with these coefficients the resistance does not rise through the range")
    if off:
        raise ValueError(off[0])


def _table(root: etree._Element) -> tuple[list[float], list[float], list[float]]:
    """Temperatures in °C, resistances in ohm and standard uncertainties in mK of the interpolation table."""
    listed = _first(root, f".//dcc:list[@refType='{TABLE}']")
    where = _numbers(listed, f"dcc:quantity[@refType='{TEMPERATURE}']//si:valueXMLList")
    ohms = _numbers(listed, f"dcc:quantity[@refType='{RESISTANCE}']//si:valueXMLList")
    factors = _numbers(listed, f"dcc:quantity[@refType='{RESISTANCE}']//si:coverageFactorXMLList")
    expanded = _numbers(listed, "dcc:quantity[@refType='ohmvigil_expandedUncertainty']//si:valueXMLList")
    if not (min(factors) >= 1.0):
        raise ValueError("a coverage factor below 1")
    return where, ohms, [u / k for u, k in zip(expanded, factors, strict=True)]


def _first(root: etree._Element, path: str) -> etree._Element:
    found = root.find(path, NAMES)
    if found is None:
        raise DccError(
            "this digital certificate carries no characteristic as this program writes it; "
            "enter its coefficients in the register instead"
        )
    return found


def _text(root: etree._Element, path: str) -> str:
    return (_first(root, path).text or "").strip()


def _numbers(root: etree._Element, path: str) -> list[float]:
    return [_number(word) for word in _text(root, path).split()]


def _number(word: str) -> float:
    """A number that a certificate can mean: finite, and of a size that can be reckoned with."""
    value = float(word)
    if not (abs(value) <= _LARGEST):
        raise ValueError(f"{word} is no number of a certificate")
    return value
