# %% [markdown]
# # A month of two flocks, from a real database
#
# Cells are marked as editors with notebooks know them; as a script it does the same:
# `python month.py FOLDER` draws `month.png`.

# %%
from __future__ import annotations

import sys
from datetime import date, datetime, time, timedelta
from pathlib import Path

import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt
from pointdown import Draft, Event, Farm, SetUp, Species, using

FIRST = date(2026, 3, 1)
DAYS = 31

# %% [markdown]
# ## A made-up family's table
#
# Hens that lay better as days grow longer, ducks that began on the tenth, and a weekend on which nobody
# logged anything.


# %%
def begin(folder: Path) -> Farm:
    farm = Farm.begin(
        str(folder / "month.db"),
        SetUp(name="Larkmeadow", zone="Europe/Dublin", person="Marit", device="laptop"),
    )
    farm.log(Draft(event=Event.COOP(name="Orchard", species=[Species.HEN])))
    farm.log(Draft(event=Event.COOP(name="Pond", species=[Species.DUCK])))
    rows = ["date,coop,species,eggs"]
    for n in range(DAYS):
        day = FIRST + timedelta(n)
        if n in (13, 14):
            continue
        rows.append(f"{day},Orchard,hen,{14 + n // 4 + n * 7 % 5}")
        if n >= 9:
            rows.append(f"{day},Pond,duck,{6 + n * 5 % 4}")
    columns = "date=date,coop=coop,species=species,eggs=eggs"
    report = farm.import_table("\n".join(rows).encode(), columns, False)
    assert not report.errors, report.errors
    return farm


# %% [markdown]
# ## Drawn as it is known
#
# A day without a round is unknown, not zero: it is hatched, and no line runs through it.


# %%
def draw(farm: Farm, picture: Path) -> None:
    days = [FIRST + timedelta(n) for n in range(DAYS)]
    span = farm.span(str(days[0]), str(days[-1]), None)
    eggs: dict[str, dict[str, int | None]] = {}
    for day in span.by_day:
        for flock in day.flocks:
            eggs.setdefault(flock.name, {})[day.day] = flock.eggs
    figure, axes = plt.subplots(figsize=(9, 4), layout="constrained")
    for name, known in sorted(eggs.items()):
        counts = [known.get(str(day)) for day in days]
        shown = [float("nan") if n is None else n for n in counts]
        axes.plot(days, shown, marker="o", markersize=4, label=name)
    told = {day.day for day in span.by_day if day.eggs is not None}
    unknown = [day for day in days if str(day) not in told]
    for n, day in enumerate(unknown):
        midnight = datetime.combine(day, time())
        axes.axvspan(
            midnight - timedelta(hours=12),
            midnight + timedelta(hours=12),
            facecolor="none",
            edgecolor="0.7",
            hatch="///",
            linewidth=0,
            label="unknown" if n == 0 else None,
        )
    axes.set_ylim(bottom=0)
    axes.set_ylabel("eggs a day")
    axes.set_title(f"{farm.name()}, {FIRST:%B %Y}")
    axes.legend()
    figure.autofmt_xdate()
    figure.savefig(picture, dpi=120)
    plt.close(figure)


# %%
def main(folder: Path) -> Path:
    picture = folder / "month.png"
    with using(begin(folder)) as farm:
        draw(farm, picture)
    return picture


if __name__ == "__main__":
    print(main(Path(sys.argv[1] if len(sys.argv) > 1 else ".")))
