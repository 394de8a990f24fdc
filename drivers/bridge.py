"""A resistance or ratio bridge as its profile describes it, with its own scanner or with one input."""

from __future__ import annotations

import asyncio
import math
from dataclasses import dataclass, replace

from drivers.clock import Clock
from drivers.errors import BadProfile, NotConfirmed, OutsideLimits, WrongChannel
from drivers.instrument import Instrument
from drivers.link import Link
from drivers.profile_fields import Sample, Value, Values
from drivers.profile_model import Profile
from drivers.profile_rules import CHANNEL, RATIO, REVERSED
from drivers.quantities import Reading
from drivers.roles import BridgeCapabilities

CURRENT_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True)
class BridgeSettings:
    """What the bench chooses; None leaves it as the instrument has it.

    `resistor_ohm` is the value of the standard resistor that a ratio bridge compares with.
    """

    resistor_ohm: float | None = None
    range_ohm: float | None = None
    integration_s: float | None = None


AS_IT_IS = BridgeSettings()


class ProfileBridge(Instrument):
    """roles.Bridge over a profile."""

    def __init__(self, profile: Profile, link: Link, transport: str, clock: Clock) -> None:
        super().__init__(profile, link, transport, clock)
        self.capabilities = capabilities_of(profile)
        self._question = profile.questions["resistance"]
        self._scans = CHANNEL in profile.commands
        self._resistor_ohm: float | None = None
        self._chosen: dict[str, float] = {}
        self._as_chosen = False
        self._one_at_a_time = asyncio.Lock()
        self._channel: int | None = None
        self._current_ma: float | None = None
        self._settled_at_s = 0.0
        self._discards_left = 0

    def choose(self, settings: BridgeSettings) -> None:
        """Set resistor, range and integration; sent before the next reading and after every reopen.

        Raises BadProfile for what the profile does not offer, OutsideLimits for what is beyond it.
        """
        self.capabilities = with_settings(self.profile, settings)
        self._resistor_ohm = settings.resistor_ohm
        chosen = {"range": settings.range_ohm, "integration": settings.integration_s}
        self._chosen = {
            name: value
            for name, value in chosen.items()
            if value is not None and name in self.profile.commands
        }
        self._as_chosen = False

    async def measure(self, channel: int, current_ma: float) -> Reading:
        """Resistance of one channel at one current; a negative one flows the other way.

        A ratio is taken times the standard resistor. Channel and current are selected only when they change;
        after a change the input settles and the profile's number of conversions is thrown away.
        Raises OutsideLimits (nothing sent), WrongChannel, InstrumentError.
        """
        self._check(channel, current_ma)
        async with self._one_at_a_time:
            await self._select(channel, current_ma)
            await self._settle()
            values = await self.ask(self._question)
            self._belongs(values, channel, current_ma)
            if self._chosen and not self._as_chosen:
                raise NotConfirmed(f"{self.link.name}: it was reached anew; its range is not as chosen")
            return self._resistance(values)

    def forget(self) -> None:
        """After a reopen or a drain the selection is not known."""
        self._channel = self._current_ma = None
        self._as_chosen = False

    def _resistance(self, values: Values) -> Reading:
        if RATIO not in self._question.units:
            return self.reading(values, self._question, "resistance")
        ratio = self.reading(values, self._question, RATIO)
        if self._resistor_ohm is None:
            raise BadProfile(
                f"{self.link.name} shows ratios: state its standard resistor ([bridge.resistor] of the bench "
                "file, --resistor in a trial)"
            )
        ohm = None if ratio.value is None else ratio.value * self._resistor_ohm
        return replace(ratio, value=ohm, unit="ohm")

    def _check(self, channel: int, current_ma: float) -> None:
        if channel not in range(1, self.capabilities.channels + 1):
            raise OutsideLimits(
                f"{self.link.name}: channel {channel} does not exist; channels are 1 to "
                f"{self.capabilities.channels}"
            )
        reversed_current = current_ma < 0.0 and not self.capabilities.reversal
        if abs(current_ma) not in self.capabilities.currents_ma or reversed_current:
            offered = ", ".join(f"{offer:g}" for offer in self.capabilities.currents_ma)
            raise OutsideLimits(
                f"{self.link.name}: {current_ma:g} mA is not offered; currents are {offered} mA"
                f"{', either way' if self.capabilities.reversal else ''}"
            )

    async def _select(self, channel: int, current_ma: float) -> None:
        """Switch what differs. A selection counts only once it was accepted."""
        if not self.link.up:
            self.forget()
        if self._scans and channel != self._channel:
            self._channel = None
            await self.write(self.command("channel"), channel)
            self._channel = channel
            self._switched()
        if current_ma != self._current_ma:
            self._current_ma = None
            await self._drive(current_ma)
            self._current_ma = current_ma
            self._switched()
        while self._chosen and not self._as_chosen:
            self._as_chosen = True  # until a reopen in between makes it unknown again
            for name, value in self._chosen.items():
                await self.write(self.command(name), value)
            self._switched()

    async def _drive(self, current_ma: float) -> None:
        """Which way it flows is a sign of the current, or a switch of its own."""
        if REVERSED not in self.profile.commands:
            await self.write(self.command("current"), current_ma)
            return
        await self.write(self.command("current"), abs(current_ma))
        await self.write(self.command(REVERSED), float(current_ma < 0.0))

    def _switched(self) -> None:
        self._settled_at_s = self._clock.monotonic_s() + self.capabilities.settling_s
        self._discards_left = self._question.discard

    async def _settle(self) -> None:
        """Wait out the last switch, also when the call that switched was cancelled."""
        if self._settled_at_s > self._clock.monotonic_s():
            await self._clock.sleep_until(self._settled_at_s)
        while self._discards_left:
            await self.ask(self._question)
            self._discards_left -= 1

    def _belongs(self, values: Values, channel: int, current_ma: float) -> None:
        current = values["current"]
        assert isinstance(current, Sample)
        found_ma = (current.value or 0.0) * (-1.0 if values.get(REVERSED) is True else 1.0)
        found_channel = values[CHANNEL] if self._scans else None
        if (found_channel is None or _is(found_channel, channel)) and math.isclose(
            found_ma, current_ma, rel_tol=CURRENT_TOLERANCE
        ):
            return
        answered = f"channel {found_channel.raw} " if isinstance(found_channel, Sample) else ""
        error = WrongChannel(
            f"{self.link.name}: channel {channel} at {current_ma:g} mA was asked, {answered}"
            f"at {found_ma:g} mA answered"
        )
        self.link.distrust(str(error))
        self.forget()
        raise error


