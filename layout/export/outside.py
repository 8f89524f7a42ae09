"""What the libraries behind the formats would take from outside, kept out: a drawing is the same everywhere.

They read settings from the environment, from the home and from the folder they are started in; one of these that
is broken, or that somebody made for another purpose, must neither change a drawing nor stop it.
"""

from __future__ import annotations

import os
import sys
from configparser import ConfigParser
from contextlib import contextmanager
from types import ModuleType
from typing import TYPE_CHECKING, Any, Final

if TYPE_CHECKING:
    from collections.abc import Iterator

_VARIABLES: Final = ("RL_", "EZDXF_", "SOURCE_DATE_EPOCH")  # names, or how they begin
_SETTINGS: Final = ("reportlab.local_rl_settings", "reportlab_settings")  # modules that would be run


@contextmanager
def kept_out() -> Iterator[None]:
    """Import or use these libraries as if nobody had set anything for them."""
    held = {name: os.environ.pop(name) for name in [*os.environ] if name.startswith(_VARIABLES)}
    blank = [name for name in _SETTINGS if name not in sys.modules]
    sys.modules.update({name: ModuleType(name) for name in blank})
    read = ConfigParser.read
    ConfigParser.read = _read_nothing  # type: ignore[method-assign, assignment]
    try:
        yield
    finally:
        ConfigParser.read = read  # type: ignore[method-assign]
        for name in blank:
            sys.modules.pop(name, None)
        os.environ.update(held)


def _read_nothing(*_: Any, **__: Any) -> list[str]:  # noqa: ANN401 - whatever it is asked
    return []
