"""A ratio bridge with one input behind a scanner of its own: every reading stays with its channel."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from daemon.journal.entry import Kind
from daemon.journal.read import read_entries
from daemon.precheck import precheck
from daemon.rehearsal import make_scene, rehearse
from daemon.results.calibrate import component_of
from drivers.bridge import BridgeSettings
from drivers.clock import Clock
from drivers.conformance import Finding, try_bridge, try_scanner
from drivers.errors import BadProfile, InstrumentError, NotConfirmed, OutsideLimits, WrongChannel
from drivers.lines import Lines
from drivers.registry import open_bridge, open_scanner
from drivers.scanned_bridge import ScannedBridge
from plans.errors import PlanError
from plans.run_plan import RunPlan
from simulators.instruments.ratio_bridge import RatioBridge
from simulators.instruments.text_scanner import TextScanner
from simulators.physics.channel import Channel
from simulators.virtual_time import run
from tests.nights.served_night import differences_mk, one_point

THE_DAY = date(2026, 1, 15)  # when the demo's nights begin
RESISTOR_OHM = 100.00042
SCANNER = f"""
[bridge.resistor]
ohm = {RESISTOR_OHM}
expanded_uncertainty_ppm = 0.5

[scanner]
profile = "text-scanner"
address = "simulated:scanner"
"""


def scanned(beside: str = SCANNER, bridge: str = "text-ratio-bridge", more: str = "") -> RunPlan:
    return one_point("bench-bath.toml", beside, bridge=f'profile = "{bridge}"\n{more}')


class Desk:
    """Bridge and scanner of the night's bench, in memory, with the far ends at hand."""

    def __init__(self, settings: BridgeSettings | None = None) -> None:
        scene = make_scene(scanned())
        far_scanner, far_bridge = scene.instrument("scanner"), scene.bridge_end
        assert isinstance(far_scanner, TextScanner) and isinstance(far_bridge, RatioBridge)
        self.far_scanner, self.far_bridge = far_scanner, far_bridge
        clock = Clock()
        lines = Lines(clock, {"scanner": self.far_scanner, "bridge": self.far_bridge})
        self.scanner = open_scanner("text-scanner", "simulated:scanner", lines)
        chosen = settings or BridgeSettings(RESISTOR_OHM, 400.0, 2.0)
        self.one_input = open_bridge(
            "text-ratio-bridge", "simulated:bridge", clock, lines=lines, settings=chosen
        )
        self.bridge = ScannedBridge(self.one_input, self.scanner, clock)


def at_the_desk(work: Callable[[Desk], Awaitable[Any]], settings: BridgeSettings | None = None) -> Any:
    async def main() -> Any:
        desk = Desk(settings)
        try:
            return await work(desk)
        finally:
            await desk.bridge.close()

    return run(main())


def test_the_night_finds_what_a_bridge_with_its_own_channels_finds(tmp_path: Path) -> None:
    own, with_scanner = tmp_path / "own.record", tmp_path / "scanner.record"
    assert rehearse(one_point("bench-bath.toml"), own).outcome.good
    assert rehearse(scanned(), with_scanner).outcome.good
    # Noise of both bridges; the resistor's error cancels between reference and item, both near 100 ohm.
    assert max(map(abs, differences_mk(own, with_scanner).values())) < 1.0
    entries = list(read_entries(with_scanner, frozenset({Kind.MILESTONE, Kind.OBSERVATION})))
    names = next(entry.body for entry in entries if entry.body.get("mark") == "identified")
    assert "model RATIO-1" in names["bridge"] and "scanner: maker" in names["bridge"]
    reading = next(entry.body for entry in entries if entry.body.get("what") == "resistance")
    assert reading["value"] == pytest.approx(float(reading["raw"]) * RESISTOR_OHM, rel=1e-12)


def test_the_resistor_by_its_certificate_stands_in_the_budget_as_common_to_all_points() -> None:
    (term,) = set(scanned().bench.budget) - set(scanned().bench.uncertainty)
    component = component_of(term, 22.0)
    assert (component.size, component.unit, component.divisor) == (0.5, "ppm", 2.0)
    assert (component.correlation, component.shape) == ("common", "resistance")
    with_own = SCANNER + '[[uncertainty]]\nname = "standard resistor, by its certificate"\nsize = 0.5\n'
    with pytest.raises(PlanError, match="given twice"):
        scanned(with_own + 'unit = "ppm"\ndistribution = "normal"\nshape = "resistance"\n')


async def all_of(findings: Any) -> list[Finding]:
    return [finding async for finding in findings]


def test_scanner_and_bridge_keep_every_law() -> None:
    found = at_the_desk(lambda desk: all_of(try_scanner(desk.scanner)))
    assert [one for one in found if not one.holds] == [] and len(found) == 2 + 3 + 16
    found = at_the_desk(lambda desk: all_of(try_bridge(desk.bridge)))
    assert [one for one in found if not one.holds] == [] and len(found) == 1 + 3 + 3 + 16


