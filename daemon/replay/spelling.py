"""A reply's pattern read backwards: the text that shows given values."""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import product

from drivers.errors import BadProfile

_GROUP = re.compile(r"\(\?P<(\w+)>")
_SPECIAL = frozenset(".^$*+?{}[]|()")
_FORMS = tuple(
    f"{{:{sign}{width}{form}}}"
    for form, sign, width in product(
        ("d", *(f".{digits}{kind}" for digits in range(13) for kind in "fE")),
        ("", "+"),
        ("", *(f"0{places}" for places in range(2, 17))),
    )
)


class Spelling:
    """A pattern of named groups with plain text between them; raises BadProfile for any other."""

    def __init__(self, pattern: str) -> None:
        self._whole = re.compile(pattern)
        self._pieces = list(_pieces(pattern))

    @property
    def names(self) -> list[str]:
        """The groups in the order in which they stand in the reply."""
        return [name for name, _ in self._pieces if name]

    def text(self, shown: Mapping[str, str | float]) -> str:
        """The reply in which each group reads as given: a text as it is, a number as its group wants it."""
        parts = []
        for name, piece in self._pieces:
            value = shown[name] if name else piece
            parts.append(value if isinstance(value, str) else _spelled(value, piece))
        reply = "".join(parts)
        if self._whole.fullmatch(reply) is None:
            raise BadProfile(f"{reply!r} is not a reply of the shape {self._whole.pattern!r}")
        return reply


def _pieces(pattern: str) -> list[tuple[str, str]]:
    """(name, its own pattern) for a group, ("", text) for what stands between."""
    found, at = [], 0
    while at < len(pattern):
        if group := _GROUP.match(pattern, at):
            end = _closing(pattern, at)
            found.append((group[1], pattern[group.end() : end]))
            at = end + 1
        elif pattern[at] == "\\" and not pattern[at + 1].isalnum():
            found.append(("", pattern[at + 1]))
            at += 2
        elif pattern[at] == "\\" or pattern[at] in _SPECIAL:
            raise BadProfile(f"the pattern {pattern!r} has more than plain text between its groups")
        else:
            found.append(("", pattern[at]))
            at += 1
    return found


def _closing(pattern: str, at: int) -> int:
    """Where the group that opens at `at` closes; the pattern is known to be sound."""
    depth, in_class = 0, False
    while True:
        match pattern[at]:
            case "\\":
                at += 1
            case "[" if not in_class:
                in_class = True
                at += pattern[at + 1] in "]^"
            case "]":
                in_class = False
            case "(" if not in_class:
                depth += 1
            case ")" if not in_class:
                depth -= 1
                if not depth:
                    return at
        at += 1


def _spelled(number: float, pattern: str) -> str:
    """The number as the pattern wants it, as near as its places allow; raises BadProfile."""
    shape = re.compile(pattern)
    usual = _written(number, _usual.get(pattern, "{}"))
    if pattern in _usual and shape.fullmatch(usual):
        return usual
    fitting = [form for form in _FORMS if shape.fullmatch(_written(number, form))]
    if not fitting:
        raise BadProfile(f"{number:g} cannot be written as {pattern!r}")
    _usual[pattern] = min(fitting, key=lambda form: abs(float(_written(number, form)) - number))
    return _written(number, _usual[pattern])


_usual: dict[str, str] = {}


def _written(number: float, form: str) -> str:
    return form.format(round(number) if form.endswith("d}") else number)
