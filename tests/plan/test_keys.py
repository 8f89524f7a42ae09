"""The list of all keys: whole, and true to what a plan may state."""

import json
import re
import tomllib
from collections import defaultdict

import pytest
from helpers import STARTERS, TOP, between_marks, contents, starter

from slotwright.layout.errors import PlanError
from slotwright.layout.instrument.instrument import lay_out
from slotwright.layout.physics.wire import WINDINGS
from slotwright.layout.plan import bridges, machine, string_set, tables
from slotwright.layout.plan.keys import keys, unit_of
from slotwright.layout.plan.plan import Plan
from slotwright.layout.plan.table import Table
from slotwright.layout.plan.template import WHATS
from slotwright.templates import starters

LISTED = {key.path: key for key in keys()}


def stated(table, path=""):
    """Give the path of every key that a plan file states."""
    for name, value in table.items():
        yield f"{path}{name}"
        if isinstance(value, dict):
            yield from stated(value, f"{path}{name}.")
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for each in value:
                yield from stated(each, f"{path}{name}[...].")


@pytest.mark.parametrize("name", STARTERS)
def test_every_key_of_a_starter_is_listed(name):
    tables_themselves = {
        "scale",
        "frets",
        "board",
        "job",
        "blank",
        "jig",
        "setup",
        "compensation",
        "calibration",
        "nut",
        "machine",
    }
    assert set(stated(tomllib.loads(starters()[name]))) <= LISTED.keys() | tables_themselves | {"bridge"}


def test_every_field_of_every_table_is_listed_with_its_words():
    for module in (tables, bridges, machine, string_set):
        for table in vars(module).values():
            if isinstance(table, type) and issubclass(table, Table) and not table.__name__.startswith("_"):
                for name, each in table.model_fields.items():
                    field = each.alias or name
                    assert any(path.split(".")[-1] == field for path in LISTED), (table, field)
    assert all(key.words.endswith((".", ")")) and len(key.words) > 8 for key in LISTED.values())
    assert not [key.path for key in LISTED.values() if "`" in key.words]
    assert len(LISTED) == len(keys()) > 100


def test_a_default_is_what_is_taken():
    plain = Plan.model_validate({"title": "x", "strings": 1, "scale": {"length": 628}, "board": {"nut_width": 42}})
    for path, key in LISTED.items():
        table, _, name = path.rpartition(".")
        if re.fullmatch(r"(board|frets|setup|compensation|calibration)", table) and key.default:
            assert tomllib.loads(f"x = {key.default}")["x"] == pytest.approx(
                list(value) if isinstance(value := getattr(getattr(plain, table), name), tuple) else value
            )
        assert key.required == (path in REQUIRED), path


REQUIRED = {
    "title", "strings", "board.nut_width", "board.width_at.fret", "board.width_at.width", "blank.length", "blank.width",
    "strings.set", "strings.replace[...].string", "bridge.kind", "bridge.pins.distance",
    "bridge.under[...].name", "bridge.under[...].outline", "nut.locking.rise", "machine.cutters",
    "machine.cutters[...].operations", "machine.cutters[...].diameter", "machine.cutters[...].cutting_length",
    "template[...].for", "template[...].bush", "template[...].cutter",
}  # fmt: skip


def test_units_and_kinds():
    assert LISTED["strings[...].gauge"].unit == "length"
    assert LISTED["strings[...].mass"].unit == "g/m"
    assert LISTED["compensation.tolerance"].unit == "cents"
    assert LISTED["bridge.angle"].unit == "degrees"
    assert LISTED["frets.count"].unit == ""
    assert LISTED["bridge.travel"].words.endswith("(individual saddles or two posts)")
    json.dumps([key.path for key in keys()])
    assert unit_of("machine.cutters[2].feed") == "mm/min"
    assert unit_of("strings[1]") == unit_of("frets.count") == ""


def test_a_key_names_the_values_that_it_takes():
    """As a plan takes them: who copies one out of the text is not refused."""
    for path, values in (
        ("strings[...].winding", WINDINGS), ("template[...].for", WHATS), ("bridge.pins.line", ("along the slot", "square")),
    ):  # fmt: skip
        assert all(value in LISTED[path].words for value in values), path
    assert "square, which is square to the bridge" in LISTED["bridge.pins.line"].words


def test_what_has_no_meaning_is_not_told_as_assumed():
    assert "bridge.reserve" not in lay_out(starter("nylon-six")).assumed
    assert "bridge.reserve" not in lay_out(starter("mandolin")).assumed
    assert "bridge.reserve" in lay_out(starter("travel-six-zero-fret")).assumed


def tables_of_keys():
    """Write the keys of each table of a plan, as the README has them."""
    tables = defaultdict(list)
    for key in keys():
        tables[re.match(r"\w+", key.path)[0] if "." in key.path else ""].append(key)
    for table, group in tables.items():
        yield f"**`{table}`**" if table else "**The plan itself**"
        yield "\n| key | meaning | unit | unless stated |\n|---|---|---|---|"
        for key in group:
            usual = "required" if key.required else f"`{key.default}`" if key.default else ""
            yield f"| `{key.path}` | {key.words} | {key.unit} | {usual} |"
        yield ""


def test_the_readme_lists_every_key():
    assert between_marks(TOP / "README.md", "keys", "\n".join(tables_of_keys()))
    text = (TOP / "README.md").read_text("utf-8")
    assert [text.count(f"\n| `{path}` | ") for path in LISTED] == [1] * len(LISTED)


def test_limits_are_those_of_the_refusal():
    """What is said to be allowed is what a plan beyond it is told."""
    at = {key.path: key for key in keys()}
    assert at["board.nut_width"].limits("mm") == "5.00 to 500.00 mm"
    assert at["board.nut_width"].limits("in") == "0.197 to 19.685 in"
    assert at["bridge.screw_from"].limits("mm") == '"rear" or "front"'
    for path, table, given in (
        ("frets.count", "frets", {"count": 900}),
        ("board.nut_width", "board", {"nut_width": 900}),
    ):
        with pytest.raises(PlanError, match=at[path].limits("mm")):
            Plan.model_validate(contents(**{table: given}))
    assert sum(bool(key.limits("mm")) for key in keys()) > 0.9 * len(keys())
