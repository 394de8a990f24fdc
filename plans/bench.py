"""The bench: heat source, fluid, bridge, uncertainty budget, and the simulation when there is no real one."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from plans.address import Address, is_simulated
from plans.fluid import Fluid
from plans.learned import Part
from plans.monitors import Interlocks, Monitor, Scanner
from plans.source import HeatSource
from plans.values import Celsius, FileName, Name, ProfileName, Seconds, Serial, Table, Text

RESISTOR_TERM = "standard resistor, by its certificate"
FIRST_YEAR, LAST_YEAR = 2000, 2200


class BenchHeader(Table):
    """[bench]."""

    name: Name


class Resistor(Table):
    """[bridge.resistor]: the standard resistor of a ratio bridge, by its certificate (coverage 95 %, k)."""

    ohm: Annotated[float, Field(ge=0.1, le=1e5)]
    expanded_uncertainty_ppm: Annotated[float, Field(gt=0.0, le=1000.0)]
    coverage_factor: Annotated[float, Field(ge=1.0, le=5.0)] = 2.0


class Bridge(Table):
    """The resistance bridge, or a ratio bridge with its standard resistor.

    `integration_s` is the length of one conversion; it and `range_ohm`, the highest resistance of its range,
    are set on an instrument that lets them be chosen.
    """

    profile: ProfileName
    address: Address
    channels: Annotated[int, Field(ge=1, le=96)] = 8
    settling_s: Seconds = 1.0
    integration_s: Annotated[float, Field(gt=0.0, le=600.0)] = 1.0
    range_ohm: Annotated[float, Field(gt=0.0, le=1e6)] | None = None
    resistor: Resistor | None = None
    calibration_due: date | None = None
    resistor_due: date | None = None


class UncertaintyTerm(Table):
    """One line of the budget.

    `size`: a half-width, or for a normal term the standard or expanded value that `divisor` belongs to;
    `shape`: constant, proportional to (t − ambient)/100 K, or (ppm) to the resistance.
    """

    name: Name
    size: Annotated[float, Field(ge=0.0, le=1e6)]
    unit: Literal["mK", "ppm", "ohm"]
    distribution: Literal["normal", "rectangular", "triangular", "arcsine"]
    divisor: Annotated[float, Field(gt=0.0, le=10.0)] | None = None
    degrees_of_freedom: Annotated[float, Field(ge=1.0, le=1e6)] | None = None
    correlation: Literal["random", "common"] = "common"
    shape: Literal["constant", "ambient_excess", "resistance"] = "constant"
    note: Text = ""

    @model_validator(mode="after")
    def _ppm_is_of_resistance(self) -> Self:
        if (self.unit == "ppm") != (self.shape == "resistance"):
            raise ValueError('unit = "ppm" and shape = "resistance" go together: write both or neither.')
        return self


class RecordPlace(Table):
    """Where records are written, relative to the plan's file."""

    folder: FileName = "records"


class Truth(Table):
    """[simulation.truths.SERIAL]: what a simulated thermometer really has; a key left out is drawn or usual.

    `hysteresis_ppm`: half the difference of resistance between coming from above and from below;
    `shift_ppm`: a lasting change of resistance when first hotter than `shifts_above_c`; `heating_mw_per_k`:
    its dissipation constant; `insulation_mohm`: at 22 °C (a moist thermometer has little);
    `shorted_turns`: the share of its wire that is bridged; `emf_uv`: thermal EMF in its leads.
    """

    hysteresis_ppm: Annotated[float, Field(ge=-1000.0, le=1000.0)] = 0.0
    shift_ppm: Annotated[float, Field(ge=-10_000.0, le=10_000.0)] = 0.0
    shifts_above_c: Celsius | None = None
    heating_mw_per_k: Annotated[float, Field(ge=0.1, le=1e6)] | None = None
    insulation_mohm: Annotated[float, Field(ge=0.001, le=1e6)] | None = None
    shorted_turns: Annotated[float, Field(ge=0.0, le=0.5)] = 0.0
    emf_uv: Annotated[float, Field(ge=-1000.0, le=1000.0)] = 0.0


class SimulatedDisplay(Table):
    """What the simulated controller shows less the truth: offset at 0 °C in K, slope in K/K."""

    offset_k: Annotated[float, Field(ge=-10.0, le=10.0)] = 0.0
    slope: Annotated[float, Field(ge=-0.1, le=0.1)] = 0.0


