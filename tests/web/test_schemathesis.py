"""The interface against its own description: requests made from it at random, a bounded number of them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, given, settings
from schemathesis.checks import not_a_server_error
from schemathesis.core.result import Ok
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    negative_data_rejection,
    response_schema_conformance,
    status_code_conformance,
)
from starlette.testclient import TestClient

from clearance.web.server import application
from clearance.web.settings import Settings

HOST = {"Host": "127.0.0.1"}
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_schema_conformance,
    negative_data_rejection,
]


def test_every_operation_keeps_to_its_description(
    roads: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    app = application(Settings(roads=roads, records=tmp_path_factory.mktemp("st") / "records.sqlite"))
    seen = set()
    with TestClient(app, base_url="http://127.0.0.1"):
        schema = schemathesis.openapi.from_asgi("/api/openapi.json", app, headers=HOST)
        for found in schema.get_all_operations():
            assert isinstance(found, Ok)
            operation = found.ok()

            @settings(
                max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
            )
            @given(case=operation.as_strategy())
            def keeps(case: schemathesis.Case[Any]) -> None:
                case.call_and_validate(checks=CHECKS, headers=HOST)

            keeps()
            seen.add(operation.label)
    assert len(seen) == 13
    assert {"POST /api/screen", "GET /api/screen/{id}"} <= seen
