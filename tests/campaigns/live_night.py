"""A shortened night that is under way, into which faults can still be put while it runs."""

from __future__ import annotations

from dataclasses import dataclass, field
from random import Random

from daemon.executor.executor import Executor
from daemon.journal.journal import Journal
from daemon.journal.sinks import Nowhere
from daemon.night import Bench, Night, open_instruments
from daemon.procedure.script import Procedure
from daemon.rehearsal import make_scene, simulation_of
from drivers.clock import Clock
from plans.run_plan import RunPlan
from simulators.faults import Fault
from simulators.physics.noise import generator
from simulators.scene import Scene
from simulators.wire_faults import WIRE_KINDS, FaultyWire
from tests.campaigns.fault_oracle import PANEL, Notes
from tests.campaigns.short_nights import short_night


@dataclass
class LiveNight:
    """The night of one plant; `clock` belongs to the loop that it is opened on."""

    plant: str
    run: RunPlan
    scene: Scene
    notes: Notes
    clock: Clock
    wires: dict[str, list[Fault]] = field(default_factory=lambda: {"source": [], "bridge": []})

    def open(self) -> tuple[Executor, Procedure]:
        """What drives it; call it on its loop."""
        far_ends = {
            name: FaultyWire(self.scene.instrument(name), faults, self._chance(name))
            for name, faults in self.wires.items()
        }
        night = Night(self.run, open_instruments(self.run, Bench(self.clock, far_ends, simulated=True)))
        self.journal = Journal(Nowhere(), self.clock)
        self.journal.listen(self.notes.listen)
        return night.executor(self.journal), night.procedure

    @property
    def clock_s(self) -> float:
        """Seconds that the simulated world has lived."""
        return float(self.scene.source.seconds)

    def break_later(self, fault: Fault) -> None:
        """From its instant on this is broken too."""
        self.notes.panel = self.notes.panel or fault.kind == PANEL
        if fault.kind in WIRE_KINDS:
            self.wires[fault.value].append(fault)
        self.scene.break_later(fault)

    def _chance(self, name: str) -> Random:
        return generator(self.scene.spec.seed, f"{name}/faults")


def live_night(plant: str) -> LiveNight:
    """A night that has not begun."""
    run = short_night(plant)
    scene = make_scene(run)
    notes = Notes(scene, 0.0)
    notes.spy()
    return LiveNight(plant, run, scene, notes, Clock(simulation_of(run).start_utc))