class Simulation(Table):
    """Present only on a simulated bench.

    `response`, `display` and `lags_s` (time constant of a thermometer in s) are what was learned of the real
    bench; left out, they are drawn from the seed.
    """

    model: Literal["oil_bath", "wide_bath", "salt_bath", "dry_block", "furnace"]
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = 1
    start_utc: datetime = datetime(2026, 1, 15, 17, 0, tzinfo=UTC)
    ambient_c: Annotated[float, Field(ge=0.0, le=45.0)] = 22.0
    faults: tuple[Text, ...] = ()
    truths: dict[Serial, Truth] = Field(default_factory=dict)
    response: dict[Part, Annotated[float, Field(ge=0.05, le=20.0)]] = Field(default_factory=dict)
    display: SimulatedDisplay | None = None
    lags_s: dict[Serial, Annotated[float, Field(ge=0.1, le=3600.0)]] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _start_is_utc(self) -> Self:
        if self.start_utc.utcoffset() != timedelta(0):
            raise ValueError("start_utc must be given in UTC with a Z at its end, e.g. 2026-01-15T17:00:00Z.")
        if not FIRST_YEAR <= self.start_utc.year <= LAST_YEAR:
            raise ValueError(f"start_utc lies in the years {FIRST_YEAR} to {LAST_YEAR}.")
        return self


class Bench(Table):
    """bench.toml."""

    header: BenchHeader = Field(alias="bench")
    heat_source: HeatSource
    fluid: Fluid | None = None
    bridge: Bridge
    scanner: Scanner | None = None
    readout: Monitor | None = None
    ambient: Monitor | None = None
    interlocks: Interlocks | None = None
    uncertainty: Annotated[tuple[UncertaintyTerm, ...], Field(min_length=1)]
    record: RecordPlace = RecordPlace()
    simulation: Simulation | None = None

    @property
    def name(self) -> str:
        """The bench's name."""
        return self.header.name

    @property
    def ambient_c(self) -> float:
        """Room temperature used for forecasts."""
        return 22.0 if self.simulation is None else self.simulation.ambient_c

    @property
    def molten(self) -> Fluid | None:
        """The fluid, where it would freeze in the room and is therefore held above its freezing point."""
        return self.fluid if self.fluid is not None and self.fluid.kept_molten else None

    @property
    def start_c(self) -> float:
        """What the source is taken to be at before a run: as warm as the room, or held molten."""
        return self.ambient_c if self.molten is None else self.heat_source.parking_c

    @property
    def channels(self) -> int:
        """How many thermometers can be read: by the scanner, or by a bridge that has one of its own."""
        return self.bridge.channels if self.scanner is None else self.scanner.channels

    @property
    def budget(self) -> tuple[UncertaintyTerm, ...]:
        """The bench's uncertainty terms, and that of the standard resistor by its certificate."""
        resistor = self.bridge.resistor
        if resistor is None:
            return self.uncertainty
        term = UncertaintyTerm(
            name=RESISTOR_TERM,
            size=resistor.expanded_uncertainty_ppm,
            unit="ppm",
            distribution="normal",
            divisor=resistor.coverage_factor,
            shape="resistance",
            note="its certificate",
        )
        return (*self.uncertainty, term)

    @property
    def beside(self) -> dict[str, Monitor]:
        """What stands beside heat source and bridge, by its role."""
        all_three = {"readout": self.readout, "ambient": self.ambient, "interlocks": self.interlocks}
        return {role: monitor for role, monitor in all_three.items() if monitor is not None}

    @model_validator(mode="after")
    def _a_bath_has_a_fluid(self) -> Self:
        bath = self.heat_source.kind == "stirred_bath"
        if bath and self.fluid is None:
            raise ValueError("a stirred bath needs a [fluid] table: take it from the fluid's data sheet.")
        if not bath and self.fluid is not None:
            raise ValueError(f"a {self.heat_source.spoken} has no fluid: take the [fluid] table out.")
        return self

    @model_validator(mode="after")
    def _what_would_freeze_is_parked_hot(self) -> Self:
        molten = self.molten
        if molten is not None and not self.heat_source.parking_c >= molten.coldest_held_c:
            raise ValueError(
                f"{molten.name} freezes at {molten.freezing_c:g} °C and would trap the sheaths: give "
                f"[heat_source] parking_c = {molten.coldest_held_c:g} or more, where it is held molten."
            )
        return self

    @model_validator(mode="after")
    def _all_simulated_or_all_real(self) -> Self:
        others = [monitor.address for monitor in self.beside.values()]
        others += [] if self.scanner is None else [self.scanner.address]
        addresses = (self.heat_source.address, self.bridge.address, *others)
        simulated = {is_simulated(address) for address in addresses}
        if simulated != {self.simulation is not None}:
            raise ValueError(
                "a bench is either simulated throughout ([simulation] table, all addresses "
                '"simulated:...") or real throughout (neither): never heat by a simulated reading.'
            )
        return self

    @model_validator(mode="after")
    def _each_term_once(self) -> Self:
        names = [term.name for term in self.budget]
        twice = sorted({name for name in names if names.count(name) > 1})
        if twice:
            raise ValueError(f"the uncertainty term {twice[0]!r} is given twice and would count twice.")
        return self
