"""A driver of one's own: an invented kettle that speaks lines. Its name in a bench file: example-kettle."""

import re

from drivers.errors import GarbledReply, NotConfirmed, OutsideLimits, WrongIdentity
from drivers.quantities import Reading
from drivers.roles import HeatSourceCapabilities, SourceStatus

LOOK = re.compile(r"(\d\d\.\d) (\d\d\.\d) (on|off)")


class Kettle:
    """roles.HeatSource. The link pairs answers with questions; a reply of another shape is refused."""

    capabilities = HeatSourceCapabilities(20.0, 95.0, set_point_resolution_k=0.1, heater_switch=True)

    def __init__(self, link, clock):
        self._link, self._clock = link, clock
        link.prove = self._identity  # asked again after every fault of the wire

    async def identify(self):
        return await self._identity(self._link.exchange)

    async def status(self):
        found = LOOK.fullmatch(await self._ask("look"))
        if found is None:
            self._link.distrust("a look of another shape")
            raise GarbledReply("the kettle did not say how it is")
        now_s = self._clock.monotonic_s()
        shown, wanted = (Reading(float(text), "degC", now_s, raw=text) for text in found.groups()[:2])
        return SourceStatus(now_s, shown, wanted, heater_on=found[3] == "on")

    async def write_set_point(self, temperature_c):
        if not 20.0 <= temperature_c <= 95.0:
            raise OutsideLimits(f"set-point {temperature_c} °C is outside 20 to 95 °C")
        await self._command(f"set {temperature_c:.1f}")

    async def write_heater(self, on):
        await self._command("on" if on else "off")

    async def make_safe(self):
        await self.write_heater(False)

    async def close(self):
        self._link.close()

    async def _command(self, text):
        if await self._ask(text) != text:
            raise NotConfirmed(f"the kettle did not confirm {text!r}")

    async def _ask(self, text, exchange=None):
        reply = await (exchange or self._link.exchange)(f"{text}\n".encode(), _complete, 1.0)
        return reply[:-1].decode("ascii", "replace")

    async def _identity(self, exchange):
        name = await self._ask("who", exchange)
        if name != "kettle 3":
            raise WrongIdentity(f"kettle 3 was expected, {name!r} answered")
        return name


def _complete(buffer):
    return buffer.find(b"\n") + 1
