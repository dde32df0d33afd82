"""Every block of the guide runs, from top to bottom; so does the example."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest
from conftest import Server

HOME = Path(__file__).parents[1]


def test_the_guide_runs(server: Server, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = (HOME / "README.md").read_text()
    blocks = re.findall(r"^```python\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    assert len(blocks) > 5
    given = {
        "database": str(tmp_path / "farm.db"),
        "server": server.url,
        "code": server.invite(),
    }
    exec(compile("\n".join(blocks), "README.md", "exec"), given)
    said = capsys.readouterr().out
    assert "species duck allowed in coop Orchard are hen" in said
    assert "18 {<Species.HEN: 0>: 18}" in said
    assert "COLD from 32.2 °C: Hot water scalds" in said
    assert "4.50 taken; 0 sales without a price" in said and "[-1]" in said
    assert "0 waiting" in said


def test_the_example_draws_a_month(tmp_path: Path) -> None:
    month = runpy.run_path(str(HOME / "example" / "month.py"))
    picture = month["main"](tmp_path)
    assert picture.read_bytes().startswith(b"\x89PNG") and picture.stat().st_size > 10_000
