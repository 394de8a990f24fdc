"""Where plug-ins are found: entry points in the group `ohmvigil.drivers`, by the name of their driver."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from drivers.errors import BadProfile

if TYPE_CHECKING:
    from importlib.metadata import EntryPoint

GROUP = "ohmvigil.drivers"


def installed() -> list[EntryPoint]:
    """Every plug-in's entry point; nothing of it is imported."""
    from importlib.metadata import entry_points  # takes longer than everything else here

    return sorted(entry_points(group=GROUP), key=lambda point: point.name)


def factory_of(name: str) -> Callable[..., Any]:
    """What the plug-in offers, imported here and now; raises BadProfile whatever its module does."""
    point = next((one for one in installed() if one.name == name), None)
    if point is None:
        raise BadProfile(f"plug-in {name}: is not installed any more")
    try:
        factory = point.load()
    except (Exception, SystemExit) as error:  # a foreign module may raise anything on import
        raise BadProfile(f"plug-in {name} ({point.value}): {type(error).__name__}: {error}") from error
    if not callable(factory):
        raise BadProfile(f"plug-in {name} ({point.value}): is not callable")
    return factory  # type: ignore[no-any-return]
