"""The house: what stands where, and which way things flow."""

import ast
import re
import tomllib

import pytest
from helpers import TOP, kept

TOPS = ("layout", "cli", "templates")
OUTSIDE = {"templates"}  # data only: anybody may read it


def order():
    """Read the modules of the house from the list in DEVELOPERS.md, top to bottom."""
    text = (TOP / "DEVELOPERS.md").read_text("utf-8")
    found, way = [], []
    for line in text[text.index("## The house") : text.index("A module imports only")].splitlines():
        if not line.startswith("    ") or not line.strip():
            continue
        depth, name = (len(line) - len(line.lstrip()) - 4) // 2, line.split()[0]
        way = [*way[:depth], name.strip("/")]
        if name.endswith(".py"):
            found.append("/".join(way))
    return found


ORDER = order()
MODULES = sorted(
    str(path.relative_to(TOP))
    for top in ("layout", "cli")
    for path in (TOP / top).rglob("*.py")
    if path.name not in ("__init__.py", "__main__.py")
)


def imported(path):
    """Give the modules of this house that a module imports, as they stand in the list."""
    for node in ast.walk(ast.parse((TOP / path).read_text("utf-8"))):
        names = []
        if isinstance(node, ast.Import):
            names = [[alias.name] for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [[f"{node.module}.{alias.name}", node.module] for alias in node.names]
        for each in names:
            paths = [name.removeprefix("slotwright").strip(".").replace(".", "/") for name in each]
            if each[-1].split(".")[0] == "slotwright":
                files = [f"{path}.py" for path in paths if (TOP / f"{path}.py").is_file()]
                yield (files or [path for path in paths if path and (TOP / path).is_dir()])[0]


def test_the_list_is_whole():
    assert sorted(ORDER) == MODULES
    assert len(MODULES) > 50
    assert all((TOP / name).is_dir() for name in TOPS)


@pytest.mark.parametrize("path", ORDER)
def test_one_direction(path):
    above = {*ORDER[: ORDER.index(path)], *OUTSIDE}
    assert [name for name in imported(path) if name not in above] == []


@pytest.mark.parametrize(
    "path", ["layout/__init__.py", "cli/__init__.py", "cli/__main__.py", "templates/__init__.py"]
)
def test_what_stands_outside_the_list(path):
    top = path.split("/")[0]
    allowed = (
        {name for name in ORDER if name.startswith("layout") or top == "cli"} if top in ("layout", "cli") else set()
    )
    assert set(imported(path)) <= {*allowed, top}


def test_the_rooms_are_few_and_their_doors_bare():
    doors = [path for path in (TOP / "layout").rglob("__init__.py") if path.parent != TOP / "layout"]
    assert 5 < len(doors) < 14
    assert [path for path in doors if path.read_text("utf-8")] == []


@pytest.mark.parametrize("path", [name for name in ORDER if name.startswith("layout/physics/")])
def test_numpy_alone(path):
    outside = set()
    for node in ast.walk(ast.parse((TOP / path).read_text("utf-8"))):
        if isinstance(node, ast.Import | ast.ImportFrom):
            outside |= {alias.name for alias in node.names} if isinstance(node, ast.Import) else {node.module}
    known = {"__future__", "typing", "collections", "dataclasses", "numpy", "math", "re", "itertools"}
    assert {name.split(".")[0] for name in outside if not name.startswith("slotwright.layout.physics")} <= known


def test_every_folder_is_in_the_wheel():
    listed = set(tomllib.loads((TOP / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"])
    folders = {
        "slotwright." + ".".join(path.parent.relative_to(TOP).parts)
        for top in TOPS
        for path in (TOP / top).rglob("__init__.py")
    }
    assert listed == folders
    assert all(
        (TOP / package.removeprefix("slotwright.").replace(".", "/") / "py.typed").exists() for package in listed
    )


def test_the_top_is_tidy():
    assert {name.split("/")[0] for name in kept()} == {
        ".ci", ".gitignore", "DEVELOPERS.md", "LICENSE", "README.md", "cli", "layout", "pyproject.toml", "templates", "tests",
    }  # fmt: skip


def test_ci_runs_the_readme_commands_for_the_tests():
    readme = (TOP / "README.md").read_text("utf-8")
    (command,) = [line for line in readme.splitlines() if "-m pytest" in line]
    assert command.strip() in (TOP / ".ci" / "run").read_text("utf-8").splitlines()


def proofs(name, heading):
    """Read the rows of the table under a heading, cells by row."""
    text = (TOP / name).read_text("utf-8")
    part = re.split(r"^## ", text[text.index(f"## {heading}\n") + 3 :], maxsplit=1, flags=re.MULTILINE)[0]
    rows = [line.strip("| ").split(" | ") for line in part.splitlines() if line.startswith("| ")]
    return {tuple(row[:2]): row[2] for row in rows[1:]}


def test_no_accuracy_is_stated_without_its_test():
    stated = proofs("README.md", "How true it is")
    proved = proofs("DEVELOPERS.md", "How true, and where that is tested")
    assert len(stated) > 20
    assert stated.keys() <= proved.keys()
    for cell in proved.values():
        path = ""
        for named in re.findall(r"`([^`]+)`", cell):
            path, _, test = named.partition("::") if "/" in named else (path, "", named.removeprefix("::"))
            assert f"\ndef {test}(" in (TOP / path).read_text("utf-8"), named
