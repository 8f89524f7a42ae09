"""A desk to knock at: answers without a network, and a real one in a process of its own."""

import os
import subprocess
import sys
import threading
from contextlib import ExitStack

import pytest
from starlette.testclient import TestClient

from slotwright.cli.desk.keeper import Keeper
from slotwright.cli.desk.server import guarded, listen, set_up
from slotwright.templates import starters

TOKEN = "of-the-tests"  # noqa: S105 - of no other desk
PORT = 8080


@pytest.fixture
def lay(tmp_path):
    """Lay a starter on a desk; give the client that has its token, and the plan file."""
    with ExitStack() as stack:

        def once(name="electric-six", text=None):
            path = tmp_path / f"{name}.toml"
            path.write_bytes(text or starters()[name].encode())
            keeper = Keeper.of(path)
            stack.callback(keeper.close)
            app, _ = guarded(keeper, PORT, TOKEN)
            return stack.enter_context(TestClient(app, f"http://127.0.0.1:{PORT}/{TOKEN}/")), path

        yield once


@pytest.fixture
def opened(tmp_path):
    """Start the command itself; give the process and the address that it prints."""
    begun = []

    def once(*args):
        process = subprocess.Popen(
            [sys.executable, "-m", "slotwright.cli", "desk", *map(str, args), "--no-browser"],
            cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            env={**os.environ, "PYTHONUNBUFFERED": ""},
        )  # fmt: skip
        begun.append(process)
        return process, process.stdout.readline()

    yield once
    for process in begun:
        process.kill()
        process.communicate()


@pytest.fixture
def serving():
    """Serve a desk in a thread; give its address."""
    running = []

    def once(begun):
        door = listen(0)
        address, server = set_up(begun, door)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [door]})
        thread.start()
        running.append((server, thread))
        return address

    yield once
    for server, thread in running:
        server.should_exit = True
        thread.join()
