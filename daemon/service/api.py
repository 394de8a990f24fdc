"""The operations as routes: token, body, answer, and refusals in one form."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from importlib.metadata import PackageNotFoundError, version

from pydantic import BaseModel, ValidationError
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from daemon.service.child import NoAnswer
from daemon.service.lab_service import LabService, Refused
from daemon.service.messages import Refusal
from daemon.service.openapi import description
from daemon.service.operations import OPERATIONS, Operation
from daemon.service.queue import QueueError
from daemon.service.token import same

Endpoint = Callable[[Request], Awaitable[Response]]


def api_routes(service: LabService, token: str) -> list[Route]:
    """One route an operation, and the description of them all."""
    routes = [
        Route(one.path, _endpoint(one, service, token), methods=[one.method], name=one.name)
        for one in OPERATIONS
    ]
    described = description(_version())

    async def describe(_: Request) -> Response:
        return JSONResponse(described)

    return [*routes, Route("/api/openapi.json", describe, methods=["GET"])]


def refusal(code: int, sentence: str, problems: list[str] | None = None) -> JSONResponse:
    """The one form in which something is refused."""
    answer = JSONResponse(Refusal(refused=sentence, problems=problems or []).model_dump(), code)
    if code == 401:
        answer.headers["www-authenticate"] = "Bearer"
    return answer


def _endpoint(one: Operation, service: LabService, token: str) -> Endpoint:
    async def endpoint(request: Request) -> Response:
        if one.token and (refused := _unauthorised(request, token)):
            return refused
        bench = request.path_params.get("bench", "")
        if "{bench}" in one.path and bench not in service.keepers:
            return refusal(404, f"there is no bench {bench!r} in this lab.")
        if one.body is None:
            return _done(await one.handle(service, bench, None))
        return await _carried_out(one, service, bench, request)

    return endpoint


def _unauthorised(request: Request, token: str) -> Response | None:
    given = request.headers.get("authorization", "")
    if not given:
        return refusal(401, "this needs the daemon's token, as a bearer token.")
    scheme, _, value = given.partition(" ")
    if scheme.lower() != "bearer" or not same(value.strip(), token):
        return refusal(403, "this is not the daemon's token.")
    return None


async def _carried_out(one: Operation, service: LabService, bench: str, request: Request) -> Response:
    assert one.body is not None
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        return refusal(415, "the body must be application/json.")
    try:
        body = one.body.model_validate_json(await request.body())
    except ValidationError as error:
        return refusal(422, "the body does not fit.", _problems(error))
    try:
        return _done(await one.handle(service, bench, body))
    except Refused as error:
        return refusal(409, str(error), error.problems)
    except (QueueError, OSError) as error:
        return refusal(409, str(error))
    except NoAnswer as error:
        return refusal(503, str(error))


def _problems(error: ValidationError) -> list[str]:
    found = error.errors(include_url=False, include_input=False, include_context=False)
    return [f"{'.'.join(map(str, one['loc'])) or 'body'}: {one['msg']}" for one in found]


def _done(answer: BaseModel) -> Response:
    return JSONResponse(answer.model_dump())


def _version() -> str:
    try:
        return version("ohmvigil")
    except PackageNotFoundError:
        return "clone"
