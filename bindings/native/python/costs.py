"""What calls into the library cost from Python, as Markdown; `cargo xtask bench --bindings` runs it."""

from __future__ import annotations

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from pointdown import Draft, Event, Farm, SetUp, Species


def took(work: Callable[[], object], times: int) -> float:
    """The median of so many runs, in microseconds."""
    all = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        all.append((time.perf_counter() - began) * 1e6)
    return statistics.median(all)


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = str(Path(folder) / "farm.db")
        farm = Farm.begin(path, SetUp(name="L", zone="UTC", person="A", device="d"))
        for name in ("Orchard", "Pond"):
            farm.log(Draft(event=Event.COOP(name=name, species=[Species.HEN])))
        days = [f"20{y:02}-{m:02}-{d:02}" for y in range(20, 24) for m in range(1, 13) for d in range(1, 29)]
        rows = "".join(f"{day},{coop},{len(day + coop)}\n" for day in days for coop in ("Orchard", "Pond"))
        farm.import_table(f"date,coop,eggs\n{rows}".encode(), "date=date,coop=coop,eggs=eggs", False)
        today = farm.today()
        gather = Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=12))
        lines = [
            ("a plain call (id)", took(farm.id, 2000)),
            ("log a gather, durable", took(lambda: farm.log(gather), 100)),
            ("sheet of today", took(lambda: farm.sheet(today, today), 100)),
            ("sheet of four years", took(lambda: farm.sheet("2020-01-01", "2023-12-31"), 5)),
            ("review list", took(farm.review, 20)),
            ("256 notices", took(lambda: farm.news(0, 256), 100)),
        ]
        records = farm.record_count()
        farm.shut_down()

        def reopen() -> None:
            Farm.open(path).shut_down()

        lines.insert(1, ("open and close", took(reopen, 20)))
        print(f"| from Python, {records} records | median |\n|---|---|")
        for what, us in lines:
            shown = f"{us:.0f} µs" if us < 1000 else f"{us / 1000:.1f} ms"
            print(f"| {what} | {shown} |")


main()
