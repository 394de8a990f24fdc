"""Everything that can be asked of the daemon over HTTP: one table, the source of routes and description.

Who may do what: anyone on this machine may look, and may halt (which only ever parks). Everything else
needs the token. A cut, which switches the heater off hard, also needs it, since it can harm probes.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

from pydantic import BaseModel

from daemon.arming import NotArmed
from daemon.service.lab_service import LabService, Refused
from daemon.service.messages import (
    BenchNow,
    Confirmed,
    Effect,
    LabNow,
    Submission,
    Waiting,
    Withdrawal,
    Word,
)
from daemon.service.now import bench_now, lab_now

Handle = Callable[[LabService, str, Any], Awaitable[BaseModel]]


@dataclass(frozen=True)
class Operation:
    """One thing to ask: `{bench}` in the path is a bench's id; `body` is None for a GET."""

    method: str
    path: str
    name: str
    about: str
    handle: Handle
    answer: type[BaseModel]
    body: type[BaseModel] | None = None
    token: bool = True


async def _lab(service: LabService, _bench: str, _body: Any) -> BaseModel:
    return lab_now(service)


async def _bench(service: LabService, bench: str, _body: Any) -> BaseModel:
    return bench_now(service, bench)


async def _submit(service: LabService, bench: str, body: Submission) -> BaseModel:
    run = service.submit(service.keepers[bench], body.plan, body.who)
    return Waiting(
        number=run.number, plan=run.plan, title=run.title, who=run.who, submitted_utc=run.submitted_utc
    )


async def _withdraw(service: LabService, bench: str, body: Withdrawal) -> BaseModel:
    gone = service.keepers[bench].queue.withdraw(body.number)
    return Effect(effect=gone, sentence="withdrawn" if gone else "no such run waits here")


async def _confirm(service: LabService, bench: str, body: Confirmed) -> BaseModel:
    try:
        service.keepers[bench].confirm(body.key, body.who)
    except KeyError:
        raise Refused(f"the checklist has no item {body.key!r}.") from None
    except NotArmed as error:
        raise Refused(f"{error}.") from None
    return Effect(effect=True, sentence="confirmed")


def _spoken(word: str) -> Handle:
    async def handle(service: LabService, bench: str, body: Word) -> BaseModel:
        effect = await service.keepers[bench].word(word, body.who, body.reason)
        return Effect(effect=effect, sentence=f"{word} {'taken' if effect else 'changes nothing now'}")

    return handle


def _word(word: str, about: str, *, token: bool = True) -> Operation:
    return Operation(
        "POST", f"/api/benches/{{bench}}/{word}", word, about, _spoken(word), Effect, Word, token
    )


OPERATIONS = (
    Operation("GET", "/api/status", "status", "All benches.", _lab, LabNow, token=False),
    Operation("GET", "/api/benches/{bench}", "bench", "One bench.", _bench, BenchNow, token=False),
    Operation(
        "POST",
        "/api/benches/{bench}/submit",
        "submit",
        "Queue a plan of the plans folder. On a real bench nothing is heated before a person there arms it.",
        _submit,
        Waiting,
        Submission,
    ),
    Operation(
        "POST",
        "/api/benches/{bench}/withdraw",
        "withdraw",
        "Take a waiting run out of the queue.",
        _withdraw,
        Effect,
        Withdrawal,
    ),
    Operation(
        "POST",
        "/api/benches/{bench}/confirm",
        "confirm",
        "Confirm one item of the arming checklist, at the bench; it holds for ten minutes.",
        _confirm,
        Effect,
        Confirmed,
    ),
    _word("hold", "Stay where it is, add no heat."),
    _word("release", "Go on after a hold."),
    _word("halt", "Park the source. Anyone on this machine may say it, without a token.", token=False),
    _word("cut", "Switch the heater off at once."),
    _word("acknowledge", "Silence the alarm; frees a bench that waits for a person. Never resumes heat."),
)
