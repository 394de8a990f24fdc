"""The description of the HTTP interface (OpenAPI 3.1), made from the table of operations."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import models_json_schema

from daemon.service.messages import Refusal
from daemon.service.operations import OPERATIONS, Operation

_REFERENCE = "#/components/schemas/{model}"
_REASONS = {
    "401": "No token was given.",
    "403": "The token is wrong, or the request came from a foreign page.",
    "404": "There is no such bench.",
    "409": "Refused; the answer says why.",
    "413": "The body is larger than 64 KiB.",
    "415": "The body is not application/json.",
    "422": "The body does not fit.",
    "503": "The bench's process does not answer.",
}


def description(version: str) -> dict[str, Any]:
    """The whole description as plain data."""
    models = {m for one in OPERATIONS for m in (one.body, one.answer) if m is not None} | {Refusal}
    _, definitions = models_json_schema(
        sorted(((model, "validation") for model in models), key=lambda pair: pair[0].__name__),
        ref_template=_REFERENCE,
    )
    paths: dict[str, dict[str, Any]] = {}
    for one in OPERATIONS:
        paths.setdefault(one.path, {})[one.method.lower()] = _operation(one)
    return {
        "openapi": "3.1.0",
        "info": {"title": "ohmvigil on this machine", "version": version},
        "paths": paths,
        "components": {
            "schemas": definitions["$defs"],
            "securitySchemes": {"token": {"type": "http", "scheme": "bearer"}},
        },
    }


def _operation(one: Operation) -> dict[str, Any]:
    refusals = ["404"] if "{bench}" in one.path else []
    if one.body is not None:
        refusals += ["403", "409", "413", "415", "422", "503", *(["401"] if one.token else [])]
    described: dict[str, Any] = {
        "operationId": one.name,
        "summary": one.about,
        "security": [{"token": []}] if one.token else [],
        "responses": {"200": _response("Done.", one.answer.__name__)}
        | {code: _response(_REASONS[code], "Refusal") for code in sorted(refusals)},
    }
    if "{bench}" in one.path:
        schema = {"type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9_-]*$"}
        described["parameters"] = [{"name": "bench", "in": "path", "required": True, "schema": schema}]
    if one.body is not None:
        content = {"application/json": {"schema": _schema(one.body.__name__)}}
        described["requestBody"] = {"required": True, "content": content}
    return described


def _response(about: str, model: str) -> dict[str, Any]:
    return {"description": about, "content": {"application/json": {"schema": _schema(model)}}}


def _schema(model: str) -> dict[str, str]:
    return {"$ref": _REFERENCE.format(model=model)}
