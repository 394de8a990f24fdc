"""Loading what a command was given, with refusals printed the same way everywhere."""

from __future__ import annotations

from pathlib import Path

from daemon.cli.say import refuse, say_json
from daemon.guards.catalogue import make_guards
from daemon.guards.guard import LoosenedThreshold
from daemon.precheck import PrecheckReport, day_of_start, precheck
from drivers.clock import Clock
from plans.errors import PlanError
from plans.loading import load_plan
from plans.run_plan import RunPlan


def plan_or_refusal(path: Path, *, as_json: bool) -> RunPlan | int:
    """The run plan, or exit code 2 after saying everything that is wrong with the files."""
    try:
        run = load_plan(path)
        make_guards(run.plan.guards)
    except PlanError as error:
        if as_json:
            problems = [
                {"file": p.file, "where": p.where, "value": p.value, "sentence": p.sentence}
                for p in error.problems
            ]
            say_json({"refused": True, "problems": problems})
            return 2
        return refuse(f"REFUSED: {path.name} cannot be used.\n\n{error}", as_json=False)
    except LoosenedThreshold as error:
        return refuse(f"REFUSED: {path.name}, table [guards]: {error}.", as_json=as_json)
    return run


def checked_or_refusal(run: RunPlan, *, as_json: bool) -> PrecheckReport | int:
    """The pre-check's report, or exit code 2 after saying why nothing may be heated."""
    report = precheck(run, day_of_start(run, Clock()))
    if not report.refused:
        return report
    if as_json:
        say_json({"refused": True, "findings": [finding_body(f) for f in report.findings]})
        return 2
    sentences = "\n\n".join(f"  {finding.text}" for finding in report.refusals)
    return refuse(f"REFUSED: nothing was switched on.\n\n{sentences}", as_json=False)


def finding_body(finding: object) -> dict[str, str]:
    """A finding as plain data."""
    keys = ("check", "severity", "sentence", "remedy", "value", "limit", "set_by")
    return {key: getattr(finding, key) for key in keys}