def test_a_scanner_that_confirms_and_does_nothing_is_found_out() -> None:
    async def work(desk: Desk) -> None:
        desk.far_scanner.stuck = True
        with pytest.raises(NotConfirmed):
            await desk.bridge.measure(3, 1.0)

    at_the_desk(work)


@pytest.mark.parametrize("during_s", [0.0, 1.0])
def test_a_scanner_turned_by_hand_spoils_no_reading(during_s: float) -> None:
    """Before a reading, and in the middle of one."""

    async def work(desk: Desk) -> None:
        good = await desk.bridge.measure(1, 1.0)
        conversion = desk.far_bridge._conversion

        def meddled(at_s: float) -> str:
            desk.far_scanner.close_channel(2, at_s)
            return conversion(at_s)

        if during_s:
            desk.far_bridge._questions["RAT?"] = meddled
        else:
            desk.far_scanner.close_channel(2, 60.0)
        with pytest.raises(WrongChannel, match=r"channel 1 was selected, but .* the scanner says channel 2"):
            await desk.bridge.measure(1, 1.0)
        desk.far_bridge._questions["RAT?"] = conversion
        again = await desk.bridge.measure(1, 1.0)
        assert good.value is not None and again.value == pytest.approx(good.value, rel=1e-4)

    at_the_desk(work)


def test_a_power_cut_at_the_scanner_leaves_no_channel_closed_and_no_reading() -> None:
    async def work(desk: Desk) -> None:
        await desk.bridge.measure(1, 1.0)
        desk.far_scanner.close_channel(0, 60.0)
        with pytest.raises(InstrumentError):
            await desk.bridge.measure(1, 1.0)

    at_the_desk(work)


def test_range_integration_and_polarity_are_set_and_set_again_after_a_restart() -> None:
    async def work(desk: Desk) -> None:
        forth, back = [await desk.bridge.measure(1, current_ma) for current_ma in (1.0, -1.0)]
        assert forth.value is not None and back.value == pytest.approx(forth.value, rel=1e-5)
        assert (desk.far_bridge.integration_s, desk.far_bridge.range_ohm) == (2.0, 400.0)
        desk.far_bridge.restart()
        desk.far_bridge.integration_s = desk.far_bridge.range_ohm = 1.0
        with pytest.raises(WrongChannel):  # its current flows the other way again
            await desk.bridge.measure(1, -1.0)
        await desk.bridge.measure(1, -1.0)
        assert (desk.far_bridge.integration_s, desk.far_bridge.range_ohm) == (2.0, 400.0)

    at_the_desk(work)


def test_a_ratio_without_its_resistor_is_no_resistance() -> None:
    async def work(desk: Desk) -> None:
        with pytest.raises(BadProfile, match="state its standard resistor"):
            await desk.bridge.measure(1, 1.0)

    at_the_desk(work, BridgeSettings())
    with pytest.raises(OutsideLimits, match="range 900 Ω is outside 1 to 500 Ω"):
        at_the_desk(work, BridgeSettings(RESISTOR_OHM, 900.0))


def refusals(plan: RunPlan) -> str:
    return " ".join(one.text for one in precheck(plan, THE_DAY).findings if one.severity == "refused")


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (scanned(), ""),
        (scanned(SCANNER.split("[scanner]")[0]), "has one input, and the bench has no scanner"),
        (scanned("[scanner]" + SCANNER.split("[scanner]")[1]), "state its standard resistor"),
        (scanned(bridge="text-bridge"), "take the standard resistor out"),
        (
            scanned("[scanner]" + SCANNER.split("[scanner]")[1], "text-bridge"),
            "switches 8 channels of its own",
        ),
        (scanned(SCANNER + "channels = 20\n"), "gives the scanner 20 channels, its profile 16"),
        (scanned(SCANNER.replace("text-scanner", "text-ambient")), "is for the role ambient, not scanner"),
        (scanned(more="range_ohm = 900.0\n"), "range 900 Ω is outside 1 to 500 Ω"),
        (scanned("", "text-bridge", "range_ohm = 400.0\n"), "offers no range"),
        (scanned("", "ascii-readout"), "cannot do what is asked"),
    ],
)
def test_the_check_refuses_what_bridge_and_scanner_cannot_do(plan: RunPlan, words: str) -> None:
    assert words in refusals(plan) if words else refusals(plan) == ""


def test_the_check_says_how_a_scanner_ties_the_readings() -> None:
    said = " ".join(one.text for one in precheck(scanned(), THE_DAY).findings)
    assert "asked before and after every reading which channel is closed" in said


def test_the_far_ends_are_those_of_the_bench() -> None:
    scene = make_scene(scanned())
    assert "scanner" in scene.names and all(isinstance(one, Channel) for one in scene.channels.values())
    assert "scanner" not in make_scene(one_point("bench-bath.toml")).names
