"""Reads one TOML table strictly: every fault names the file, the table and the key."""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterable, Mapping
from typing import Any

from drivers.errors import BadProfile


class Table:
    """One table of a profile; `finish` complains about keys nobody asked for."""

    def __init__(self, content: Mapping[str, Any], file: str, path: str = "") -> None:
        self._content = content
        self._file = file
        self._path = path
        self._known: set[str] = set()

    def fault(self, key: str, complaint: str) -> BadProfile:
        """The error to raise about `key`."""
        where = f"{self._file}, [{self._path}]" if self._path else self._file
        return BadProfile(f"{where}, {key}: {complaint}" if key else f"{where}: {complaint}")

    def has(self, key: str) -> bool:
        """True when the key is given."""
        self._known.add(key)
        return key in self._content

    def names(self) -> list[str]:
        """Every key, for tables whose keys are names."""
        self._known.update(self._content)
        return list(self._content)

    def raw(self, key: str, expected: str) -> Any:
        """The value as TOML gave it; raises BadProfile when missing."""
        if not self.has(key):
            raise self.fault(key, f"is missing; expected {expected}")
        return self._content[key]

    def text(self, key: str, default: str | None = None) -> str:
        """Printable ASCII text."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key, "text")
        if not isinstance(value, str) or not value.isascii() or not value.isprintable():
            raise self.fault(key, f"expected printable ASCII text, found {value!r}")
        return value

    def terminator(self, key: str) -> bytes:
        """One to four control or printing ASCII characters, not empty."""
        value = self.raw(key, 'a terminator such as "\\n"')
        if not isinstance(value, str) or not value.isascii() or not 1 <= len(value) <= 4:
            raise self.fault(key, f'expected a terminator such as "\\n", found {value!r}')
        return value.encode("ascii")

    def choice(self, key: str, options: Iterable[str], default: str | None = None) -> str:
        """One of the given words."""
        value = self.text(key, default)
        if value not in options:
            raise self.fault(key, f"expected one of {', '.join(options)}; found {value!r}")
        return value

    def number(self, key: str, low: float, high: float, default: float | None = None) -> float:
        """A finite number within low..high."""
        if default is not None and not self.has(key):
            return default
        return self.checked_number(key, self.raw(key, "a number"), low, high)

    def whole(self, key: str, low: int, high: int, default: int | None = None) -> int:
        """A whole number within low..high."""
        value = self.number(key, low, high, default)
        if value != int(value):
            raise self.fault(key, f"expected a whole number, found {value}")
        return int(value)

    def checked_number(self, key: str, value: object, low: float, high: float) -> float:
        """`value` as a number within low..high; raises BadProfile."""
        if isinstance(value, bool) or not isinstance(value, int | float) or not low <= value <= high:
            raise self.fault(key, f"expected a number from {low:g} to {high:g}, found {value!r}")
        return float(value)

    def numbers(self, key: str, low: float, high: float) -> tuple[float, ...]:
        """A list of numbers, not empty."""
        values = self.raw(key, "a list of numbers")
        if not isinstance(values, list) or not values:
            raise self.fault(key, f"expected a list of numbers, found {values!r}")
        return tuple(self.checked_number(key, value, low, high) for value in values)

    def span(self, key: str) -> tuple[float, float] | None:
        """`[low, high]` with low < high, or None when not given."""
        if not self.has(key):
            return None
        values = self.numbers(key, -1e12, 1e12)
        if len(values) != 2 or not values[0] < values[1]:
            raise self.fault(key, f"expected [low, high] with low below high, found {list(values)}")
        return values[0], values[1]

    def flag(self, key: str, default: bool) -> bool:
        """true or false."""
        value = self._content[key] if self.has(key) else default
        if not isinstance(value, bool):
            raise self.fault(key, f"expected true or false, found {value!r}")
        return value

    def pattern(self, key: str) -> re.Pattern[bytes]:
        """A regular expression over the bytes of a reply, always matched in full."""
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("error")  # what is doubtful in a pattern is no pattern for an answer
                return re.compile(self.text(key).encode("ascii"))
        except (re.error, Warning, RecursionError, OverflowError) as error:
            raise self.fault(key, f"is not a regular expression: {error}") from error

    def table(self, key: str, default: Mapping[str, Any] | None = None) -> Table:
        """A table inside this one."""
        content = default if default is not None and not self.has(key) else self.raw(key, "a table")
        if not isinstance(content, Mapping):
            raise self.fault(key, f"expected a table, found {content!r}")
        return Table(content, self._file, f"{self._path}.{key}" if self._path else key)

    def tables(self, key: str) -> list[Table]:
        """A list of tables; empty when not given."""
        content = self._content[key] if self.has(key) else []
        if not isinstance(content, list) or not all(isinstance(item, Mapping) for item in content):
            raise self.fault(key, "expected a list of tables")
        prefix = f"{self._path}.{key}" if self._path else key
        return [Table(item, self._file, f"{prefix}[{at}]") for at, item in enumerate(content)]

    def finish(self) -> None:
        """Every key must have been asked for."""
        unknown = [key for key in self._content if key not in self._known]
        if unknown:
            known = ", ".join(sorted(self._known))
            raise self.fault(unknown[0], f"is not a known key here; known: {known}")
