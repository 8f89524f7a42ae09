"""Files as a slip of the hand, a torn disk or a prank leaves them: exit 0 or 2, at once, and never a traceback.

``SLOTWRIGHT_DEEP=5000 python -m pytest tests/cli/test_fuzz.py`` tries as many others in each part.
"""

import contextlib
import functools
import html.parser
import io
import re
import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ET
from pathlib import Path

import ezdxf
import pypdf
import pytest
from helpers import FULL, few, parts, prove, some
from hypothesis import strategies as st

from slotwright.cli import main
from slotwright.templates import starters

PLANS = tuple(text.encode() for text in starters().values())
HERON = starters()["electric-six"].encode()
READINGS = b"""string,fret,cents,open,pass,moved,note
1,12,3.1,0.2,1,,
1,17,4.0,,1,,pings
2,12,-2.5,,1,,"warbles, a bit"
1,12,0.4,,2,0.8,
6,12,9.0,,2,-1 mm,
"""
HERTZ = b"string;fret;hz;saddle_offset\n1;12;660,1;1,5\n2;12;494,2;2\n6;5;110,3;3/32 in\n"
CROWNS = b"fret,distance\nnut,1.6\n" + b"".join(b"%d,%.2f\n" % (n, 628 - 628 / 2 ** (n / 12)) for n in range(1, 23))
EDGES = b"fret,treble,bass\n" + b"".join(
    b"%d,%.2f,%.2f mm\n" % (n, 648 - 648 / 2 ** (n / 12), 670 - 670 / 2 ** (n / 12)) for n in range(1, 20)
)
SLIPS = (
    b"nan", b"inf", b"-1", b"0", b"1e308", b"1e-320", b"9" * 400, b"0x" + b"f" * 6000, b"true", b"1979-05-27", b"[]", b"{}",
    b"[[", b"]]", b"[" * 60, b"{a=" * 60, b'"', b"'''", b"\\u0000", b"\x00", b"\r", b"\n", b"\n\n0\nLINE\n", b"=", b",", b";",
    b"\t", b"#", b".", b"a.b", b"\xff\xfe", b"\xef\xbb\xbf", "\u202e\u5b57\U0001f3b8".encode(), b"<script>", b"%%d", b"1/0 in",
    b"strings = 18", b"count = 60", b'kind = "floating"', b"[frets]", b"[[bridge]]", b"zero_fret = true", b"25 1/2 in",
)  # fmt: skip
MOST_TIMES = 20  # what a report of the starter takes: what no maker would call hanging, on any machine
MOST_BYTES = 300e6


@st.composite
def spoilt(draw, wholes):
    """Spoil a good file: cut, doubled, crossed with another, words and numbers of it exchanged."""
    text = draw(st.sampled_from(wholes))
    for _ in range(draw(st.integers(1, 4))):
        if not text:
            break
        at = draw(st.integers(0, len(text)))
        to = min(len(text), at + draw(st.sampled_from([1, 1, 3, 10, 200, 10_000])))
        match draw(st.integers(0, 5)):
            case 0:
                text = text[:at] + text[to:]
            case 1:
                text = text[:at] + draw(st.sampled_from(SLIPS) | st.binary(max_size=8)) + text[at:]
            case 2:
                text = text[:to] + text[at:to] + text[to:]
            case 3:
                other = draw(st.sampled_from(wholes))
                text = text[:at] + other[at:]
            case _:
                words = list(re.finditer(rb"-?\d+\.?\d*|\w+", text))
                if words:
                    word = draw(st.sampled_from(words))
                    new = draw(st.sampled_from(SLIPS) | st.sampled_from(words).map(lambda found: found[0]))
                    text = text[: word.start()] + new + text[word.end() :]
    return text


def run(*args):
    """Run a command here; give exit code, output, messages and seconds of the processor."""
    out, err = io.StringIO(), io.StringIO()
    begun, code = time.process_time(), 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            main([str(arg) for arg in args])
        except SystemExit as end:
            code = end.code or 0
    return code, out.getvalue(), err.getvalue(), time.process_time() - begun


@functools.cache
def usual():
    """Give what a report of the starter takes here and now [s of the processor]."""
    with tempfile.TemporaryDirectory() as folder:
        (plan := Path(folder) / "heron.toml").write_bytes(HERON)
        return min(run("report", plan, "--out", f"{folder}/{n}.html")[-1] for n in range(3))


