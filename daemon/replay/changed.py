"""A recorded plan with something changed, to ask what would have been different."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from pydantic import ValidationError

from daemon.guards.catalogue import make_guards
from daemon.night import recorded_plan_texts
from plans.errors import PlanError
from plans.loading import parse_plan
from plans.plan import Plan
from plans.reading import parse_tree, read_text, refused
from plans.run_plan import RunPlan
from plans.wording import problems_of


def recorded_plan(record: Path) -> RunPlan:
    """The run plan that the record was made with; raises RecordError, PlanError."""
    return parse_plan(*recorded_plan_texts(record))


def with_guards(run: RunPlan, changed: Path) -> RunPlan:
    """The plan with the figures of a file's [guards.NAME] tables in place of its own.

    The file holds nothing else; figures that it does not name stay. Raises PlanError, LoosenedThreshold.
    """
    tree = parse_tree(read_text(changed, changed.name), changed.name)
    if set(tree) != {"guards"}:
        raise refused(
            changed.name, "expected are [guards.NAME] tables and nothing else, as in a plan's own guards."
        )
    own = parse_tree(run.texts.plan, run.names.plan)
    own["guards"] = _merged(own.get("guards", {}), tree["guards"])
    try:
        plan = Plan.model_validate(own)
    except ValidationError as fault:
        raise PlanError(problems_of(fault, Plan, changed.name)) from None
    make_guards(plan.guards)
    return replace(run, plan=plan)


def _merged(own: object, new: object) -> object:
    if not isinstance(own, dict) or not isinstance(new, dict):
        return new
    return own | {name: _merged(own.get(name), figures) for name, figures in new.items()}
