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
        link.prove = self.identify  # asked again after every fault of the wire

    async def identify(self, exchange=None):
        return await self._ask("who", "kettle 3", WrongIdentity, exchange)

    async def status(self):
        found = LOOK.fullmatch(text := await self._ask("look"))
        if found is None:
            self._link.distrust(f"{text!r} is no look")
            raise GarbledReply(f"the kettle answered {text!r} to look")
        now_s = self._clock.monotonic_s()
        shown, wanted = (Reading(float(one), "degC", now_s, raw=one) for one in found.groups()[:2])
        return SourceStatus(now_s, shown, wanted, heater_on=found[3] == "on")

    async def write_set_point(self, temperature_c):
        if not 20.0 <= temperature_c <= 95.0:
            raise OutsideLimits(f"set-point {temperature_c} °C is outside 20 to 95 °C")
        await self._ask(f"set {temperature_c:.1f}", f"set {temperature_c:.1f}")

    async def write_heater(self, on):
        await self._ask("on" if on else "off", "on" if on else "off")

    async def make_safe(self):
        await self.write_heater(False)

    async def close(self):
        self._link.close()

    async def _ask(self, text, wanted=None, error=NotConfirmed, exchange=None):
        reply = await (exchange or self._link.exchange)(
            f"{text}\n".encode(), lambda got: got.find(b"\n") + 1, 1.0
        )
        if wanted not in (None, said := reply[:-1].decode("ascii", "replace")):
            raise error(f"the kettle answered {said!r} to {text!r}")
        return said
