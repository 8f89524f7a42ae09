"""The house: what stands where, and which way things flow."""

import ast
import subprocess
import tomllib

import pytest
from helpers import TOP

# A module imports only from those before it; a folder's modules stand together.
ORDER = (
    "errors", "units", "temperament", "strings", "fields", "plan", "planfile", "lines", "spacing", "neck", "pitch",
    "minimax", "compensation", "tunings", "strung", "bridge", "remedies", "instrument", "slip", "readings", "fretted", "setting", "bench",
    "calibration", "restring", "patterns", "diagnosis", "history", "dialogue", "crowns", "fitting", "survey", "surveyed",
    "plantext", "drawing", "export",
)  # fmt: skip
MODULES = sorted((TOP / "layout").rglob("*.py"))


def imported(path):
    tree = ast.parse(path.read_text("utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def room(name):
    """Give the place of a module in the order of the engine."""
    parts = name.removeprefix("slotwright.layout").strip(".").split(".")
    return ORDER.index(parts[0]) if parts[0] in ORDER else None


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(TOP)))
def test_one_direction(path):
    here = ".".join(path.relative_to(TOP / "layout").with_suffix("").parts)
    for name in imported(path):
        assert not name.startswith("slotwright.cli")
        if name.startswith("slotwright.layout."):
            place = room(name)
            assert place is not None
            if here == "__init__":
                continue
            own = room(f"slotwright.layout.{here}")
            # drawing never imports export; modules of one folder may import each other.
            assert place < own or (place == own and here.split(".")[0] in ("drawing", "export"))


@pytest.mark.parametrize("name", ["temperament", "pitch"])
def test_numpy_alone(name):
    path = TOP / "layout" / f"{name}.py"
    if path.exists():
        outside = {module.split(".")[0] for module in imported(path)}
        assert outside <= {"__future__", "typing", "collections", "dataclasses", "numpy"}


def test_every_folder_is_in_the_wheel():
    listed = set(tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"])
    folders = {
        "slotwright." + ".".join(path.parent.relative_to(TOP).parts)
        for top in ("layout", "cli", "templates")
        for path in (TOP / top).rglob("__init__.py")
    }
    assert listed == folders
    assert all(
        (TOP / package.removeprefix("slotwright.").replace(".", "/") / "py.typed").exists() for package in listed
    )


def tracked():
    done = subprocess.run(["git", "ls-files"], cwd=TOP, capture_output=True, text=True, check=False)  # noqa: S607
    return done.stdout.split() if done.returncode == 0 else []


def test_the_top_is_tidy():
    tops = {name.split("/")[0] for name in tracked()}
    assert tops <= {
        ".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md", "cli", "layout", "pyproject.toml", "templates", "tests",
    }  # fmt: skip


def test_ci_runs_the_readme_commands_for_the_tests():
    readme = (TOP / "README.md").read_text("utf-8")
    (command,) = [line for line in readme.splitlines() if "-m pytest" in line]
    assert command.strip() in (TOP / ".ci" / "run").read_text("utf-8").splitlines()