def _is(found: Value, channel: int) -> bool:
    return isinstance(found, Sample) and found.value == channel


def capabilities_of(profile: Profile) -> BridgeCapabilities:
    """What a bridge of this profile can do; known without asking it."""
    facts = profile.bridge
    assert facts is not None
    discard = profile.questions["resistance"].discard
    return BridgeCapabilities(
        facts.channels, facts.currents_ma, facts.integration_s, facts.settling_s, facts.reversal, discard
    )


def with_settings(profile: Profile, settings: BridgeSettings) -> BridgeCapabilities:
    """The same with what the bench chose; raises BadProfile, OutsideLimits when the profile forbids it."""
    can, ratio = capabilities_of(profile), RATIO in profile.questions["resistance"].units
    if ratio != (settings.resistor_ohm is not None):
        raise BadProfile(
            f"profile {profile.id} shows ratios: state its standard resistor ([bridge.resistor] of the bench "
            "file, --resistor in a trial)"
            if ratio
            else f"profile {profile.id} shows resistances: take the standard resistor out"
        )
    if settings.range_ohm is not None and "range" not in profile.commands:
        raise BadProfile(f"profile {profile.id} offers no range: take range_ohm out of the bench file")
    for name, unit, value in (
        ("range", "Ω", settings.range_ohm),
        ("integration", "s", settings.integration_s),
    ):
        command = profile.commands.get(name)
        if command is None or command.limits is None or value is None:
            continue
        if not command.limits[0] <= value <= command.limits[1]:
            low, high = command.limits
            raise OutsideLimits(
                f"profile {profile.id}: {name} {value:g} {unit} is outside {low:g} to {high:g} {unit}"
            )
    chosen_s = settings.integration_s if "integration" in profile.commands else None
    return replace(
        can,
        integration_s=can.integration_s if chosen_s is None else chosen_s,
        range_ohm=settings.range_ohm,
        resistor_ohm=settings.resistor_ohm,
    )
