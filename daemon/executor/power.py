"""Whether this computer runs on a battery, as Linux tells it (its power supply class in sysfs)."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

SUPPLIES = Path("/sys/class/power_supply")

_FEEDS = frozenset({"Mains", "USB"})
_STORES = frozenset({"Battery", "UPS"})


@dataclass(frozen=True, slots=True)
class Power:
    """`on_battery` is None where nothing tells; `charge_percent` of the fullest battery, None without one."""

    on_battery: bool | None = None
    charge_percent: float | None = None


def power(supplies: Path = SUPPLIES) -> Power:
    """Look now; a supply that cannot be read is passed over. Batteries of mice and keyboards do not count."""
    found = [one for one in _read(supplies) if one.get("scope") != "Device"]
    feeds = [one["online"] for one in found if one.get("type") in _FEEDS and "online" in one]
    stores = [one for one in found if one.get("type") in _STORES]
    if not stores:
        return Power()  # without a battery it cannot run on one, whatever its feeds say
    drained = any(one.get("status") == "Discharging" for one in stores)
    on_battery = not any(online != "0" for online in feeds) if feeds else drained
    charges = [float(one["capacity"]) for one in stores if one.get("capacity", "").isdigit()]
    return Power(on_battery, max(charges, default=None))


def _read(supplies: Path) -> list[dict[str, str]]:
    try:
        folders = sorted(supplies.iterdir())
    except OSError:
        return []
    return [{name: text for name in _FILES if (text := _text(folder / name))} for folder in folders]


_FILES = ("type", "online", "status", "capacity", "scope")


def _text(file: Path) -> str:
    try:
        return file.read_text("ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""
