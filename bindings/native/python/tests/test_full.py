"""A disk that is full: a small file system in memory, mounted where nobody else sees it."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

# A mount namespace of its own, which ends with its last process; allowed to users on most Linuxes.
APART = ["unshare", "--mount", "--map-root-user", "sh", "-c"]
MOUNT = 'mount -t tmpfs -o size=2m none "$0"'

# Runs on the small file system.
CHILD = """
import os, subprocess, sys
from pathlib import Path
from pointdown import Draft, Event, Farm, PointdownError, SetUp, Species, kind_of

folder = Path(sys.argv[1])
farm = Farm.begin(str(folder / "farm.db"), SetUp(name="L", zone="UTC", person="A", device="d"))
farm.log(Draft(event=Event.COOP(name="Orchard", species=[Species.HEN])))
room = os.statvfs(folder)
(folder / "ballast").write_bytes(b"x" * max(0, room.f_bavail * room.f_bsize - 100_000))
gather = Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=1))
logged = 0
try:
    for logged in range(5_000):
        farm.log(gather)
    sys.exit("the disk was never full")
except PointdownError.DiskFull as e:
    assert kind_of(e) == "disk_full" and e.text, e

# What was answered for is there, what was refused is not, and totals can still be read.
def holds(farm: Farm, eggs: int) -> None:
    today = farm.today()
    assert farm.sheet(today, today).gathered.eggs == eggs, (farm.sheet(today, today), eggs)
    assert farm.record_count() == eggs and farm.check().wrong == []

assert logged > 0
holds(farm, logged)
(folder / "ballast").unlink()
farm.log(gather)
holds(farm, logged + 1)
farm.shut_down()
again = Farm.open(str(folder / "farm.db"))
holds(again, logged + 1)
again.shut_down()
print("full after", logged)
"""


def test_a_full_disk_is_said_and_nothing_is_lost(tmp_path: Path) -> None:
    if shutil.which("unshare") is None:
        pytest.skip("unshare is not here, so no small file system can be had")
    if subprocess.run([*APART, MOUNT, str(tmp_path)], capture_output=True).returncode != 0:
        pytest.skip("this machine lets nobody mount a small file system")
    words = [*APART, f'{MOUNT} && exec "$1" -c "$2" "$0"', str(tmp_path), sys.executable, CHILD]
    ran = subprocess.run(words, capture_output=True, text=True)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ran.stdout.startswith("full after ")
