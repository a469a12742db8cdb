"""The description of the REST interface is whole: every operation says what it is and refuses."""

import json
from collections import Counter
from collections.abc import Iterator, Mapping
from importlib import import_module
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from pydantic import BaseModel

from app.core.settings import Settings
from app.main import API, PAGES, REFUSALS, ROUTES, create_app
from app.web.docs import install_static

Operation = tuple[str, Mapping[str, Any]]
BODIES_OF_FILES = {"application/octet-stream", "text/csv"}


@pytest.fixture(scope="module")
def description(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    file = tmp_path_factory.mktemp("openapi") / "house.db"
    house = create_app(Settings(database_url=f"sqlite:///{file}"))
    return dict(house.openapi())


@pytest.fixture(scope="module")
def operations(description: dict[str, Any]) -> list[Operation]:
    found = [
        (f"{method.upper()} {path}", operation)
        for path, item in description["paths"].items()
        for method, operation in item.items()
    ]
    assert len(found) > 80
    return found


def test_every_operation_says_what_it_does_and_where_it_belongs(
    operations: list[Operation],
) -> None:
    for name, operation in operations:
        assert operation.get("summary"), name
        assert operation.get("description", "").endswith("."), name
        assert len(operation.get("tags", ())) == 1, name


def test_every_operation_has_an_identifier_of_its_own(operations: list[Operation]) -> None:
    counted = Counter(operation["operationId"] for _, operation in operations)
    assert [name for name, times in counted.items() if times > 1] == []


def test_every_operation_documents_its_refusals(operations: list[Operation]) -> None:
    for name, operation in operations:
        if name.startswith(f"GET {API}") or API in name:
            documented = set(operation["responses"])
            assert {str(status) for status in REFUSALS} <= documented, name
            for status in REFUSALS:
                content = operation["responses"][str(status)]["content"]
                assert "application/problem+json" in content, name


def test_every_operation_documents_what_it_answers(operations: list[Operation]) -> None:
    for name, operation in operations:
        done = [status for status in operation["responses"] if status.startswith(("2", "3"))]
        assert done, name
        assert operation["responses"][done[0]].get("description"), name


def test_every_parameter_has_a_range_or_a_length(operations: list[Operation]) -> None:
    for name, operation in operations:
        for parameter in operation.get("parameters", ()):
            for schema in list_alternatives(parameter["schema"]):
                bounds = {"number": {"maximum"}, "integer": {"maximum"}, "string": {"maxLength"}}
                wanted = bounds.get(schema.get("type", ""), set())
                is_choice = bool({"enum", "const", "format", "pattern"} & schema.keys())
                assert is_choice or wanted <= schema.keys(), f"{name}: {parameter['name']}"


def list_alternatives(schema: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return [one for one in schema.get("anyOf", [schema]) if one.get("type") != "null"]


def list_bodies(
    description: dict[str, Any], operations: list[Operation]
) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Give operation, content type and schema of every body, references followed."""
    for name, operation in operations:
        for content_type, content in operation.get("requestBody", {}).get("content", {}).items():
            schema = content["schema"]
            if "$ref" in schema:
                schema = description["components"]["schemas"][schema["$ref"].split("/")[-1]]
            yield name, content_type, {**schema, **content}


def test_every_body_of_json_has_an_example(
    description: dict[str, Any], operations: list[Operation]
) -> None:
    bodies = list(list_bodies(description, operations))
    assert len(bodies) > 30
    bare = [
        name
        for name, content_type, body in bodies
        if content_type not in BODIES_OF_FILES and not (body.get("examples") or body.get("example"))
    ]
    assert bare == []


def test_every_other_body_is_a_file(
    description: dict[str, Any], operations: list[Operation]
) -> None:
    kinds = {content_type for _, content_type, _ in list_bodies(description, operations)}
    assert kinds == {"application/json"} | BODIES_OF_FILES


def list_models(parent: type[BaseModel] = BaseModel) -> Iterator[type[BaseModel]]:
    for child in parent.__subclasses__():
        if child.__module__.startswith("app."):
            yield child
        yield from list_models(child)


def list_examples(model: type[BaseModel]) -> list[object]:
    extra = model.model_config.get("json_schema_extra")
    examples = extra.get("examples", []) if isinstance(extra, dict) else []
    return list(examples) if isinstance(examples, list) else []


def test_every_example_is_one_that_the_house_would_take() -> None:
    for name in (*PAGES, *ROUTES):
        import_module(name)
    tried = 0
    for model in list_models():
        for example in list_examples(model):
            model.model_validate_json(json.dumps(example))
            tried += 1
    assert tried > 20


def test_the_reference_is_served_from_the_house_itself(nobody: TestClient) -> None:
    page = nobody.get("/api/docs").text
    assert "http" not in page.replace('http-equiv="', "")
    for path in ("/vendor/swagger/swagger-ui-bundle.js", "/static/reference.js"):
        assert path in page
        assert nobody.get(path).status_code == 200


def test_static_files_give_no_way_out_of_their_folder() -> None:
    house = FastAPI()
    install_static(house)
    client = TestClient(house)
    for path in ("/static/../docs.py", "/static/%2e%2e/docs.py", "/static/..%2fdocs.py"):
        assert client.get(path).status_code == 404
