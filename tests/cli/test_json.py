"""What scripts read: the objects of the commands hold what they always held."""

import json
from collections import defaultdict

import pytest
from helpers import GOLDEN, STARTERS, some

from slotwright.templates import starters

READINGS = "string,fret,cents\n1,12,4.8\n1,17,6.1\n2,12,-3.1\n3,7,2\n"
CROWNS = "fret,treble,bass\nnut,0,0\n" + "".join(
    f"{n},{628 * (1 - 2 ** (-n / 12)):.2f},{628.4 * (1 - 2 ** (-n / 12)):.2f}\n" for n in range(1, 23)
)
COMMANDS = {
    "check": ("check", "plan.toml"),
    "frets": ("frets", "plan.toml"),
    "compensate": ("compensate", "plan.toml"),
    "compensate --slip": ("compensate", "plan.toml", "--slip"),
    "bench": ("bench", "plan.toml", "read.csv"),
    "survey": ("survey", "crowns.csv", "--saddle", "314,316"),
}


def promised():
    """Read which keys each command's object had in release 0.1.0, with the kinds of their values."""
    found = defaultdict(dict)
    for line in (GOLDEN / "json-0.1.0.txt").read_text("utf-8").splitlines():
        command, _, told = line.partition(": ")
        path, _, kinds = told.partition(" ")
        found[command][tuple(path.split("."))] = {*kinds.split("/"), "null"}
    return found


def values(told, path):
    """Give all values that stand at a path; what is in a list stands at the path of the list."""
    if isinstance(told, list):
        return [value for each in told for value in values(each, path)] if told else [[]]
    if not path or told is None:
        return [told]
    return values(told[path[0]], path[1:])


def kind(value):
    if isinstance(value, bool) or value is None:
        return "null" if value is None else "bool"
    return {str: "str", int: "number", float: "number", list: "list", dict: "object"}[type(value)]


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("name", some(STARTERS, 2))
def test_what_was_told_is_told_still(run, tmp_path, name, command):
    (tmp_path / "plan.toml").write_text(starters()[name], "utf-8")
    (tmp_path / "read.csv").write_text(READINGS)
    (tmp_path / "crowns.csv").write_text(CROWNS)
    told, keys = json.loads(run(*COMMANDS[command], "--json")[1]), promised()[command]
    assert len(keys) > 4
    for path, kinds in keys.items():
        found = {kind(value) for value in values(told, path)} - {"list"}
        # Lists that were empty then do not tell what they hold: words, and findings with their kind and evidence.
        assert found <= kinds | ({"str", "object"} if "list" in kinds else set()), path
        if path[-1] == "findings":
            assert all(
                {"kind", "evidence"} <= value.keys() for value in values(told, path) if isinstance(value, dict)
            )


@pytest.mark.parametrize("name", STARTERS)
def test_what_was_assumed_is_told_of_every_starter(run, name):
    run("new", name, "--from", name)
    code, out, _ = run("check", f"{name}.toml", "--json")
    assert code == 0
    told = json.loads(out)["assumed"]
    for key, value in told.items():
        # Of a string of a set it is several keys: an object of them.
        parts = value.values() if key.startswith("strings[") else [value]
        assert all(part is None or isinstance(part, str | int | float | list) for part in parts)
