"""What every equation R(t) offers to the fit and to the characteristic.

An equation with k parameters θ is laid on (n,) temperatures by `at`; the grid it returns has worked out
once what depends on temperature only. Gradients are in kelvins per unit of a parameter: ∂R/∂θ divided by
dR/dt, so that the fit of any equation is one least-squares problem in kelvins.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

from daemon.fitting.arrays import FloatArray

# A bath meant for 0 °C may stand on the other side of it: that far the branch on this side serves on.
EDGE_K = 0.5


class Linearised(NamedTuple):
    """(n,) residuals in K (by the equation minus given), (n, k) gradients, (n,) dR/dt in ohm/K."""

    residual_k: FloatArray
    gradient_k: FloatArray
    sensitivity_ohm_per_k: FloatArray


class Grid(Protocol):
    """An equation laid on (n,) temperatures; θ is (k,)."""

    def resistance_ohm(self, theta: FloatArray) -> FloatArray:
        """R(t), (n,)."""
        ...

    def start(self, resistance_ohm: FloatArray) -> FloatArray:
        """θ to begin the fit with, (k,), from measured (n,) resistances."""
        ...

    def linearise(self, resistance_ohm: FloatArray, theta: FloatArray) -> Linearised:
        """Residuals, gradients and sensitivities for measured (n,) resistances."""
        ...

    def residual_k(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """Residuals in K for many trials at once: (n, m) resistances and (k, m) θ give (n, m)."""
        ...


class Equation(Protocol):
    """One form of R(t)."""

    @property
    def kind(self) -> str:
        """its90, callendar_van_dusen or polynomial."""
        ...

    @property
    def parameters(self) -> tuple[str, ...]:
        """Names of θ in order."""
        ...

    @property
    def units(self) -> tuple[str, ...]:
        """Unit of each parameter, as printed."""
        ...

    @property
    def description(self) -> str:
        """The equation in one line."""
        ...

    def at(self, temperature_c: FloatArray) -> Grid:
        """Lay the equation on (n,) temperatures."""
        ...

    def temperature_c(self, resistance_ohm: FloatArray, theta: FloatArray) -> FloatArray:
        """t90 in °C; resistances of any shape with (k,) θ, or (m,) with (k, m) θ, one a trial."""
        ...

    def temperature_of_one_c(self, resistance_ohm: float, theta: tuple[float, ...]) -> float:
        """The same for one number, plain Python."""
        ...

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready description; `equations.from_dict` reads it."""
        ...
