"""Read a plan with its bench and register; everything wrong is reported together, in sentences."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from plans.bench import Bench
from plans.crosscheck import crosscheck
from plans.errors import PlanError, Problem
from plans.learned import Learned
from plans.plan import Plan
from plans.profile_paths import with_whole_paths
from plans.reading import parse_tree, read_text
from plans.register import Register
from plans.run_plan import Names, RunPlan, Texts
from plans.wording import problems_of

Model = TypeVar("Model", bound=BaseModel)


def load_plan(path: Path) -> RunPlan:
    """Read plan.toml and the two files it names (relative to it); raises PlanError."""
    plan_text = read_text(path, path.name)
    named = _named_files(plan_text, path.name)
    problems: list[Problem] = []
    texts = {key: _other_text(path.parent / name, name, problems) for key, name in named.items()}
    if "bench" in texts:
        texts["bench"] = with_whole_paths(texts["bench"], (path.parent / named["bench"]).parent)
    if problems or len(texts) < 2:
        _judge(Plan, plan_text, path.name, problems)
        raise PlanError(problems)
    names = Names(path.name, named["bench"], named["register"])
    return parse_plan(plan_text, texts["bench"], texts["register"], names)


def parse_plan(plan_text: str, bench_text: str, register_text: str, names: Names = Names()) -> RunPlan:  # noqa: B008
    """Build the run plan from the three TOML texts alone; raises PlanError with every problem found."""
    problems: list[Problem] = []
    plan = _judge(Plan, plan_text, names.plan, problems)
    bench = _judge(Bench, bench_text, names.bench, problems)
    register = _judge(Register, register_text, names.register, problems)
    if plan is None or bench is None or register is None:
        raise PlanError(problems)
    run_plan = RunPlan(plan, bench, register, Texts(plan_text, bench_text, register_text), names)
    problems = crosscheck(run_plan)
    if problems:
        raise PlanError(problems)
    return run_plan


def with_seed(run: RunPlan, seed: int) -> RunPlan:
    """The same run with everything on its simulated bench drawn anew; raises PlanError."""
    bench, count = re.subn(r"(?m)^seed = \d+", f"seed = {seed}", run.texts.bench)
    assert count == 1, f"{run.names.bench}: a simulated bench states its seed once"
    return parse_plan(run.texts.plan, bench, run.texts.register, run.names)


def load_bench(path: Path) -> Bench:
    """A bench file alone; raises PlanError."""
    problems: list[Problem] = []
    found = _judge(Bench, read_bench(path), path.name, problems)
    if found is None:
        raise PlanError(problems)
    return found


def read_bench(path: Path) -> str:
    """The text of a bench file, its profiles' files as whole paths; raises PlanError."""
    return with_whole_paths(read_text(path, path.name), path.parent)


def load_register(path: Path) -> Register:
    """A register alone; raises PlanError."""
    return _alone(Register, path)


def load_learned(path: Path) -> Learned:
    """What past nights taught of a bench; raises PlanError."""
    return _alone(Learned, path)


def _alone(model: type[Model], path: Path) -> Model:
    problems: list[Problem] = []
    found = _judge(model, read_text(path, path.name), path.name, problems)
    if found is None:
        raise PlanError(problems)
    return found


def _judge(model: type[Model], text: str, name: str, problems: list[Problem]) -> Model | None:
    try:
        return model.model_validate(parse_tree(text, name))
    except PlanError as fault:
        problems.extend(fault.problems)
    except ValidationError as fault:
        problems.extend(problems_of(fault, model, name))
    return None


def _named_files(plan_text: str, name: str) -> dict[str, str]:
    header: Any = parse_tree(plan_text, name).get("plan", {})
    given = header if isinstance(header, dict) else {}
    return {
        key: given[key] for key in ("bench", "register") if isinstance(given.get(key), str) and given[key]
    }


def _other_text(path: Path, name: str, problems: list[Problem]) -> str:
    try:
        return read_text(path, name)
    except PlanError as fault:
        problems.extend(fault.problems)
        return ""
