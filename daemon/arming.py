"""Arming: what a person confirms, by name and at the time, before heat is left alone on a real bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from daemon.precheck.findings import degrees
from plans.run_plan import RunPlan
from plans.unroll import attended_steps

VALID_S = 600.0
"""A confirmation older than ten minutes says nothing about the bench any more. Common practice, no source."""

_CLOCK_BACK_S = 1.0


class NotArmed(Exception):
    """Not everything is confirmed; the message says what is missing."""


@dataclass(frozen=True, slots=True)
class Item:
    """One thing to look at; `caution` is what may hurt the person who looks."""

    key: str
    sentence: str
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Confirmation:
    """Who confirmed an item, and when (UTC in s since 1970)."""

    item: Item
    who: str
    utc_s: float

    def entry(self) -> Mapping[str, object]:
        """As an operator's entry in the record."""
        return {
            "word": "confirm",
            "who": self.who,
            "reason": self.item.sentence,
            "at_utc_s": round(self.utc_s, 3),
        }


@dataclass
class Arming:
    """The checklist of one run, and what of it has been confirmed."""

    items: tuple[Item, ...]
    confirmed: dict[str, Confirmation] = field(default_factory=dict)

    def confirm(self, key: str, who: str, utc_s: float) -> None:
        """Take a confirmation; raises NotArmed for a nameless one, KeyError for an unknown item."""
        if not who.strip():
            raise NotArmed("a confirmation needs the name of the person who looked")
        item = next((one for one in self.items if one.key == key), None)
        if item is None:
            raise KeyError(key)
        self.confirmed[key] = Confirmation(item, who.strip(), utc_s)

    def missing(self, utc_s: float) -> tuple[Item, ...]:
        """What is not confirmed, or was confirmed too long ago (or after now: the clock was set back)."""
        return tuple(item for item in self.items if not self._holds(item, utc_s))

    def entries(self, utc_s: float) -> tuple[Mapping[str, object], ...]:
        """The record's entries of a complete arming; raises NotArmed."""
        missing = self.missing(utc_s)
        if missing:
            raise NotArmed(f"not confirmed within {VALID_S / 60:.0f} min: {missing[0].sentence}")
        return tuple(self.confirmed[item.key].entry() for item in self.items)

    def _holds(self, item: Item, utc_s: float) -> bool:
        given = self.confirmed.get(item.key)
        return given is not None and -_CLOCK_BACK_S <= utc_s - given.utc_s <= VALID_S


def unattended_problem(run: RunPlan) -> str:
    """Why this run must not be left alone, in a sentence; empty when it may be."""
    if run.bench.molten is not None:
        return (
            f"{run.bench.molten.name} freezes around the probes when the power fails. "
            "Stay and use `ohmvigil run --attended`, or use another source."
        )
    for step in attended_steps(run):
        assert step.immersion is not None
        return (
            f"point {step.number} ({degrees(step.temperature_c)}) asks a person to withdraw "
            f"{step.immersion.serial} for its immersion profile. Stay and use `ohmvigil run --attended` "
            "(after an interruption `resume --attended`), or take immersion_profile out."
        )
    return ""


def arming(run: RunPlan) -> Arming:
    """The checklist of a run, in the order in which one walks round the bench."""
    return Arming(tuple(_items(run)))


def confirmed_unasked(run: RunPlan, who: str, utc_s: float) -> Arming:
    """Everything confirmed at once, for a simulated bench only; raises NotArmed on a real one."""
    if run.bench.simulation is None:
        raise NotArmed("--yes is for simulated benches: on a real one a person looks and confirms each item")
    armed = arming(run)
    for item in armed.items:
        armed.confirm(item.key, who, utc_s)
    return armed


def _items(run: RunPlan) -> Iterator[Item]:
    source, top = run.bench.heat_source, max(run.visited_c)
    limit = run.rating.highest
    yield Item(
        "limits",
        f"The hottest point is {degrees(top)}; nothing in the {source.spoken} may see more than "
        f"{degrees(limit.value)} ({limit.owner})",
    )
    yield Item(
        "probes",
        "Every probe sits on the channel that the plan names, at its depth, clean and dry",
        "Probes leave the source hot and look cold; a wet probe in hot oil or salt spits.",
    )
    if run.bench.fluid is not None:
        yield _fluid(run)
    yield Item(
        "running", f"Stirrer or fan runs, and the lid or insulation of the {source.spoken} is as it must be"
    )
    if source.kind != "stirred_bath":
        yield Item(
            "earth",
            "Sheaths and block are earthed behind residual-current protection; no cable crosses a hot part",
            "Old insulation sheds fibres that are not to be breathed.",
        )
    yield _cut_out(run)
    yield Item(
        "air", "Extraction, and room alarms for smoke or oxygen where local rules ask for them, are on"
    )
    yield Item("clear", "Nothing that burns lies near, and nobody works beside the source tonight")
    yield Item("computer", "The computer has mains, room on its disk, and will not update or sleep tonight")
    yield Item(
        "notice",
        "An emergency notice (switch-off, name, telephone number) is on the door; I may do this here",
    )
    for step in attended_steps(run):
        assert step.immersion is not None
        yield Item(
            f"profile {step.number}",
            f"I stay until point {step.number} ({degrees(step.temperature_c)}) and withdraw "
            f"{step.immersion.serial} there when asked, and put it back",
            "The sheath comes out hot: gloves; nothing may drip from it.",
        )
    if run.bench.molten is not None:
        yield Item(
            "molten",
            f"{run.bench.molten.name} is molten throughout; I stay for the whole run, and whoever knows this "
            "bath is within call",
            "When the power fails it freezes and traps the sheaths.",
        )
    yield Item("stay", "I stay until the first point is reached")


def _fluid(run: RunPlan) -> Item:
    fluid = run.bench.fluid
    assert fluid is not None
    cautions = {
        "salt": "Contaminated salt can burn or explode: no water, nothing organic, no wet probe.",
        "alcohol": "Its vapour burns: no flame, no spark, extraction on.",
        "water": "Steam scalds; water boils away and leaves the heater dry.",
    }
    return Item(
        "fluid",
        f"The tank holds {fluid.name}, is full to its mark and labelled up to {degrees(fluid.maximum_c)}",
        cautions.get(fluid.kind, "Smoking fluid: heat off at once; keep water away from hot oil."),
    )


def _cut_out(run: RunPlan) -> Item:
    fitted = run.bench.heat_source.cut_out
    caution = "Software cannot stop a heater whose relay has welded: this is what does."
    if fitted is None:
        return Item("cut_out", "There is no over-temperature cut-out, and I know what that means", caution)
    return Item(
        "cut_out",
        f"The over-temperature cut-out's own dial stands at {degrees(fitted.setting_c)}, "
        f"and it was seen to trip on {fitted.tested_on.isoformat()}",
        caution,
    )