def holds(*args):
    """Check that a command ends well, and not after longer than anybody would wait; give its exit code."""
    usual()  # before anything else is timed
    code, _, err, spent = run(*args)
    assert code in (0, 2), err
    assert "Traceback" not in err
    assert "Warning:" not in err  # of a library, that is
    assert spent < MOST_TIMES * usual()
    if code == 2:
        assert err.startswith(("slotwright: ", "Usage: ", "warning: "))
        assert len(err) < 20_000
    return code


@pytest.fixture(autouse=True, scope="module")
def warm():
    """Import what commands import, so that the first run is not blamed for it."""
    for name in (
        "export.dxf",
        "export.svg",
        "export.pdf",
        "export.report.page",
        "instrument.tolerances",
        "survey.scale",
    ):
        __import__(f"slotwright.layout.{name}")


@pytest.fixture
def here(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "heron.toml").write_bytes(HERON)
    return tmp_path


COMMANDS = (
    ("check", "x.toml"),
    ("check", "x.toml", "--json"),
    ("frets", "x.toml", "--csv"),
    ("compensate", "x.toml"),
    ("draw", "x.toml", "--force", "--format", "dxf", "--sheet", "board"),
    ("draw", "x.toml", "--force", "--format", "svg"),
    ("report", "x.toml", "--force"),
)


@pytest.mark.parametrize("part", parts(2))
def test_spoilt_plans(here, part):
    def once(given):
        text, command = given
        (here / "x.toml").write_bytes(text)
        holds(*command)

    prove(once, st.tuples(spoilt(PLANS), st.sampled_from(COMMANDS)), 60, part)


def test_any_bytes(here):
    def once(text):
        (here / "x").write_bytes(text)
        holds("check", "x")
        holds("survey", "x")
        holds("bench", "heron.toml", "x")

    prove(
        once,
        st.binary(max_size=200) | st.text(max_size=100).map(lambda text: text.encode("utf-8", "surrogatepass")),
        40,
        0,
    )


@pytest.mark.parametrize("part", parts(2))
def test_spoilt_tables(here, part):
    def once(given):
        (readings, crowns), plan = given
        (here / "x.csv").write_bytes(readings)
        holds("bench", "heron.toml", "x.csv", "--json")
        (here / "y.csv").write_bytes(crowns)
        (here / "new.toml").unlink(missing_ok=True)
        asked = ("--plan", "new.toml", "--strings", "6", "--nut-width", "43", "--width", "52") if plan else ()
        holds("survey", "y.csv", *asked, "--force")

    tables = st.tuples(spoilt((READINGS, HERTZ)), spoilt((CROWNS, EDGES)))
    prove(once, st.tuples(tables, st.booleans()), 40, part)


def nested(opening, closing, many):
    return b"title = " + opening * many + b"1" + closing * many


HARD = {
    "too large": b"#" * 300_000,
    "one letter too many": b"#" * 256_001,
    "as large as can be": b"# a\n" * 64_000,
    "dotted keys": b"a." * 100_000 + b"a = 1",
    "dotted keys, not too deep": b"a." * 400 + b"a = 1",
    "dotted quoted keys": b'"a" . ' * 40_000 + b"a = 1",
    "dotted keys inside": b"scale = {" + b"a." * 100_000 + b"a = 1}",
    "many quotes": b"\"'" * 100_000,
    "words and dots": b"title = '''" + b"a.\n" * 80_000 + b"'''",
    "dotted table": b"[" + b"a." * 100_000 + b"a]",
    "many dotted tables": b"".join(b"[a" + b".b" * 100 + b".c%d]\n" % n for n in range(1200)),
    "many tables": b"[[strings]]\n" * 20_000,
    "many keys": b"".join(b"k%d=1\n" % n for n in range(25_000)),
    "many wrong strings": b"strings = [" + b"{gauge=-1}," * 20_000 + b"]",
    "long hexadecimal": b"strings = 0x" + b"f" * 200_000,
    "long hexadecimal length": b"[scale]\nlength = 0x" + b"f" * 8_000,
    "long hexadecimal in a list": b"[board]\nradius = [0x" + b"f" * 8_000 + b", 1]",
    "long hexadecimal title": b"title = 0x" + b"f" * 200_000,
    "long decimal": b"strings = " + b"9" * 200_000,
    "long fraction": b"[scale]\nlength = 1e" + b"9" * 2_000,
    "a long key": b"k" * 200_000 + b" = 1",
    "an open text": b'title = """' + b"\\\n" * 100_000,
    "many pitches": b'title = "t"\ntunings = ["' + b"E4 " * 80_000 + b'"]',
    "many groups": b'[bridge]\nkind = "two posts"\ngroups = [' + b"[1]," * 60_000 + b"]",
    "many holes": HERON + b"existing_holes = [" + b"[1,2,3]," * 30_000 + b"]",
    "null bytes": b"\x00" * 10_000,
} | {f"{many} deep, {opening.decode()}": nested(opening, closing, many) for many in (90, 230, 330, 480, 900, 40_000) for opening, closing in ((b"[", b"]"), (b"{a=", b"}"))}  # fmt: skip


