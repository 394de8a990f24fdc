"""Tolerance classes of industrial thermometers: the table in classes.toml, and what follows from it."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from daemon.fitting import callendar_van_dusen as cvd
from daemon.fitting.arrays import FloatArray, as_floats
from daemon.fitting.errors import FittingError

Construction = Literal["wire", "film"]


@dataclass(frozen=True)
class ToleranceClass:
    """A class for one construction: |error| ≤ fixed_k + slope·|t| inside `range_c`."""

    name: str
    construction: Construction
    fixed_k: float
    slope: float
    range_c: tuple[float, float]

    def tolerance_k(self, temperature_c: ArrayLike) -> FloatArray:
        """Permitted error in K at t90 in °C (any shape)."""
        return self.fixed_k + self.slope * np.abs(as_floats(temperature_c))


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads(files("daemon.fitting").joinpath("classes.toml").read_text(encoding="utf-8"))


def class_names() -> tuple[str, ...]:
    """The classes known, as they are to be written in a plan."""
    return tuple(_table())


def tolerance_class(name: str, construction: Construction) -> ToleranceClass:
    """The class by name; raises FittingError naming the known ones."""
    row = _table().get(name)
    if row is None or construction not in ("wire", "film"):
        raise FittingError(
            f"no tolerance class {name!r} for construction {construction!r}; "
            f"known: {', '.join(class_names())}; constructions: wire, film"
        )
    low, high = row[construction]
    return ToleranceClass(name, construction, row["fixed_k"], row["slope"], (float(low), float(high)))


def nominal_resistance_ohm(temperature_c: ArrayLike, r0_nominal_ohm: float) -> FloatArray:
    """R(t) of the IEC 60751:2008 characteristic, t90 in °C (any shape) from -200 °C to 850 °C."""
    return r0_nominal_ohm * cvd.ratio(as_floats(temperature_c), cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)


def nominal_temperature_c(resistance_ohm: ArrayLike, r0_nominal_ohm: float) -> FloatArray:
    """t90 in °C which an indicator set to the IEC 60751:2008 characteristic shows for R (any shape)."""
    return cvd.temperature_c(as_floats(resistance_ohm) / r0_nominal_ohm, cvd.IEC_A, cvd.IEC_B, cvd.IEC_C)
