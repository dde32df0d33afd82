"""A type checker follows the library: the guide and the tests pass its strictest reading."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

HOME = Path(__file__).parents[1]

WRONG = """from pointdown import Event, PointdownError, Species, What


def misspelt(what: What) -> None:
    assert isinstance(what, What.SAME_NAME)
    print(what.nom)


try:
    Event.GATHER(coop="Orchard", species=Species.HEN, count="many")
except PointdownError.Invalid as e:
    print(e.allowed.upper())
"""


def checked(folder: Path, *files: Path) -> tuple[int, str]:
    words = [sys.executable, "-m", "mypy", "--strict", "--no-error-summary", "--hide-error-context"]
    words += ["--cache-dir", str(folder / "cache"), *map(str, files)]
    ran = subprocess.run(words, capture_output=True, text=True, cwd=HOME / "tests")
    return ran.returncode, ran.stdout + ran.stderr


def test_the_guide_and_the_tests_pass_a_strict_type_checker(tmp_path: Path) -> None:
    blocks = re.findall(
        r"^```python\n(.*?)^```$", (HOME / "README.md").read_text(), re.MULTILINE | re.DOTALL
    )
    guide = tmp_path / "guide.py"
    guide.write_text("database: str\nserver: str\ncode: str\n" + "\n".join(blocks))
    tests = sorted((HOME / "tests").glob("*.py"))
    assert len(blocks) > 5 and len(tests) > 5
    assert checked(tmp_path, guide, HOME / "costs.py", *tests) == (0, "")


def test_what_is_wrong_is_found(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.py"
    wrong.write_text(WRONG)
    code, said = checked(tmp_path, wrong)
    found = re.findall(r"wrong\.py:(\d+): error: .*\[([a-z-]+)\]", said)
    assert code == 1 and found == [
        ("6", "attr-defined"),
        ("10", "arg-type"),
        ("12", "union-attr"),
    ], said


def test_the_types_say_what_the_library_has(tmp_path: Path) -> None:
    # What is there at run time and not in the stub is the generator's own. Of objects the stub says
    # neither how they are made inside nor the protocol behind them.
    own = "pointdown._native.pointdown"
    allowed = tmp_path / "allowed.txt"
    allowed.write_text("\n".join([f"{own}.CancelToken", f"{own}.Farm", f"{own}.Farm.__init__"]))
    words = [sys.executable, "-m", "mypy.stubtest", own, "--concise", "--ignore-missing-stub"]
    words += ["--allowlist", str(allowed)]
    ran = subprocess.run(words, capture_output=True, text=True, cwd=tmp_path)
    assert ran.returncode == 0, ran.stdout + ran.stderr
