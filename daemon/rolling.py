"""A straight line through the readings of the last so many seconds, updated in constant time."""

from __future__ import annotations

import math
from collections import deque


class RollingLine:
    """Least-squares slope and residual scatter over a sliding window.

    Times in seconds, values in any unit; `slope` is per second. Sums are kept about an anchor and
    rebuilt once per window, since bare running sums lose their digits over a long night.
    """

    def __init__(self, window_s: float) -> None:
        self._window_s = window_s
        self._points: deque[tuple[float, float]] = deque()
        self._anchor = (0.0, 0.0)
        self._clear_sums()

    def add(self, when_s: float, value: float) -> None:
        """Take one reading and drop those older than the window."""
        points = self._points
        if not points:
            self._anchor = (when_s, value)
            self._clear_sums()
        else:
            self._steps += (value - points[-1][1]) ** 2
        points.append((when_s, value))
        self._account(when_s, value, 1)
        oldest_s = when_s - self._window_s
        while points[0][0] < oldest_s:
            self._drop()
        if when_s - self._anchor[0] > 2 * self._window_s:
            self._rebuild()

    def clear(self) -> None:
        """Forget everything."""
        self._points.clear()

    @property
    def count(self) -> int:
        """Readings in the window."""
        return len(self._points)

    @property
    def span_s(self) -> float:
        """Time between the first and the last reading of the window, in s."""
        return self._points[-1][0] - self._points[0][0] if self._points else 0.0

    @property
    def last(self) -> float:
        """The newest value; raises IndexError when there is none."""
        return self._points[-1][1]

    @property
    def mean(self) -> float:
        """Mean value; raises ZeroDivisionError when there is none."""
        return self._anchor[1] + self._y / self.count

    @property
    def slope(self) -> float:
        """Least-squares slope per second; 0 with fewer than two instants."""
        n, sxx = self.count, self._sxx()
        return (self._xy - self._x * self._y / n) / sxx if sxx > 0 else 0.0

    @property
    def scatter(self) -> float:
        """Standard deviation about the line (n − 2 degrees of freedom); 0 with fewer than three."""
        n = self.count
        if n < 3:
            return 0.0
        syy = self._yy - self._y * self._y / n
        return math.sqrt(max(0.0, syy - self.slope**2 * self._sxx()) / (n - 2))

    @property
    def correlation(self) -> float:
        """How much each reading resembles the one before it, 0 … 0.97.

        From the mean square of successive differences, 2 s² (1 − φ) (von Neumann's ratio, from memory).
        """
        variance = self.scatter**2
        if not variance > 0.0:
            return 0.0
        return min(max(0.0, 1.0 - self._steps / (2.0 * (self.count - 1) * variance)), 0.97)

    @property
    def slope_error(self) -> float:
        """Standard error of the slope per second, readings alike counted for less; infinite when unknown."""
        sxx, alike = self._sxx(), self.correlation
        if self.count < 3 or not sxx > 0.0:
            return math.inf
        return self.scatter * math.sqrt((1.0 + alike) / ((1.0 - alike) * sxx))

    def _drop(self) -> None:
        when_s, value = self._points.popleft()
        self._account(when_s, value, -1)
        if self._points:
            self._steps -= (self._points[0][1] - value) ** 2

    def _sxx(self) -> float:
        n = self.count
        return self._xx - self._x * self._x / n if n > 1 else 0.0

    def _clear_sums(self) -> None:
        self._x = self._y = self._xx = self._xy = self._yy = self._steps = 0.0

    def _account(self, when_s: float, value: float, sign: int) -> None:
        x, y = when_s - self._anchor[0], value - self._anchor[1]
        self._x += sign * x
        self._y += sign * y
        self._xx += sign * x * x
        self._xy += sign * x * y
        self._yy += sign * y * y

    def _rebuild(self) -> None:
        self._anchor = self._points[len(self._points) // 2]
        self._clear_sums()
        before = self._points[0][1]
        for when_s, value in self._points:
            self._account(when_s, value, 1)
            self._steps += (value - before) ** 2
            before = value
