"""Fault injection: what must happen when something breaks, judged by the simulator's truth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from daemon.journal.entry import Entry, Kind
from daemon.rehearsal import Rehearsal, rehearse
from daemon.results.numbers import true_minus
from daemon.validation.check import Check, Part, Say
from daemon.validation.nights import EXAMPLES
from plans.loading import load_plan
from plans.run_plan import RunPlan

_COOL = ("park", "cut")
_STILL = ("hold", *_COOL)
_ANY = ("mark", *_STILL)


@dataclass(frozen=True, slots=True)
class Trial:
    """A fault on a plan, and the reactions of which one must come; `spoken`: how people call it."""

    plan: str
    fault: str
    spoken: str
    reactions: tuple[str, ...]


TRIALS = (
    Trial("short.toml", "panel-set-point@1:30=230", "set-point turned up on the panel", _COOL),
    Trial("short.toml", "display-drift@1:30=0.5", "controller's display drifts", _STILL),
    Trial("short.toml", "controller-sensor-detached@1:30", "control sensor hangs in the air", _COOL),
    Trial("short.toml", "stirrer-stop@1:30", "stirrer stands still", _STILL),
    Trial("short.toml", "level-low@1:30", "fluid level too low", _COOL),
    Trial("short.toml", "over-temperature@1:30", "independent cut-out trips", _COOL),
    Trial("short.toml", "silence@1:30=source", "source no longer answers", _STILL),
    Trial(
        "short.toml",
        "garbage@1:30=bridge",
        "bridge answers with wrong bytes",
        _ANY,
    ),
    Trial("short.toml", "wrong-identity@1:30=source", "another source than expected", _STILL),
    Trial("short.toml", "open-lead@1:30=1", "lead of the reference breaks", _STILL),
    Trial("short.toml", "frozen-reading@1:30=source", "source's display stands still", _ANY),
    Trial("short.toml", "probe-pulled@1:30=2", "a probe is pulled out", _ANY),
    Trial("short.toml", "brown-out@1:30/60", "source loses power for a minute", _ANY),
)


class _Heard:
    def __init__(self) -> None:
        self.reactions: list[str] = []
        self.guards: list[str] = []

    def __call__(self, entry: Entry) -> None:
        if entry.kind == Kind.VERDICT:
            self.guards.append(entry.body["guard"])
            self.reactions.append(entry.body["reaction"])


def check_faults(folder: Path, trials: Sequence[Trial], say: Say) -> Part:
    """Rehearse each trial in `folder`."""
    checks = []
    for number, trial in enumerate(trials, start=1):
        say(f"fault {number} of {len(trials)}: {trial.spoken}")
        heard = _Heard()
        run = load_plan(EXAMPLES / trial.plan)
        rehearsal = rehearse(run, folder / f"fault-{number}.record", faults=[trial.fault], listeners=[heard])
        checks.append(_judged(run, trial, rehearsal, heard))
    return Part(
        "Fault injection",
        "One fault in each night. A guard must speak with one of the reactions named, and by the simulator's "
        "truth no thermometer may pass its rating, in temperature either way.",
        tuple(checks),
    )


def _judged(run: RunPlan, trial: Trial, rehearsal: Rehearsal, heard: _Heard) -> Check:
    margins = [
        (margin, one.serial)
        for one in run.thermometers
        for truth in [rehearsal.scene.truth(one.serial)]
        for margin in (one.maximum.value - truth.highest_c, truth.lowest_c - one.minimum.value)
    ]
    least_k, serial = min(margins)
    spoke = next((g for g, r in zip(heard.guards, heard.reactions, strict=True) if r in trial.reactions), "")
    return Check(
        f"{trial.spoken} ({trial.fault})",
        f"{' or '.join(trial.reactions)}; no rating passed",
        f"{spoke or 'no such verdict'}; {true_minus(f'{least_k:.0f}')} K left for {serial}; ended "
        f"{rehearsal.outcome.state}",
        "the simulator's truth",
        bool(spoke) and least_k > 0.0,
    )