@pytest.mark.parametrize("name", some(HARD, 8))
def test_hard_plans(here, name):
    (here / "x.toml").write_bytes(HARD[name])
    holds("check", "x.toml")
    holds("draw", "x.toml", "--force", "--format", "pdf", "--sheet", "bridge")


def largest(minimise, nut):
    """Give a plan with as much of all as a plan may have, each string with an aim of its own.

    But with a third of the tunings, so that the test takes a third of the time.
    """
    pitches = ["E4", "D4", *(f"{note}{octave}" for octave in (3, 2) for note in "BAGFEDC"), "B1", "A1"]
    strings = ",".join(
        f'{{pitch="{pitch}",gauge="{0.25 + 0.07 * i:.2f} mm",kind="{"plain" if i < 4 else "wound"} steel"}}'
        for i, pitch in enumerate(pitches)
    )
    aims = ",".join(f"{{strings=[{i}],frets={list(range(1, 61))}}}" for i in range(1, 19))
    return (
        f'title="all"\nstrings=[{strings}]\ntunings={[" ".join(pitches[::-1])] * few(4)}\n'
        "[scale]\ntreble=628\nbass=700\n[frets]\ncount=60\ndivisions=24\n"
        "[board]\nnut_width=150\nstring_spread_nut=130\nstring_spread_saddle=200\n"
        f'[compensation]\nminimise="{minimise}"\nnut="{nut}"\naim=[{aims}]\n'
        '[bridge]\nkind="individual saddles"\ntravel=30\n'
    ).encode()


@pytest.mark.parametrize("nut", some(["per string", "none", "common"]))
@pytest.mark.parametrize("minimise", some(["rms", "worst"]))
def test_the_largest_plan_that_is_one(here, minimise, nut):
    (here / "x.toml").write_bytes(largest(minimise, nut))
    rows = (
        f"{string},{fret},{(7 * string + 3 * fret) % 11 - 5}\n" for string in range(1, 19) for fret in range(1, 61)
    )
    (here / "r.csv").write_text("string,fret,cents\n" + "".join(rows))
    for command in (
        ("check", "x.toml"),
        ("compensate", "x.toml", "--plot", "x.svg"),
        ("bench", "x.toml", "r.csv"),
        ("report", "x.toml", "--readings", "r.csv"),
        ("draw", "x.toml", "--sheet", "board", "--format", "svg"),
    ):
        assert holds(*command) == 0


TABLES = {
    "too large": READINGS + b"1,12,1,,1,,\n" * 90_000,
    "as many readings as can be": READINGS[: READINGS.index(b"\n") + 1] + b"1,12,1,0,1,,\n" * 75_000,
    "all of them wrong": READINGS[: READINGS.index(b"\n") + 1] + b"x,y,z,0,1,,\n" * 80_000,
    "crowns": b"fret,distance\n" + b"1,1\n" * 240_000,
    "one long cell": b"fret,distance\n1," + b"9" * 200_000,
    "one long line": b"fret,distance\n" + b"," * 900_000,
    "many columns": b"fret," + b"x," * 400_000,
    "an open quote": b'fret,distance\n"' + b"1\n" * 400_000,
    "blank lines": b"\n" * 999_000,
    "null bytes": b"fret,distance\n1,\x00\n",
    "no numbers": b"fret,distance\n1,nan\n2,inf\n3,-inf\n",
    "numbers of another script": "string,fret,cents\n\u0661,\u0661\u0662,\u0663\n".encode(),
}


