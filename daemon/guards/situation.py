"""What the guards know: the limits of this run, what was commanded, and what was last seen.

Built from the plan, then changed only by actions and observations as they stand in the journal,
so that a replay finds the guards in the same situation as the night did.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from daemon.actions import Command, SwitchCooling, SwitchHeater, WriteRamp, WriteSetPoint
from daemon.channels import ITEM_ROLES, ChannelFacts, out_of_band
from daemon.observations import Monitored, Observation, Resistance, Source
from daemon.rolling import RollingLine
from daemon.states import State
from drivers.quantities import Reading
from drivers.roles import HeatSourceCapabilities, SourceStatus

RATE_WINDOW_S = 60.0
"""Slopes are taken over this window, never between two raw readings."""

JUMP_K = 2.0
"""A step between two readings larger than this, and than the fastest ramp explains, is doubted."""

_FAR_PAST_S = -1e9
_DOUBTED_TWICE = 2
_ANY = 1e9


def _nothing_mk(temperature_c: float) -> float:
    return 0.0


@dataclass(frozen=True, slots=True)
class Limits:
    """Limits of one run: temperatures in °C with the item that set them, rates in K/min, times in s.

    `cooling_at` gives the fastest fall in K/min that every probe here bears at a temperature, `places_mk` the
    expanded uncertainty (k = 2) of all terms of the bench there.
    """

    highest_c: float
    highest_set_by: str
    lowest_c: float
    lowest_set_by: str
    heating_k_per_min: float
    cooling_k_per_min: float
    cooling_at: Callable[[float], float]
    coast_s: float
    parking_c: float
    longest_point_s: float
    longest_run_s: float
    reference_turn_s: float
    display_offset_k: float = 0.0
    places_mk: Callable[[float], float] = _nothing_mk
    minimum_stirrer_speed_per_min: float | None = None
    minimum_level_mm: float | None = None


class Track:
    """Temperature of one place over the last minute, in °C; `newest_c` is the last reading, believed or not.

    A reading that steps further than `possible_k` allows is kept out of the line until it has come three
    times in a row: a spike must not look like a slope.
    """

    def __init__(self) -> None:
        self._line = RollingLine(RATE_WINDOW_S)
        self._rate: float | None = None
        self.temperature_c = self.newest_c = 0.0
        self.when_s = _FAR_PAST_S
        self.visit_interval_s = 1.0
        self.doubted = 0

    def add(self, when_s: float, temperature_c: float, fastest_k_per_min: float = _ANY) -> None:
        """Take one temperature in °C; `fastest_k_per_min` is how fast it can really change."""
        self.newest_c = temperature_c
        gap_s = when_s - self.when_s
        if abs(temperature_c - self.temperature_c) > JUMP_K and self._doubtful(gap_s, fastest_k_per_min):
            return
        if gap_s > RATE_WINDOW_S:
            self._line.clear()
        else:
            self.visit_interval_s = max(gap_s, 0.5 * self.visit_interval_s)
        self._line.add(when_s, temperature_c)
        self._rate, self.doubted = None, 0
        self.temperature_c, self.when_s = temperature_c, when_s

    def _doubtful(self, gap_s: float, fastest_k_per_min: float) -> bool:
        possible_k = JUMP_K + 1.5 * fastest_k_per_min * gap_s / 60.0
        if not self.seen() or abs(self.newest_c - self.temperature_c) <= possible_k:
            return False
        self.doubted += 1
        if self.doubted > _DOUBTED_TWICE:
            self._line.clear()
            return False
        return True

    def seen(self) -> bool:
        """True when there was at least one reading."""
        return self._line.count > 0

    @property
    def rate_k_per_min(self) -> float:
        """Slope over the window in K/min; 0 while less than a third of it is filled."""
        if self._rate is None:
            self._rate = 60.0 * self._line.slope if self._line.span_s >= RATE_WINDOW_S / 3 else 0.0
        return self._rate


@dataclass
class Situation:
    """The run as the guards see it."""

    limits: Limits
    channels: Mapping[int, ChannelFacts]
    capabilities: HeatSourceCapabilities
    commanded_c: float | None = None
    commanded_at_s: float = _FAR_PAST_S
    changed_at_s: float = _FAR_PAST_S
    started_from_c: float | None = None
    ramp_k_per_min: float = 0.0
    heater_commanded: bool | None = None
    cooling_commanded: bool | None = None
    switched_at_s: float = _FAR_PAST_S
    state: State = State.IDLE
    entered_at_s: float = 0.0
    started_at_s: float | None = None
    distrusted: set[str] = field(default_factory=set)
    now_s: float = 0.0
    status: SourceStatus | None = None
    interlocks: Monitored | None = None
    source: Track = field(default_factory=Track)
    tracks: dict[int, Track] = field(default_factory=dict)
    reference_channel: int = field(init=False)
    items: int = field(init=False)

    def __post_init__(self) -> None:
        self.reference_channel = next(c for c, f in self.channels.items() if f.role == "reference")
        self.items = sum(f.role in ITEM_ROLES for f in self.channels.values())
        self._fastest = 2.0 * max(self.limits.heating_k_per_min, self.limits.cooling_k_per_min)

    def enter(self, state: State, now_s: float) -> None:
        """Take note of a change of state."""
        self.state, self.entered_at_s = state, now_s
        if self.started_at_s is None and state is State.RUNNING:
            self.started_at_s = now_s

    def interlock(self, name: str) -> bool | None:
        """What the interlocks last said of `name`, however long ago; None where they have no such switch."""
        return self.interlocks.states.get(name) if self.interlocks is not None else None

    def measured(self, name: str) -> Reading | None:
        """What the interlocks last measured."""
        return self.interlocks.readings.get(name) if self.interlocks is not None else None

    def command(self, action: Command, now_s: float) -> None:
        """Take note of a command, before it is sent."""
        self.now_s = now_s
        match action:
            case WriteSetPoint(temperature_c):
                if temperature_c != self.commanded_c:
                    self.changed_at_s = now_s
                    self.started_from_c = self.source.temperature_c if self.source.seen() else None
                self.commanded_c, self.commanded_at_s = temperature_c, now_s
            case WriteRamp(rate_k_per_min):
                self.ramp_k_per_min = rate_k_per_min
            case SwitchHeater(on):
                self.heater_commanded, self.switched_at_s = on, now_s
            case SwitchCooling(on):
                self.cooling_commanded = on

    def observe(self, observation: Observation) -> None:
        """Take note of an observation, before the guards judge it."""
        self.now_s = max(self.now_s, observation.when_s)
        match observation:
            case Source(when_s, status):
                self.status = status
                if status.temperature.value is not None:
                    self.source.add(when_s, status.temperature.value)
            case Monitored(role="interlocks"):
                self.interlocks = observation
            case Resistance(when_s, channel, _, reading) if reading.value is not None:
                facts = self.channels.get(channel)
                if facts is not None and not out_of_band(facts, observation):
                    track = self.tracks.setdefault(channel, Track())
                    track.add(when_s, facts.to_celsius(reading.value), self._fastest)

    def reference(self) -> Track | None:
        """The reference thermometer's track, when it was read within the last two minutes."""
        track = self.tracks.get(self.reference_channel)
        return track if track and self.now_s - track.when_s <= 2 * RATE_WINDOW_S else None

    def highest_rate_k_per_min(self) -> float:
        """The faster rise of controller and reference."""
        reference = self.reference()
        rate = self.source.rate_k_per_min
        return max(rate, reference.rate_k_per_min) if reference is not None else rate

    def agreed_rate_k_per_min(self) -> float:
        """What controller and reference both say: the slower rise, so that one bad sensor does not count."""
        reference = self.reference()
        fresh = self.now_s - self.source.when_s <= RATE_WINDOW_S
        if reference is None or not fresh:
            return reference.rate_k_per_min if reference is not None else self.source.rate_k_per_min
        return min(self.source.rate_k_per_min, reference.rate_k_per_min)

    def hottest_c(self) -> float | None:
        """The higher of reference and controller, in °C, from readings of the last two minutes."""
        known = [track.temperature_c for track in (self.reference(), self._fresh_source()) if track]
        return max(known, default=None)

    def _fresh_source(self) -> Track | None:
        seen = self.source.seen() and self.now_s - self.source.when_s <= 2 * RATE_WINDOW_S
        return self.source if seen else None

    def settled(self, band_k: float = 0.5, for_s: float = 600.0) -> bool:
        """True when the set-point is old and the source has been brought to it."""
        if self.commanded_c is None or not self.source.seen():
            return False
        near = abs(self.source.temperature_c - self.commanded_c) <= band_k
        return near and self.now_s - self.changed_at_s >= for_s
