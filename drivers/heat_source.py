"""A heat source as its profile describes it."""

from __future__ import annotations

from drivers.clock import Clock
from drivers.errors import BadProfile, GarbledReply, OutsideLimits
from drivers.instrument import Instrument
from drivers.link import Link
from drivers.profile_fields import Sample, Values
from drivers.profile_model import Command, PowerReturn, Profile
from drivers.roles import HeatSourceCapabilities, SourceStatus


class ProfileHeatSource(Instrument):
    """roles.HeatSource over a profile; `limits_c` may only narrow the profile's own limits."""

    def __init__(
        self,
        profile: Profile,
        link: Link,
        transport: str,
        clock: Clock,
        limits_c: tuple[float, float] | None = None,
    ) -> None:
        super().__init__(profile, link, transport, clock)
        self._status = profile.questions["status"]
        self.capabilities = capabilities_of(profile, limits_c)

    @property
    def power_return(self) -> PowerReturn:
        """What it does when power returns, and when that was tested."""
        return self.profile.power_return

    @property
    def has_communication_loss(self) -> bool:
        """True when the controller itself can fall back after silence."""
        return self.profile.communication_loss is not None

    async def status(self) -> SourceStatus:
        """One look in one exchange; raises InstrumentError."""
        values = await self.ask(self._status)
        temperature = self.reading(values, self._status, "temperature")
        return SourceStatus(
            temperature.when_s,
            temperature,
            self.reading(values, self._status, "set_point"),
            _number(values, "output"),
            _flag(values, "heater"),
            _flag(values, "over_temperature"),
            _flag(values, "stirrer"),
            _flag(values, "level_low"),
            ",".join(_raw(value) for value in values.values()),
        )

    async def write_set_point(self, temperature_c: float) -> None:
        """Write and read back; raises OutsideLimits, Refused, NotConfirmed, InstrumentError."""
        low, high = self.capabilities.minimum_c, self.capabilities.maximum_c
        if not low <= temperature_c <= high:
            raise OutsideLimits(
                f"{self.link.name}: set-point {temperature_c:g} °C is outside {low:g} to {high:g} °C; "
                "nothing was sent"
            )
        await self.write(self.command("set_point"), temperature_c)

    async def write_ramp(self, rate_k_per_min: float) -> None:
        """Write the controller's ramp limit and read it back."""
        await self.write(self.command("ramp"), rate_k_per_min)

    async def write_heater(self, on: bool) -> None:
        """Switch the heater output and read it back. Off never waits for a question that hangs."""
        if on:
            await self.write(self.command("heater"), 1.0)
        else:
            await self.write_at_once(self.command("heater"), 0.0)

    async def write_cooling(self, on: bool) -> None:
        """Switch the cooling and read it back."""
        await self.write(self.command("cooling"), float(on))

    async def communication_loss(self) -> tuple[float, float]:
        """Its own reaction to silence as it is set: after so many s (0: never) it takes so many °C."""
        loss = self.profile.communication_loss
        if loss is None:
            raise BadProfile(f"{self.profile.id} does not offer a reaction to silence")
        return await self._as_set(self.command(loss.time)), await self._as_set(self.command(loss.set_point))

    async def _as_set(self, command: Command) -> float:
        verify = command.verify
        assert verify is not None  # a profile without is refused
        question = self.profile.questions[verify.question]
        found = self.reading(await self.ask(question), question, verify.field)
        if found.value is None:
            raise GarbledReply(f"{self.link.name}: {command.name}: {found.reason}")
        return found.value

    async def arm_communication_loss(self, silence_s: float, fall_back_c: float) -> None:
        """Let the controller take `fall_back_c` by itself when nothing is written for `silence_s`.

        Each write renews the time; call it again to renew without changing anything. Raises
        BadProfile when the controller has no such register.
        """
        loss = self.profile.communication_loss
        await self.write(self.command(loss.set_point if loss else "communication loss"), fall_back_c)
        await self.write(self.command(loss.time if loss else "communication loss"), silence_s)


def capabilities_of(profile: Profile, limits_c: tuple[float, float] | None = None) -> HeatSourceCapabilities:
    """What a heat source of this profile can do; known without asking it."""
    status, commands = profile.questions["status"], profile.commands
    low, high = commands["set_point"].limits or (0.0, 0.0)
    if limits_c is not None:
        low, high = max(low, limits_c[0]), min(high, limits_c[1])
    return HeatSourceCapabilities(
        minimum_c=low,
        maximum_c=high,
        set_point_resolution_k=profile.resolution_k,
        ramp="ramp" in commands,
        heater_switch="heater" in commands,
        cooling_switch="cooling" in commands,
        output="output" in status.units,
        over_temperature="over_temperature" in status.flags,
        stirrer="stirrer" in status.flags,
        level="level_low" in status.flags,
    )


def _number(values: Values, name: str) -> float | None:
    value = values.get(name)
    return value.value if isinstance(value, Sample) else None


def _flag(values: Values, name: str) -> bool | None:
    value = values.get(name)
    return value if isinstance(value, bool) else None


def _raw(value: Sample | bool) -> str:
    return value.raw if isinstance(value, Sample) else "01"[value]
