"""What stands around a command: settings for libraries, homes, streams, clocks. None changes or stops a drawing.

``SLOTWRIGHT_DEEP=5000 python -m pytest tests/cli/test_environment.py`` tries as many others.
"""

import io
import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from helpers import prove, some
from hypothesis import strategies as st

from slotwright.cli import main
from slotwright.templates import starters

UTF_16 = b"\xff\xfe[\x00c\x00"
SETTINGS = {  # variables, and files by their place in the home, which is the working folder too
    "a time that is none": ({"SOURCE_DATE_EPOCH": "abc"}, {}),
    "another time": ({"SOURCE_DATE_EPOCH": "0", "TZ": "Pacific/Kiritimati"}, {}),
    "settings of the PDF library": ({"RL_pageCompression": "x", "RL_defaultPageSize": "y", "RL_invariant": "z"}, {}),
    "a file of settings in UTF-16": ({}, {"ezdxf.ini": UTF_16, ".config/ezdxf/ezdxf.ini": UTF_16}),
    "a file of settings that is none": ({}, {"ezdxf.ini": b"[[rub\nbish"}),
    "a setting that is none": ({}, {"ezdxf.ini": b"[core]\nwrite_fixed_meta_data_for_testing = maybe\n"}),
    "a file named elsewhere": ({"EZDXF_CONFIG_FILE": "other.ini", "EZDXF_DISABLE_C_EXT": "maybe"}, {"other.ini": b"[["}),
    "settings that are a program": ({}, {".reportlab_settings": b"1/0", "reportlab_settings.py": b"raise SystemExit(3)"}),
    "nothing at all": ({"HOME": ""}, {}),
    "a Turkish machine": ({"LC_ALL": "tr_TR.UTF-8", "LANG": "tr_TR"}, {}),
    "an old machine": ({"LC_ALL": "C", "PYTHONUTF8": "0", "PYTHONIOENCODING": "ascii"}, {}),
    "warnings that are errors": ({"PYTHONWARNINGS": "error", "PYTHONDEVMODE": "1"}, {}),
    "a terminal that is none": ({"COLUMNS": "abc", "LINES": "-4", "TERM": "", "FORCE_COLOR": "1"}, {}),
}  # fmt: skip
DRAW = (
    "draw",
    "heron.toml",
    "--sheet",
    "nut",
    "--format",
    "dxf",
    "--format",
    "svg",
    "--format",
    "pdf",
    "--out",
    "out",
)


def drawn(folder, variables, files):
    """Draw as a user does, with these things around; give every file that comes out."""
    folder.mkdir()
    for name, content in {"heron.toml": starters()["electric-six"].encode(), **files}.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    around = {"PATH": os.environ["PATH"], "HOME": str(folder), "PYTHONPATH": str(folder), **variables}
    done = subprocess.run(
        [sys.executable, "-m", "slotwright.cli", *DRAW], cwd=folder, env=around, capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")
    return {path.name: path.read_bytes() for path in (folder / "out").iterdir()}


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return drawn(tmp_path_factory.mktemp("plain") / "desk", {}, {})


@pytest.mark.parametrize("setting", some(SETTINGS, 4))
def test_a_drawing_is_the_same_whatever_is_set(tmp_path, plain, setting):
    assert len(plain) == 3
    assert drawn(tmp_path / "desk", *SETTINGS[setting]) == plain


NAMES = (
    "SOURCE_DATE_EPOCH", "RL_pageCompression", "RL_invariant", "RL_T1SearchPath", "RL_rtlSupport", "EZDXF_CONFIG_FILE",
    "EZDXF_TEST_FILES", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME", "HOME", "TMPDIR", "TZ", "LC_ALL", "LANG",
    "COLUMNS", "LINES", "TERM", "NO_COLOR", "FORCE_COLOR", "PYTHONPATH", "PAGER", "USER", "OMP_NUM_THREADS",
    "OPENBLAS_NUM_THREADS", "_SLOTWRIGHT_COMPLETE",
)  # fmt: skip
VALUES = (
    "",
    "0",
    "1",
    "-1",
    "abc",
    "/nowhere",
    ".",
    "\udcff",
    "x" * 5000,
    "tr_TR.UTF-8",
    "bash_source",
    "1e999",
    "\u5b57",
)
FILES = (
    "ezdxf.ini",
    ".config/ezdxf/ezdxf.ini",
    ".cache/ezdxf/fonts.json",
    ".reportlab_settings",
    "reportlab_settings.py",
)
CONTENTS = (b"", UTF_16, b"[[rub\nbish", b"1/0", b"[core]\nsupport_dirs = \xff", b"\x00" * 99)
COMMANDS = (
    ("check", "heron.toml"),
    ("frets", "heron.toml", "--csv"),
    ("compensate", "heron.toml", "--json"),
    ("draw", "heron.toml", "--sheet", "slots", "--format", "dxf"),
    ("draw", "heron.toml", "--sheet", "nut", "--format", "pdf", "--paper", "a4"),
    ("draw", "heron.toml", "--sheet", "radius", "--format", "svg"),
    ("bench", "heron.toml", "none.csv"),
    ("new", "other"),
)
ENCODINGS = ("utf-8", "ascii", "latin-1", "cp1252", "utf-16")


@pytest.mark.parametrize("part", range(2))
def test_any_environment(part):
    """Run commands in children of this process, each with things around it that nobody foresaw."""

    def holds(drawn):
        command, variables, files, encoding, strict, title = drawn
        with tempfile.TemporaryDirectory() as folder:
            child = os.fork()
            if not child:
                _child(Path(folder), command, variables, files, encoding, strict, title)
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            told = (Path(folder) / "told").read_bytes().decode(encoding, "replace")
        assert code in (0, 1, 2), told
        assert "Traceback" not in told

    variables = st.dictionaries(st.sampled_from(NAMES), st.sampled_from(VALUES), max_size=4)
    files = st.dictionaries(st.sampled_from(FILES), st.sampled_from(CONTENTS), max_size=2)
    streams = st.sampled_from(ENCODINGS), st.sampled_from(("strict", "surrogateescape", "replace"))
    titles = st.sampled_from(("Heron", "\u5b57\u2014\u00e9", "\U0001f3b8", "%%d \\U+0041", "\u202e<b>"))
    prove(holds, st.tuples(st.sampled_from(COMMANDS), variables, files, *streams, titles), 150, part)


def _child(folder, command, variables, files, encoding, errors, title):
    """Be the command: never come back."""
    code = 70
    try:
        os.chdir(folder)
        plan = (
            starters()["electric-six"].replace('title = "Electric six"', f'title = "{title}"').replace("\\U", "\\\\U")
        )
        for name, content in {"heron.toml": plan.encode(), **files}.items():
            Path(name).parent.mkdir(parents=True, exist_ok=True)
            Path(name).write_bytes(content)
        os.environ.update({"HOME": str(folder), **variables})
        told = Path("told").open("wb", buffering=0)  # noqa: SIM115 - closed with the process
        sys.stdout = sys.stderr = io.TextIOWrapper(told, encoding, errors, write_through=True)
        main(list(command))
        code = 0
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 71
    except BaseException:  # noqa: BLE001 - whatever it is, it must be told
        import traceback

        sys.stderr.write(traceback.format_exc())
    finally:
        os._exit(code)
