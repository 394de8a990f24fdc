"""The lab file: which benches one daemon looks after, and whom it calls."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Self

from pydantic import Field, ValidationError, model_validator

from plans.bench import Bench
from plans.errors import PlanError, Problem
from plans.lab_state import state_folder
from plans.loading import load_bench
from plans.reading import parse_tree, read_text
from plans.values import FileName, Name, Table
from plans.wording import problems_of

STANDARD_PORT = 8437  # not registered with IANA when this was written, from memory
Id = Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9_-]*$")]


class LabHeader(Table):
    """[lab]: `plans` is the folder, beside the lab file, from which plans may be submitted."""

    name: Name
    port: Annotated[int, Field(ge=0, le=65535)] = STANDARD_PORT
    plans: FileName = "."


class LabBench(Table):
    """[[benches]]: `pace` is simulated seconds per real second and belongs to a simulated bench only."""

    id: Id
    bench: FileName
    pace: Annotated[float, Field(ge=0.1, le=1e6)] = 60.0


class Mqtt(Table):
    """[mqtt]: the broker's address, as `ohmvigil run --mqtt` takes it.

    `commands`: hold and halt, and nothing else, may come from the broker too.
    """

    address: Name
    commands: bool = False


class Notices(Table):
    """[notices]: who is called. The files hold one Apprise address a line and are readable by nobody else.

    `bell`: ring the terminal's bell first. Waits in minutes; the first person is called `first_after_minutes`
    after the bell, the second `second_after_minutes` after that, all again every `repeat_minutes`.
    """

    bell: bool = True
    first_person: FileName | None = None
    second_person: FileName | None = None
    first_after_minutes: Annotated[float, Field(ge=0.0, le=60.0)] = 1.0
    second_after_minutes: Annotated[float, Field(ge=1.0, le=240.0)] = 10.0
    repeat_minutes: Annotated[float, Field(ge=1.0, le=240.0)] = 10.0


class Lab(Table):
    """lab.toml."""

    header: LabHeader = Field(alias="lab")
    benches: Annotated[tuple[LabBench, ...], Field(min_length=1, max_length=32)]
    mqtt: Mqtt | None = None
    notices: Notices = Notices()

    @model_validator(mode="after")
    def _each_bench_once(self) -> Self:
        for what in ("id", "bench"):
            values = [getattr(one, what) for one in self.benches]
            twice = sorted({value for value in values if values.count(value) > 1})
            if twice:
                raise ValueError(f"{what} = {twice[0]!r} is given twice: two daemons must not share a bench.")
        return self


@dataclass(frozen=True)
class LoadedLab:
    """A lab file that has been read, with its benches by id; `path` is absolute."""

    path: Path
    lab: Lab
    benches: dict[str, Bench]

    @property
    def plans(self) -> Path:
        """The folder from which plans may be submitted."""
        return self.path.parent / self.lab.header.plans

    @property
    def state(self) -> Path:
        """Where the daemon keeps its own files: token, address, queues."""
        return state_folder(self.path)


def load_lab(path: Path) -> LoadedLab:
    """Read a lab file and every bench it names (relative to it); raises PlanError."""
    try:
        lab = Lab.model_validate(parse_tree(read_text(path, path.name), path.name))
    except ValidationError as fault:
        raise PlanError(problems_of(fault, Lab, path.name)) from None
    benches: dict[str, Bench] = {}
    problems: list[Problem] = []
    for one in lab.benches:
        try:
            benches[one.id] = load_bench(path.resolve().parent / one.bench)
        except PlanError as fault:
            problems += fault.problems
    if problems:
        raise PlanError(problems)
    return LoadedLab(path.resolve(), lab, benches)
