"""``report`` as a user meets it."""

import os
from pathlib import Path

import pytest


def test_it_is_called_after_the_plan_and_keeps_what_is_there(run, heron):
    code, out, err = run("report", heron)
    assert (code, err) == (0, "")
    assert "heron.html" in out
    assert "0.1 MB" in out
    made = Path("heron.html").read_bytes()
    assert made.startswith(b"<!doctype html>")
    code, _, err = run("report", heron)
    assert code == 2
    assert "--force" in err
    assert run("report", heron, "--force")[0] == 0
    assert run("report", heron, "--out", "shop/for-the-customer.html")[0] == 0
    assert Path("shop/for-the-customer.html").read_bytes() == made


@pytest.mark.parametrize("name", ["heron.pdf", "heron", "heron.toml"])
def test_it_writes_no_other_kind_of_file(run, heron, name):
    code, _, err = run("report", heron, "--out", name, "--force")
    assert code == 2
    assert ".html" in err
    assert os.listdir() == ["heron.toml"]


def test_a_plan_that_cannot_be_drawn_leaves_nothing_behind(run, heron):
    heron.write_text(heron.read_text("utf-8").replace("travel = 9.0", "travel = 1.0"), "utf-8")
    code, _, err = run("report", heron)
    assert code == 2
    assert "bridge.reserve" in err
    heron.write_text("title = 3", "utf-8")
    assert run("report", heron)[0] == 2
    assert run("report", "none.toml")[0] == 2
    assert os.listdir() == ["heron.toml"]


def test_warnings_are_told_beside_it(run, heron):
    heron.write_text('title = "t"\nstrings = 6\n[scale]\nlength = 648\n[board]\nnut_width = 42\nedge_margin = 1.8\n')
    code, out, err = run("report", heron)
    assert code == 0
    assert "warning" in err
    assert "warning" not in out
