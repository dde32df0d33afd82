"""The real server, started for the tests, and farms in folders of their own."""

from __future__ import annotations

import os
import subprocess
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from pointdown import Farm, SetUp

PROGRAM = os.environ.get("POINTDOWN_SERVER", "")


class Server:
    """`pointdown-server` on a port of its own."""

    def __init__(self, data: Path) -> None:
        self.data = data
        words = [PROGRAM, "--listen", "127.0.0.1:0", "--data", str(data)]
        env = {**os.environ, "NO_COLOR": "1", "RUST_LOG": "info"}
        self.child = subprocess.Popen(words, stderr=subprocess.PIPE, text=True, env=env)
        assert self.child.stderr is not None
        for line in self.child.stderr:
            if "serving address=" in line:
                self.url = "http://" + line.split("serving address=")[1].strip()
                break
        else:
            raise AssertionError("the server ended at once")
        # Whoever writes into a pipe that nobody reads stops some day.
        threading.Thread(target=self.child.stderr.read, daemon=True).start()

    def invite(self) -> str:
        """A code with which a device may bring its farm."""
        words = [PROGRAM, "invite", "--data", str(self.data)]
        return subprocess.run(words, check=True, capture_output=True, text=True).stdout.strip()

    def end(self) -> None:
        self.child.kill()
        self.child.wait()


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Server]:
    if not PROGRAM:
        pytest.fail("POINTDOWN_SERVER names no server; `cargo xtask bindings` sets it")
    server = Server(tmp_path / "server")
    yield server
    server.end()


@pytest.fixture
def begun(tmp_path: Path) -> Iterator[Callable[..., Farm]]:
    """Begins farms; all are closed at the end."""
    farms: list[Farm] = []

    def begin(name: str = "farm.db", person: str = "Marit", more: str | None = None) -> Farm:
        set_up = SetUp(
            name="Larkmeadow",
            zone="Europe/Dublin",
            person=person,
            device=f"{person}'s phone",
            more_json=more,
        )
        farms.append(Farm.begin(str(tmp_path / name), set_up))
        return farms[-1]

    yield begin
    for farm in farms:
        farm.shut_down()
