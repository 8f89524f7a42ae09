"""What the tests of the commands share: the plan they begin with."""

import pytest


@pytest.fixture
def heron(run, tmp_path):
    """Begin with the starter plan heron."""
    assert run("new", "heron")[0] == 0
    return tmp_path / "heron.toml"
