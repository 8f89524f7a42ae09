"""``slotwright frets --wire`` as a user meets it."""

import csv
import io
import json

import pytest

WIRE = "wire = { crown_width = 2.4, tang_width = 0.52, bead_width = 0.75, length = 250 }"


def written(path, *, frets=WIRE, board="", units="mm"):
    width, scale = (42.5, 628) if units == "mm" else (1.6875, 25.5)
    path.write_text(
        f'title = "Plain six"\nunits = "{units}"\nstrings = 6\n[scale]\nlength = {scale}\n[frets]\n{frets}\n'
        f"[board]\nnut_width = {width}\n{board}\n"
    )


@pytest.fixture
def bound(tmp_path):
    written(tmp_path / "bound.toml", board="radius = 305\nbinding = 1.5")
    return "bound.toml"


def test_text_csv_and_json_agree(run, bound):
    code, out, err = run("frets", bound, "--wire")
    assert (code, err) == (0, "")
    told = json.loads(run("frets", bound, "--wire", "--json")[1])
    table = list(csv.DictReader(io.StringIO(run("frets", bound, "--wire", "--csv")[1])))
    text = [line.split() for line in out.splitlines() if line[:1].isdigit()]
    assert [row["fret"] for row in table] == [row[0] for row in text] == [str(each["fret"]) for each in told["frets"]]
    for each, row, shown in zip(told["frets"], table, text, strict=True):
        lengths = [each[key] for key in ("over_board", "cut", "tang", "nip", "bend_radius")]
        names = ("over the board", "cut", "tang left", "nip each end", "bend to radius")
        assert [float(row[f"{name} [mm]"]) for name in names] == pytest.approx(lengths, abs=6e-4)
        assert [float(cell) for cell in shown[1:]] == pytest.approx(lengths, abs=0.51)
        assert float(shown[2]) == each["cut"] == float(row["cut [mm]"])
        assert each["fret"] in told["rods"][int(row["rod"]) - 1]["frets"]
    assert f"total: {told['total']:.0f} mm in 22 pieces" in out
    assert f"rods of 250 mm: {len(told['rods'])}" in out
    assert out.count(" left\n") == len(told["rods"])
    for finding in told["findings"]:
        assert finding["words"] in out
    assert [finding["kind"] for finding in told["findings"]] == ["tang fit", "bead fit"]
    assert "overhang at each end, assumed: 3.00 mm" in out


def test_inches_are_the_same_wire(run, tmp_path):
    written(tmp_path / "mm.toml", frets="", board="radius = 304.8")
    text = (tmp_path / "mm.toml").read_text().replace("628", "647.7").replace("42.5", "42.8625")
    (tmp_path / "mm.toml").write_text(text)
    written(tmp_path / "in.toml", frets="", board='radius = 12\nedge_margin = "3.2 mm"', units="in")
    mm, inches = (json.loads(run("frets", f"{name}.toml", "--wire", "--json")[1]) for name in ("mm", "in"))
    assert inches.pop("rods") == mm.pop("rods")
    for one, other in zip(mm["frets"], inches["frets"], strict=True):
        assert one == pytest.approx(other)
    out = run("frets", "in.toml", "--wire")[1]
    assert f"total: {inches['total'] / 25.4:.3f} in in 22 pieces" in out
    assert "nip each end" not in out  # slots reach the edges of this board
    assert "how the wire fits is not known without tang_width and bead_width in frets.wire" in out


def test_check_tells_how_the_wire_fits(run, bound):
    out = run("check", bound)[1]
    assert "fret wire: a tang of 0.52 mm in slots of 0.58 mm, 0.06 mm narrower: a press fit\n" in out
    told = json.loads(run("check", bound, "--json")[1])
    assert [finding["subject"] for finding in told["findings"]] == ["fret wire", "fret wire"]
    assert told["assumed"]["frets.wire.overhang"] == 3


def test_rods_too_short(run, tmp_path):
    written(tmp_path / "short.toml", frets="wire = { length = 50 }")
    code, out, _ = run("frets", "short.toml", "--wire")
    assert code == 0
    assert "rods of 50.00 mm are too short for frets " in out
    told = json.loads(run("frets", "short.toml", "--wire", "--json")[1])
    held = [fret for rod in told["rods"] for fret in rod["frets"]]
    assert sorted(held + told["too_long"]) == list(range(1, 23))
    assert told["too_long"]
    table = list(csv.DictReader(io.StringIO(run("frets", "short.toml", "--wire", "--csv")[1])))
    assert [int(row["fret"]) for row in table if not row["rod"]] == told["too_long"]


def test_json_and_csv_exclude_each_other(run, bound):
    assert run("frets", bound, "--wire", "--csv", "--json")[0] == 2
