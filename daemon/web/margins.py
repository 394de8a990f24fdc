"""How far everything in the source is from its limit, and what of it may be touched."""

from __future__ import annotations

from dataclasses import dataclass

from daemon.results.markup import Html, element, joined
from daemon.results.numbers import fixed
from daemon.touching import COLD_C, HOT_C
from daemon.web.chart import HIGH, WIDE, picture
from daemon.web.live_record import SOURCE, LiveRecord

STALE_S = 120.0
_ROOM_C = 20.0
_LITTLE_K = 10.0


@dataclass(frozen=True)
class Body:
    """Something that gets hot: its newest temperature, how old that is, and the most it may see."""

    name: str
    temperature_c: float | None
    age_s: float
    maximum_c: float

    @property
    def known(self) -> bool:
        """Whether its temperature is known now."""
        return self.temperature_c is not None and self.age_s <= STALE_S

    @property
    def hotness_c(self) -> float:
        """To whole °C, so that the order on the page stays; what is not known comes first."""
        return (
            float("inf") if self.temperature_c is None or not self.known else float(round(self.temperature_c))
        )

    @property
    def touch(self) -> str:
        """Whether a hand may go there."""
        if self.temperature_c is None or not self.known:
            return "unknown: treat it as hot"
        if not self.temperature_c <= HOT_C:
            return "hot: hands off"
        return "cold: gloves" if self.temperature_c < COLD_C else "may be touched"


def bodies(live: LiveRecord) -> list[Body]:
    """Source, fluid, thermometers and their heads."""
    if live.run is None:
        return []
    bench = live.run.bench
    found = [_body(live, SOURCE, f"the {bench.heat_source.spoken}", bench.heat_source.maximum_c)]
    if bench.fluid is not None:
        found.append(_body(live, SOURCE, bench.fluid.name, bench.fluid.maximum_c))
    for number, facts in live.channels.items():
        name = f"head of {facts.name}" if facts.role == "head" else facts.name
        found.append(_body(live, number, name, facts.maximum_c))
    return found


def _body(live: LiveRecord, number: int, name: str, maximum_c: float) -> Body:
    with live.lock:
        column = live.columns.get(number)
        if column is None or not column.value:
            return Body(name, None, float("inf"), maximum_c)
        return Body(name, column.value[-1], live.now_s - column.when_s[-1], maximum_c)


def margins(live: LiveRecord) -> Html:
    """A bar each: how much of the way from the room to its limit is used up."""
    return element("div", joined(_bar(body) for body in bodies(live)), cls="bars")


def touch(live: LiveRecord) -> Html:
    """A line each, the hottest first."""
    order = sorted(bodies(live), key=lambda one: -one.hotness_c)
    rows = [
        element(
            "li",
            element("b", one.touch, cls="cool" if one.touch == "may be touched" else "hot"),
            f" {one.name}, ",
            fixed(one.temperature_c, 0, "°C") if one.known else "no fresh reading",
        )
        for one in order
    ]
    warning = "A probe just drawn out looks cold and is as hot as the source."
    if not any(facts.role == "head" for facts in live.channels.values()):
        warning += " Heads and cables are not measured here: feel for warmth before you grip."
    with live.lock:
        advice = [element("p", words, cls="calls") for words in live.advice.values()]
    words = [element("p", warning, cls="said"), element("p", _unprotected(live), cls="said")]
    return joined([*advice, element("ul", joined(rows), cls="touch"), *words])


def _unprotected(live: LiveRecord) -> str:
    """What no page and no guard can do anything about."""
    contactor = live.run is not None and live.run.bench.heat_source.contactor
    why = "the contactor cannot be opened from here" if contactor else "no contactor is fitted"
    return f"Not protected: a heater whose relay is stuck; {why}. Its own cut-out or the main switch ends it."


def _bar(body: Body) -> Html:
    if body.temperature_c is None or not body.known:
        return _bar_row(body, 0.0, "no fresh reading", "unknown")
    left_k = body.maximum_c - body.temperature_c
    share = (body.temperature_c - _ROOM_C) / max(body.maximum_c - _ROOM_C, 1.0)
    cls = "over" if left_k <= 0.0 else "little" if left_k <= _LITTLE_K else "enough"
    return _bar_row(body, min(max(share, 0.0), 1.0), f"{fixed(left_k, 0, 'K')} left", cls)


def _bar_row(body: Body, share: float, words: str, cls: str) -> Html:
    place = {"x": "0", "y": "0", "width": f"{share * WIDE:.0f}", "height": f"{HIGH:.0f}"}
    described = f"{body.name}: {words} to {fixed(body.maximum_c, 0, '°C')}"
    box = picture(described, element("rect", cls=f"fill {cls}", **place), cls="plot bar")
    name = element("span", body.name, cls="name")
    value = element("span", element("b", words), f" to {fixed(body.maximum_c, 0, '°C')}", cls="now")
    return element("div", name, box, value, cls="row")
