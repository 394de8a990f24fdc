"""A plug-in's instrument behind a fence: whatever its code does wrong is an InstrumentError that names it."""

from __future__ import annotations

import inspect
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from drivers.errors import BadProfile, InstrumentError, PlugInFault
from drivers.quantities import Reading
from drivers.roles import BridgeCapabilities, HeatSourceCapabilities, ScannerCapabilities, SourceStatus

METHODS: Mapping[str, tuple[str, ...]] = {
    "bridge": ("measure",),
    "scanner": ("select", "closed"),
    "readout": ("temperatures",),
    "ambient": ("conditions",),
    "interlocks": ("states",),
    "heat-source": ("status", "write_set_point", "make_safe"),
}
"""What a role cannot do without, beside identify and close; the first one tells a plug-in's role."""

_CAPABILITIES: Mapping[str, type] = {
    "bridge": BridgeCapabilities,
    "scanner": ScannerCapabilities,
    "heat-source": HeatSourceCapabilities,
}
_GIVES: Mapping[str, type] = {
    "identify": str,
    "status": SourceStatus,
    "measure": Reading,
    "closed": int,
    "temperatures": Mapping,
    "conditions": Mapping,
    "states": Mapping,
}


class PlugInDevice:
    """Has what the plug-in's own object has; only its failures are told differently."""

    def __init__(self, name: str, instrument: Any) -> None:
        self._name, self._instrument = name, instrument

    def __getattr__(self, attribute: str) -> Any:
        found = getattr(self._instrument, attribute)
        return _fenced(self._name, attribute, found) if inspect.isroutine(found) else found

    async def close(self) -> None:
        """Let go of the wire; a plug-in that cannot even do that is left alone."""
        try:
            await self._instrument.close()
        except (Exception, SystemExit):  # noqa: BLE001 - foreign code, and nothing more is asked of it
            return


def fence(name: str, instrument: Any, role: str | None) -> PlugInDevice:
    """The plug-in's instrument in a role, or in the one it shows; BadProfile when it lacks something."""
    role = role or next((one for one, methods in METHODS.items() if hasattr(instrument, methods[0])), None)
    if role is None:
        raise BadProfile(f"plug-in {name}: it has no role; drivers/roles.py says what each needs")
    for method in ("identify", *METHODS[role], "close"):
        if not inspect.isroutine(getattr(instrument, method, None)):
            raise BadProfile(f"plug-in {name}: as {role} it needs {method}, and has none")
    wanted = _CAPABILITIES.get(role)
    if wanted is not None and not isinstance(getattr(instrument, "capabilities", None), wanted):
        raise BadProfile(f"plug-in {name}: as {role} it needs capabilities, a {wanted.__name__}")
    return PlugInDevice(name, instrument)


def _fenced(name: str, method: str, found: Callable[..., Any]) -> Callable[..., Awaitable[Any]]:
    async def call(*args: Any) -> Any:
        try:
            answer = found(*args)
            answer = await answer if inspect.isawaitable(answer) else answer
        except InstrumentError:
            raise
        except (Exception, SystemExit) as error:  # foreign code must not end the daemon
            raise PlugInFault(f"plug-in {name}, {method}: {type(error).__name__}: {error}") from error
        wanted = _GIVES.get(method)
        if wanted is not None and not isinstance(answer, wanted):
            raise PlugInFault(f"plug-in {name}, {method}: gave {answer!r}, not a {wanted.__name__}")
        return answer

    return call
