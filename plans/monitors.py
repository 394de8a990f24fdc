"""What stands beside heat source and bridge: a scanner, a second thermometer, the room, the interlocks."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from plans.address import Address
from plans.values import ProfileName, Table


class Monitor(Table):
    """[readout] or [ambient]: plain temperature readout, monitor of the room; only looked at."""

    profile: ProfileName
    address: Address


class Scanner(Monitor):
    """[scanner]: an instrument of its own that puts one of its channels to the input of the bridge."""

    channels: Annotated[int, Field(ge=1, le=96)] = 16


class Interlocks(Monitor):
    """[interlocks]: stirrer and level, in switches or in numbers that the bench sets a minimum for."""

    minimum_stirrer_speed_per_min: Annotated[float, Field(gt=0.0, le=10_000.0)] | None = None
    minimum_level_mm: Annotated[float, Field(ge=-1000.0, le=10_000.0)] | None = None
