"""The computer itself: its clocks, its load, its disk."""

from __future__ import annotations

from collections import deque

from daemon.guards.guard import Guard, Threshold
from daemon.guards.situation import Situation
from daemon.guards.verdict import Reaction, Verdict
from daemon.observations import Machine, Observation


class ClockJump(Guard):
    """The wall clock moved against the monotonic clock."""

    name = "clock_jump"
    hazard = "the wall clock was set, or jumped"
    reads = "machine"
    reaction = Reaction.MARK
    latched = False
    why = "stamps before and after do not fit together; all timing is monotonic and goes on"
    thresholds = {"step_s": Threshold(2.0, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at once."""
        if not isinstance(observation, Machine):
            return None
        step_s, limit_s = observation.wall_step_s, self.figures["step_s"]
        if abs(step_s) <= limit_s:
            return None
        return self.verdict(f"the wall clock moved by {step_s:+.1f} s", step_s, limit_s, "s")


class LateLoop(Guard):
    """The watch comes late, again and again."""

    name = "late_loop"
    hazard = "the computer is overloaded"
    reads = "machine"
    reaction = Reaction.MARK
    latched = False
    why = "the early sign of a machine that will stop watching"
    thresholds = {
        "late_s": Threshold(1.0, "s", "lower"),
        "times": Threshold(5, "of the last sixty reports", "lower"),
    }

    def __init__(self, changed: dict[str, float] | None = None) -> None:
        super().__init__(changed)
        self._late: deque[bool] = deque(maxlen=60)

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the fifth late report."""
        if not isinstance(observation, Machine):
            return None
        self._late.append(not observation.late_s <= self.figures["late_s"])
        times = sum(self._late)
        if times < self.figures["times"]:
            return None
        sentence = f"the watch came more than {self.figures['late_s']:g} s late {times} times"
        return self.verdict(sentence, times, self.figures["times"], "times")


class Asleep(Guard):
    """Nobody was watching for a while: the machine slept or stood still."""

    name = "asleep"
    hazard = "the computer slept or stood still"
    reads = "machine"
    reaction = Reaction.HOLD
    why = "what was decided before the gap is stale: everything is read again before anything is commanded"
    thresholds = {"gap_s": Threshold(60.0, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at once."""
        if not isinstance(observation, Machine):
            return None
        gap_s, limit_s = max(observation.late_s, observation.asleep_s), self.figures["gap_s"]
        if gap_s <= limit_s:
            return None
        return self.verdict(f"nobody was watching for {gap_s:.0f} s", gap_s, limit_s, "s")


class DiskNearlyFull(Guard):
    """Room for the record runs out."""

    name = "disk_nearly_full"
    hazard = "the disk of the record is nearly full"
    reads = "machine"
    reaction = Reaction.MARK
    latched = False
    why = "there is still room to end in order"
    thresholds = {"free_mib": Threshold(512.0, "MiB", "higher"), "looks": Threshold(2, "reports", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the second report in a row."""
        if not isinstance(observation, Machine) or observation.free_mib is None:
            return None
        free_mib, limit_mib = observation.free_mib, self.figures["free_mib"]
        self.standing.update(not free_mib >= limit_mib, situation.now_s)
        if self.standing.count < self.figures["looks"]:
            return None
        sentence = f"{free_mib:.0f} MiB are left on the disk of the record"
        return self.verdict(sentence, free_mib, limit_mib, "MiB")


class DiskFull(DiskNearlyFull):
    """Hardly any room is left for the record."""

    name = "disk_full"
    hazard = "the disk of the record is as good as full"
    reaction = Reaction.HOLD
    why = "no point is begun that could not be written down to its end"
    thresholds = {"free_mib": Threshold(128.0, "MiB", "higher"), "looks": Threshold(2, "reports", "lower")}


class RecordNotWritten(Guard):
    """The record cannot be written; readings wait in memory."""

    name = "record_not_written"
    hazard = "the record cannot be written: disk full, read-only, or failing"
    reads = "machine"
    reaction = Reaction.PARK
    why = "unrecorded data is no data: no point is finished, the source is cooled"
    thresholds = {"looks": Threshold(1, "reports", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at once."""
        if not isinstance(observation, Machine):
            return None
        self.standing.update(bool(observation.storage), situation.now_s)
        count, limit = self.standing.count, self.figures["looks"]
        return self.verdict(observation.storage, count, limit, "reports") if count >= limit else None


class SlowDisk(Guard):
    """Writing the record takes long."""

    name = "slow_disk"
    hazard = "the disk of the record is slow"
    reads = "machine"
    reaction = Reaction.MARK
    latched = False
    why = "the early sign of a disk that fails; readings wait for it, guards do not"
    thresholds = {"commit_s": Threshold(0.5, "s", "lower")}

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at once."""
        if not isinstance(observation, Machine) or observation.commit_s is None:
            return None
        commit_s, limit_s = observation.commit_s, self.figures["commit_s"]
        if commit_s <= limit_s:
            return None
        return self.verdict(f"the record took {commit_s:.1f} s to write", commit_s, limit_s, "s")


class DiskStalls(SlowDisk):
    """Writing the record takes so long that it counts as not written."""

    name = "disk_stalls"
    hazard = "the disk of the record stands still"
    reaction = Reaction.PARK
    latched = True
    why = "what is not on the disk is lost with the next power cut: as if the record could not be written"
    thresholds = {"commit_s": Threshold(5.0, "s", "lower")}


class OnBattery(Guard):
    """The computer lost its supply and lives on its battery."""

    name = "on_battery"
    hazard = "the computer runs on its battery"
    reads = "machine"
    reaction = Reaction.PARK
    why = "the source may still be fed: it is brought down while there is power to command it"
    thresholds = {
        "looks": Threshold(2, "reports in a row, a minute apart", "lower"),
        "charge_percent": Threshold(50.0, "% left: at once below it", "higher"),
    }

    def judge(self, observation: Observation, situation: Situation) -> Verdict | None:
        """Speaks at the second report, or at once when the battery is half empty."""
        if not isinstance(observation, Machine):
            return None
        on_battery, charge = observation.on_battery is True, observation.charge_percent
        self.standing.update(on_battery, situation.now_s)
        count, limit = self.standing.count, self.figures["looks"]
        left = "" if charge is None else f", {charge:.0f} % left"
        sentence = f"the computer runs on its battery{left}"
        if on_battery and charge is not None and not charge >= self.figures["charge_percent"]:
            return self.verdict(sentence, charge, self.figures["charge_percent"], "%")
        return self.verdict(sentence, count, limit, "reports") if count >= limit else None
