"""All benches of a lab under one daemon."""

from __future__ import annotations

import asyncio
import re

from daemon.arming import unattended_problem
from daemon.guards.catalogue import make_guards
from daemon.guards.guard import LoosenedThreshold
from daemon.precheck import day_of_start, precheck
from daemon.service.follower import Follower
from daemon.service.halt_file import HaltFile
from daemon.service.keeper import Keeper
from daemon.service.log import note
from daemon.service.queue import QueuedRun
from drivers.clock import Clock
from plans.errors import PlanError
from plans.lab import LoadedLab
from plans.loading import load_plan
from plans.run_plan import RunPlan

PLAN_NAME = r"[A-Za-z0-9][A-Za-z0-9_-]{0,63}"


class Refused(Exception):
    """What was asked for is not done; the message says why, `problems` what to put right."""

    def __init__(self, sentence: str, problems: list[str] | None = None) -> None:
        self.problems = problems or []
        super().__init__(sentence)


class LabService:
    """The benches by id, each with its keeper and a follower of its record."""

    def __init__(self, lab: LoadedLab, clock: Clock) -> None:
        """Make everything ready, start nothing; raises QueueError, OSError."""
        lab.state.mkdir(parents=True, exist_ok=True, mode=0o700)
        self.lab = lab
        self.clock = clock
        self.keepers = {entry.id: Keeper(lab, entry, clock) for entry in lab.lab.benches}
        self.followers = {id_: Follower(keeper, clock) for id_, keeper in self.keepers.items()}

    async def run(self) -> None:
        """Work until every bench has stopped after `stop`."""
        note("started", lab=self.lab.lab.header.name, benches=list(self.keepers))
        following = [asyncio.create_task(one.run()) for one in self.followers.values()]
        files = [HaltFile(keeper, self.clock) for keeper in self.keepers.values()]
        following += [asyncio.create_task(one.run()) for one in files]
        try:
            await asyncio.gather(*(keeper.run() for keeper in self.keepers.values()))
        finally:
            for task in following:
                task.cancel()
            await asyncio.gather(*following, return_exceptions=True)
        note("stopped")

    async def stop(self, who: str) -> None:
        """Start no more runs and halt those on their way; `run` returns when they have ended."""
        for keeper in self.keepers.values():
            try:
                await keeper.stop(who)
            except Exception as error:  # noqa: BLE001  one bench that does not answer must not keep the others
                note("a bench could not be told to stop", bench=keeper.id, error=repr(error))

    def submit(self, keeper: Keeper, plan: str, who: str) -> QueuedRun:
        """Check a plan of the plans folder and queue it; raises Refused, QueueError, OSError."""
        run = self._checked(keeper, plan)
        texts = run.texts
        queued = keeper.queue.add(
            texts.plan,
            texts.bench,
            texts.register,
            plan=plan,
            title=run.plan.header.title,
            who=who,
            submitted_utc=self.clock.utc().isoformat(timespec="seconds"),
        )
        note("a run was queued", bench=keeper.id, run=queued.number, plan=plan, who=who)
        keeper.look_again()
        return queued

    def _checked(self, keeper: Keeper, plan: str) -> RunPlan:
        run = self._loaded(plan)
        if run.bench != keeper.bench:
            raise Refused(
                f"the plan {plan} is for the bench of {run.names.bench}, not for {keeper.bench.name} as the "
                "lab file has it: submit it there, or restart the daemon after a change of the bench file."
            )
        report = precheck(run, day_of_start(run, self.clock))
        if report.refused:
            raise Refused("the check refuses this plan.", [one.text for one in report.refusals])
        alone = unattended_problem(run)
        if alone:
            raise Refused(alone)
        return run

    def _loaded(self, plan: str) -> RunPlan:
        path = self.lab.plans / f"{plan}.toml"
        if not re.fullmatch(PLAN_NAME, plan) or not path.is_file() or path.is_symlink():
            raise Refused(f"there is no plan {plan!r} in the lab's plans folder.")
        try:
            run = load_plan(path)
            make_guards(run.plan.guards)
        except PlanError as error:
            raise Refused("the plan cannot be used.", [str(one) for one in error.problems]) from None
        except LoosenedThreshold as error:
            raise Refused(f"table [guards]: {error}.") from None
        return run
