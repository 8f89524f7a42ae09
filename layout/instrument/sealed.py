"""Results that nobody can alter by accident."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from typing import TypeVar

import numpy as np

_Result = TypeVar("_Result")


def sealed(result: _Result) -> _Result:
    """Make every array inside a result read-only, however deep it lies in dataclasses and tuples.

    Parameters
    ----------
    result
        What was computed.

    Returns
    -------
    object
        The same.
    """
    if isinstance(result, np.ndarray):
        result.setflags(write=False)
    elif isinstance(result, tuple):
        for each in result:
            sealed(each)
    elif is_dataclass(result):
        for field in fields(result):
            sealed(getattr(result, field.name))
    return result
