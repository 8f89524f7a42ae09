"""What Python users meet: a handful of names, imported when asked for, known to a type checker."""

import doctest
import inspect
import os
import subprocess
import sys
from importlib import import_module

import pytest
from helpers import STARTERS, TOP, between_marks, some

import slotwright.layout
from slotwright.layout import draw, find_scale, lay_out, read_plan, read_readings, write
from slotwright.layout.errors import KeptError, MeasuredError, PlanError, SheetError
from slotwright.templates import starters


@pytest.mark.parametrize("name", some(STARTERS))
def test_the_ten_lines(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "heron.toml").write_text(starters()[name], "utf-8")
    (tmp_path / "first.csv").write_text("string,fret,cents\n1,12,4.8\n2,12,-3.1\n")
    failed, tried = doctest.testmod(slotwright.layout, raise_on_error=True)
    assert (failed, tried) == (0, 7)
    assert (tmp_path / "slots.dxf").stat().st_size > 5000
    assert (tmp_path / "slots.pdf").read_bytes().startswith(b"%PDF")


def test_importing_the_engine_imports_nothing_of_it():
    code = (
        "import sys, slotwright.layout as s; print(*s.__all__); print('numpy' in sys.modules, len(s.__version__) > 4)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    names, told = done.stdout.splitlines()
    assert set(names.split()) >= {"read_plan", "lay_out", "draw", "write", "read_readings", "intonate", "find_scale"}
    assert told == "False True"
    assert set(slotwright.layout.__all__) <= set(dir(slotwright.layout))
    assert all(getattr(slotwright.layout, name) is not None for name in slotwright.layout.__all__)
    with pytest.raises(AttributeError, match="has no attribute 'drew'"):
        slotwright.layout.drew  # noqa: B018


def test_the_readme_tells_every_name():
    """Each with what must be given, and the first line of what it says of itself."""
    lines = ["| name | what it does |", "|---|---|"]
    for name in slotwright.layout.__all__:
        if name == "__version__":
            continue  # no function
        thing = getattr(slotwright.layout, name)
        given = [each.name for each in inspect.signature(thing).parameters.values() if each.default is each.empty]
        lines.append(f"| `{name}({', '.join(given)})` | {inspect.getdoc(thing).splitlines()[0]} |")
    assert between_marks(TOP / "README.md", "names", "\n".join([*lines, ""]))
    assert len(lines) == len(slotwright.layout.__all__) + 1


def test_a_neck_is_surveyed_from_a_path_or_text_or_bytes(tmp_path):
    text = "fret,distance\n" + "".join(f"{n},{648 * (1 - 2 ** (-n / 12)) / 25.4:.4f}\n" for n in range(1, 13))
    path = tmp_path / "neck.csv"
    path.write_text(text)
    scales = [find_scale(source, unit="in").lines[0].scale for source in (path, str(path), text, text.encode())]
    assert scales == pytest.approx([648] * 4, abs=0.01)
    with pytest.raises(MeasuredError, match="inches"):
        find_scale(text)


def test_an_old_name_tells_the_new_one_and_when_it_goes():
    with pytest.warns(
        DeprecationWarning, match=r"layout\.planfile is slotwright\.layout\.plan\.reader now.* goes in 0\.4"
    ):
        old = slotwright.layout.planfile
    assert old.read_plan is slotwright.layout.read_plan
    for moved in slotwright.layout._MOVED.values():  # noqa: SLF001 - that each is still where the warning says
        import_module(f"slotwright.layout.{moved}")


WRONG = """\
from slotwright.layout import draw, find_scale, lay_out, read_plan

instrument = lay_out(read_plan("heron.toml"))
draw(instrument, "slotz")
draw(instrument, "slots")
bridge = instrument.plan.bridge
print(bridge is not None and bridge.kind == "sadle slot")
print(bridge is not None and bridge.kind == "saddle slot")
"""


def test_a_type_checker_refuses_what_is_misspelt(tmp_path):
    (tmp_path / "slotwright").symlink_to(TOP)  # as it is laid out once it is installed
    (tmp_path / "script.py").write_text(WRONG)
    command = [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), "script.py"]
    done = subprocess.run(
        command,
        cwd=tmp_path,
        env={**os.environ, "MYPYPATH": str(tmp_path)},
        capture_output=True,
        text=True,
        check=False,
    )
    told = [line.split(":")[1] for line in done.stdout.splitlines() if line.startswith("script.py:")]
    assert told == ["4", "7"], done.stdout
    assert "\"Literal['slotz']\"; expected \"Literal['board', 'slots'" in done.stdout
    assert "'sadle slot'" in done.stdout


def test_a_plan_is_a_path_or_text_or_bytes(tmp_path):
    text = starters()["electric-six"]
    path = tmp_path / "heron.toml"
    path.write_text(text, "utf-8")
    assert read_plan(path) == read_plan(str(path)) == read_plan(text) == read_plan(text.encode())
    with pytest.raises(FileNotFoundError):
        read_plan("none.toml")
    with pytest.raises(PlanError, match="title: missing"):
        read_plan("strings = 6\n")


def test_wrong_names_are_refused_with_the_nearest(tmp_path):
    instrument = lay_out(read_plan(starters()["electric-six"]))
    with pytest.raises(SheetError, match=r'there is no sheet "slotz"; did you mean slots\?'):
        draw(instrument, "slotz")
    sheet = draw(instrument, "slots")
    with pytest.raises(SheetError, match=r'slots.svgg: the suffix is the format, "\.dxf".*; did you mean svg\?'):
        write(sheet, tmp_path / "slots.svgg")
    write(sheet, tmp_path / "slots.svg", unit="in")
    with pytest.raises(KeptError):
        write(sheet, tmp_path / "slots.svg")
    assert read_readings("string,fret,cents\n1,12,3\n", instrument)[0].cents == 3
