"""The HTTP interface keeps to its own description, whatever is sent."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, settings

from daemon.service.openapi import description
from tests.nights.served_lab import ServedLab, make_lab, served_lab

schemathesis = pytest.importorskip(
    "schemathesis", reason="schemathesis, which makes requests from the description, is not installed"
)
CHECKS = [
    schemathesis.checks.not_a_server_error,
    schemathesis.checks.status_code_conformance,
    schemathesis.checks.content_type_conformance,
    schemathesis.checks.response_schema_conformance,
]
SCHEMA = schemathesis.openapi.from_dict(description("test"))


@pytest.fixture(scope="module")
def lab(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ServedLab]:
    with served_lab(make_lab(tmp_path_factory.mktemp("lab"))) as served:
        yield served


@SCHEMA.parametrize()
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_every_answer_is_one_of_those_described(case, lab: ServedLab) -> None:  # type: ignore[no-untyped-def]
    if case.path_parameters:
        case.path_parameters["bench"] = "bath"
    case.headers = {**(case.headers or {}), "Authorization": f"Bearer {lab.token}"}
    case.call_and_validate(base_url=lab.address, checks=CHECKS)
