"""The register: every thermometer the laboratory may put on a bench."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from plans.probe import Thermometer
from plans.values import Table


class Register(Table):
    """register.toml."""

    thermometers: Annotated[tuple[Thermometer, ...], Field(min_length=1)]

    def find(self, serial: str) -> Thermometer | None:
        """The thermometer with this serial, or None."""
        return next((one for one in self.thermometers if one.serial == serial), None)

    @model_validator(mode="after")
    def _each_serial_once(self) -> Self:
        serials = [one.serial for one in self.thermometers]
        twice = sorted({serial for serial in serials if serials.count(serial) > 1})
        if twice:
            raise ValueError(
                f"the serial {', '.join(twice)} stands in the register more than once; "
                "keep one [[thermometers]] table for each thermometer."
            )
        return self
