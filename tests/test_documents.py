"""The documents name what the code has: all of it, and nothing else."""

import re
from pathlib import Path

import pytest

from app.accounts.permissions import ROLES_OF_ACTION, Role
from app.cli import main
from app.core.settings import PREFIX, Settings
from tests.conftest import PROJECT

DEVELOPERS = PROJECT / "DEVELOPERS.md"
README = PROJECT / "README.md"
DOCUMENTS = [README, DEVELOPERS]


def list_rows(file: Path, heading: str) -> list[list[str]]:
    """Return the cells of the table under a heading, without its head."""
    _, _, after = file.read_text(encoding="utf-8").partition(f"\n# {heading}\n")
    section = re.split(r"^# ", after, flags=re.MULTILINE)[0]
    lines = [line for line in section.splitlines() if line.startswith("|")]
    return [[cell.strip(" `") for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_every_setting_is_documented_with_its_default() -> None:
    documented = {name: default for name, default, _ in list_rows(DEVELOPERS, "Settings")}
    assert documented == {
        PREFIX + name.upper(): str(field.default) for name, field in Settings.model_fields.items()
    }


def test_every_permission_is_documented_with_its_roles() -> None:
    documented = {
        action: {role for role, mark in zip(Role, marks, strict=True) if mark}
        for action, *marks in list_rows(DEVELOPERS, "Permissions")
    }
    assert documented == {str(action): set(roles) for action, roles in ROLES_OF_ACTION.items()}


def test_every_command_is_documented() -> None:
    commands = {
        command.name or getattr(command.callback, "__name__", "")
        for command in main.registered_commands
    }
    groups = {group.name for group in main.registered_groups}
    documented = {
        name.removeprefix("wickbook ") for name, _ in list_rows(DEVELOPERS, "The command")
    }
    assert documented == commands | groups


def test_every_floor_is_drawn() -> None:
    drawn = set(re.findall(r"^ {2}(\w+)/", DEVELOPERS.read_text(encoding="utf-8"), re.MULTILINE))
    folders = {folder.parent.name for folder in (PROJECT / "app").glob("*/__init__.py")}
    assert drawn | {"numerics"} == folders


@pytest.mark.parametrize("file", DOCUMENTS, ids=lambda file: file.name)
def test_every_path_that_is_named_exists(file: Path) -> None:
    named = re.findall(
        r"`((?:app|tests|migrations|deploy|seed_demo)/[\w/.]+)`", file.read_text(encoding="utf-8")
    )
    assert [path for path in named if not (PROJECT / path).exists()] == []


def test_the_paths_of_the_developers_document_are_found_at_all() -> None:
    assert DEVELOPERS.read_text(encoding="utf-8").count("`app/") > 10


def test_the_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    title, job, commands, *_ = README.read_text(encoding="utf-8").split("\n\n")
    assert title == "# Wickbook"
    assert "hot gas" in job
    assert re.findall(r"^sh (deploy/\w+\.sh)", commands, re.MULTILINE) == [
        "deploy/demo.sh",
        "deploy/test.sh",
    ]


def test_nothing_else_lies_at_the_top_level() -> None:
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml"} | {
        "app",
        "migrations",
        "tests",
        "deploy",
        "seed_demo",
    }
    found = {path.name for path in PROJECT.iterdir() if not path.name.startswith(".")}
    assert {name for name in found - allowed if not name.endswith(".egg-info")} == set()
