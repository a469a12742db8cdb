"""The two commands: they find Python, install once, and say what is missing in plain words."""

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.conftest import PROJECT

SH = shutil.which("sh") or "/bin/sh"
SCRIPTS = ("environment.sh", "demo.sh", "test.sh")
# Answers the version, and has the modules for making environments or not.
FAKE_PYTHON = """#!/bin/sh
case "$2" in
    *version_info*) {version} ;;
    *ensurepip*) {ensurepip} ;;
esac
"""
# Plays pip: notes that it was called, and succeeds or fails.
FAKE_PIP = """#!/bin/sh
echo "$@" >> "{calls}"
echo "Collecting numpy==1.0"
exit {status}
"""


def run(script: str, *, cwd: Path, path: str | None = None) -> "subprocess.CompletedProcess[str]":
    """Run a piece of shell with the helpers of the two commands at hand."""
    helpers = PROJECT / "deploy" / "environment.sh"
    return subprocess.run(  # noqa: S603
        [SH, "-c", f". '{helpers}'\n{script}"],
        cwd=cwd,
        env={"PATH": os.environ["PATH"] if path is None else path},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )


def put_program(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text)
    file.chmod(0o755)


def put_pip(folder: Path, *, status: int) -> Path:
    """Put a fake environment and project into a folder, and return the list of pip's calls."""
    calls = folder / "calls"
    put_program(folder / ".venv/bin/python", FAKE_PIP.format(calls=calls, status=status))
    (folder / "pyproject.toml").write_text("[project]\n")
    return calls


@pytest.mark.parametrize("name", SCRIPTS)
def test_every_script_is_shell_that_any_system_reads(name: str) -> None:
    subprocess.run([SH, "-n", PROJECT / "deploy" / name], check=True)  # noqa: S603


def test_the_first_python_that_is_new_enough_and_can_make_environments_is_taken(
    tmp_path: Path,
) -> None:
    old = FAKE_PYTHON.format(version="exit 1", ensurepip="exit 0")
    bare = FAKE_PYTHON.format(version="echo 3.11", ensurepip="exit 1")
    whole = FAKE_PYTHON.format(version="echo 3.12", ensurepip="exit 0")
    put_program(tmp_path / "python3", old)
    put_program(tmp_path / "python3.11", bare)
    put_program(tmp_path / "python3.12", whole)
    answer = run("find_python", cwd=tmp_path, path=str(tmp_path))
    assert answer.stdout == "python3.12\n"


def test_a_python_without_its_venv_module_names_the_package_to_install(tmp_path: Path) -> None:
    bare = FAKE_PYTHON.format(version="echo 3.11", ensurepip="exit 1")
    put_program(tmp_path / "python3", bare)
    answer = run("find_python", cwd=tmp_path, path=str(tmp_path))
    assert answer.returncode == 1
    assert "apt-get install python3.11-venv" in answer.stderr


def test_a_machine_without_a_new_enough_python_is_told_so(tmp_path: Path) -> None:
    put_program(tmp_path / "python3", FAKE_PYTHON.format(version="exit 1", ensurepip="exit 0"))
    answer = run("find_python", cwd=tmp_path, path=str(tmp_path))
    assert answer.returncode == 1
    assert "Python 3.11 or newer is needed" in answer.stderr


def test_what_was_installed_is_not_installed_again_until_the_project_changes(
    tmp_path: Path,
) -> None:
    calls = put_pip(tmp_path, status=0)
    first = run("install_once wickbook --editable .", cwd=tmp_path)
    assert "   numpy==1.0" in first.stdout
    run("install_once wickbook --editable .", cwd=tmp_path)
    assert len(calls.read_text().splitlines()) == 1
    (tmp_path / "pyproject.toml").write_text("[project]\nname = 'other'\n")
    run("install_once wickbook --editable .", cwd=tmp_path)
    assert len(calls.read_text().splitlines()) == 2


def test_a_failed_installation_is_told_and_tried_again_next_time(tmp_path: Path) -> None:
    calls = put_pip(tmp_path, status=1)
    for _ in range(2):
        answer = run("install_once wickbook --editable .; echo went on", cwd=tmp_path)
        assert answer.returncode == 1
        assert "The installation failed" in answer.stderr
        assert "went on" not in answer.stdout
    assert len(calls.read_text().splitlines()) == 2


def test_a_port_that_is_no_number_is_refused_before_anything_is_made() -> None:
    answer = subprocess.run(  # noqa: S603
        [SH, PROJECT / "deploy" / "demo.sh", "eighty"],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=False,
    )
    assert answer.returncode == 1
    assert "The port is a number, like 8000; not 'eighty'." in answer.stderr


@pytest.mark.parametrize("script", ["deploy/test.sh", ".ci/run", "deploy/demo.sh"])
def test_the_helpers_write_into_no_name_of_the_scripts_that_use_them(script: str) -> None:
    helpers = list_names("deploy/environment.sh")
    assert "install_failed" in helpers
    assert list_names(script) & helpers == set()


def list_names(script: str) -> set[str]:
    """Return the variables that a script sets."""
    text = (PROJECT / script).read_text()
    return set(re.findall(r"^\s*(?:local |export )?([A-Za-z_]+)=", text, flags=re.MULTILINE))
