"""The project keeps its own promises: what it offers is documented, and what is documented is in the package."""

from __future__ import annotations

import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import BaseModel
from small_studio import REPOSITORY, called

from dawnproof import rulebook

README = (REPOSITORY / "README.md").read_text("utf-8")
TABLES = {"naming", "jobs", "intake", "folders", "crop", "join", "output", "archive", "work", "morning", "fixity"}
TABLES |= {"mail"}
ROWS = {
    **{f"[{name}]": getattr(rulebook, name.capitalize()) for name in sorted(TABLES)},
    "[beds.NAME]": rulebook.BedRules,
    "[kinds.NAME]": rulebook.Kind,
    "[limits.CHECK]": rulebook.LimitRules,
}


def commands() -> list[str]:
    """The commands `dawnproof --help` lists, with those of `rules`."""
    return [*_listed("--help"), *(f"rules {name}" for name in _listed("rules", "--help"))]


def _listed(*words: str) -> list[str]:
    code, text, _ = called(*words)
    assert code == 0
    return re.findall(r"^  ([a-z]+)(?: |$)", text.split("Commands:")[1], re.MULTILINE)


def test_the_commands_are_those_of_the_contract_and_the_one_for_other_computers() -> None:
    assert set(_listed("--help")) == {
        "new", "watch", "look", "examine", "join", "job", "accept", "refuse", "release", "place", "recheck", "morning",
        "verify", "rules", "calibrate", "ready", "rehearse", "worker",
    }  # fmt: skip
    assert set(_listed("rules", "--help")) == {"show", "try"}


@pytest.mark.parametrize("command", commands())
def test_each_command_is_in_the_readme_and_its_help_has_an_example(command: str) -> None:
    assert re.search(rf"dawnproof {command}\b", README)
    if command != "rules":
        code, text, _ = called(*command.split(), "--help")
        assert code == 0
        assert re.search(rf"Example:\s+dawnproof {command}\b", text)


def keys() -> Iterator[tuple[str, str]]:
    for table, model in ROWS.items():
        assert issubclass(model, BaseModel)
        for name, field in model.model_fields.items():
            yield table, field.alias or name


@pytest.mark.parametrize(("table", "key"), list(keys()))
def test_each_key_of_the_rule_book_is_in_the_readme(table: str, key: str) -> None:
    row = next((line for line in README.splitlines() if line.startswith("|") and table.rstrip("]") in line), "")
    assert re.search(rf"\b{key}\b", row), f"{table} {key} is not in the README's table of keys"


def test_each_shipped_book_is_in_the_readme() -> None:
    for book in (REPOSITORY / "rules").glob("*.toml"):
        assert f"`{book.stem}`" in README, book.name


def test_the_wheel_holds_rule_books_templates_and_the_mark_of_types(tmp_path: Path) -> None:
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "--no-build-isolation", "-w", tmp_path, REPOSITORY],
        capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    if "Cannot import 'hatchling" in built.stderr or "No module named 'hatchling" in built.stderr:
        pytest.skip("the build backend is not installed here")
    assert built.returncode == 0, built.stderr
    (wheel,) = tmp_path.glob("*.whl")
    names = set(zipfile.ZipFile(wheel).namelist())
    package = REPOSITORY / "daemon" / "dawnproof"
    wanted = {f"dawnproof/rules/{p.name}" for p in (REPOSITORY / "rules").glob("*.toml")}
    wanted |= {f"dawnproof/report/templates/{p.name}" for p in (package / "report" / "templates").iterdir()}
    wanted |= {f"dawnproof/{p.relative_to(package)}" for p in package.rglob("*.py")}
    assert len(wanted) > 100
    assert wanted | {"dawnproof/py.typed"} <= names
