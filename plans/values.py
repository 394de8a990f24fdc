"""Number and text types of the plan files: finite, bounded, never a text or a yes/no taken for a number."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from drivers.quantities import ABSOLUTE_ZERO_C

HOTTEST_C = 1000.0
"""Above the silver point, the end of platinum resistance thermometry in the ITS-90 (961.78 °C)."""


class Table(BaseModel):
    """A TOML table: frozen, strict, unknown keys refused, only finite numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False)


Celsius = Annotated[float, Field(ge=ABSOLUTE_ZERO_C, le=HOTTEST_C)]
MilliKelvin = Annotated[float, Field(ge=0.001, le=10_000.0)]
Rate = Annotated[float, Field(ge=0.01, le=50.0)]
MilliAmpere = Annotated[float, Field(ge=0.01, le=10.0)]
Millimetre = Annotated[float, Field(ge=0.1, le=2000.0)]
Minutes = Annotated[float, Field(ge=0.1, le=1440.0)]
Seconds = Annotated[float, Field(ge=0.0, le=3600.0)]
Ohm = Annotated[float, Field(ge=0.1, le=10_000.0)]
Coefficient = Annotated[float, Field(ge=-1.0, le=1.0)]
Channel = Annotated[int, Field(ge=1, le=96)]
Text = Annotated[str, Field(max_length=200, pattern=r"^[^\x00-\x1f\x7f]*$")]
Name = Annotated[str, Field(min_length=1, max_length=120, pattern=r"^[^\x00-\x1f\x7f]*$")]
Serial = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9._/-]*$")]
ProfileName = Annotated[str, Field(min_length=1, max_length=400, pattern=r"^[^\x00-\x1f\x7f]+$")]
"""A shipped profile, a plug-in, or a file ending in .toml beside the bench file."""
FileName = Annotated[str, Field(min_length=1, max_length=200, pattern=r"^[^\x00-\x1f\x7f]+$")]

SourceKind = Literal["stirred_bath", "dry_block", "furnace"]