@pytest.mark.parametrize("name", some(TABLES, 6))
def test_hard_tables(here, name):
    (here / "x.csv").write_bytes(TABLES[name])
    holds("survey", "x.csv")
    holds("bench", "heron.toml", "x.csv")
    holds("report", "heron.toml", "--readings", "x.csv", "--force")


@pytest.mark.parametrize(
    "name", some(["many holes", "many wrong strings", "many dotted tables", "as large as can be"])
)
def test_hard_plans_stay_small(here, name):
    (here / "x.toml").write_bytes(HARD[name])
    code = (
        "import sys\nfrom slotwright.cli import main\n"
        "try: main(['check', 'x.toml'])\nexcept SystemExit as end: code = end.code or 0\nelse: code = 0\n"
        "print(open('/proc/self/status').read())\nsys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode in (0, 2)
    assert 1024 * int(re.search(r"VmHWM:\s*(\d+) kB", done.stdout)[1]) < MOST_BYTES


NASTY = "</text><script>alert(1)</script>\n  0\nLINE\n  8\nCUT_SLOTS\r\n ENDSEC ]]> <!-- (a) \\) ET /JS %%c ^J \\P {\\H9;} \u2028 \x85"


class Tags(html.parser.HTMLParser):
    """Count the tags of a page."""

    def __init__(self, page):
        super().__init__()
        self.found = {}
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.found[tag] = self.found.get(tag, 0) + 1
        assert not any(name.startswith("on") for name, _ in attrs)


def test_words_are_never_code(here):
    """What a maker writes changes the words of a file, never its shapes."""
    kept = {}
    quoted = '"' + NASTY.encode("unicode_escape").decode().replace("\\x", "\\u00").replace('"', '\\"') + '"'
    for name, words in (("plain", '"Electric six"'), ("nasty", quoted)):
        folder = here / name
        text = starters()["electric-six"].replace('"Electric six"', words, 1)
        whose = words[:59].rstrip("\\") + '"' if name == "nasty" else words
        assert '# drawn_by = "your workshop"' in text
        text = text.replace('# drawn_by = "your workshop"', f"drawn_by = {whose}", 1)
        folder.mkdir()
        (folder / "x.toml").write_text(text, "utf-8")
        (folder / "r.csv").write_text(
            'string,fret,cents,note\n1,12,3,"{}"\n'.format(NASTY.replace('"', '""') if name == "nasty" else "pings")
        )
        sheets = () if FULL else ("--sheet", "board", "--sheet", "bridge")
        for command in (("draw", folder / "x.toml", *sheets, "--out", folder, "--format", "dxf", "--format", "svg", "--format", "pdf"),
                        ("report", folder / "x.toml", "--readings", folder / "r.csv", "--out", folder / "x.html")):  # fmt: skip
            code, _, err, _ = run(*command)
            assert code == 0, err
        made = sorted(path for path in folder.iterdir() if path.suffix in (".dxf", ".svg", ".pdf", ".html"))
        kept[name] = {path.name: shapes(path) for path in made}
    assert kept["plain"] == kept["nasty"]
    assert len(kept["nasty"]) > (20 if FULL else 5)


def shapes(path):
    """Count what a file holds besides words."""
    if path.suffix == ".dxf":
        space = ezdxf.readfile(path).modelspace()
        return sorted((e.dxftype(), e.dxf.layer) for e in space if e.dxftype() != "TEXT")
    if path.suffix == ".svg":
        tags = [element.tag for element in ET.parse(path).iter()]  # noqa: S314 - our own file
        return sorted(tag for tag in tags if not tag.endswith(("text", "tspan")))
    if path.suffix == ".pdf":
        root = pypdf.PdfReader(path, strict=True).trailer["/Root"]
        return sorted(root)
    tags = Tags(path.read_text("utf-8")).found
    return {
        tag: tags.get(tag, 0) for tag in ("script", "style", "svg", "circle", "table", "a", "img", "iframe", "link")
    }
