"""The vectors that every language runs: the same drafts give the same errors, sheets, lists, labels."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pointdown import (
    Bowl,
    Choice,
    Costs,
    Count,
    CountOf,
    Draft,
    Event,
    Farm,
    Finding,
    LotEggs,
    Means,
    PointdownError,
    SetUp,
    Sheet,
    Sink,
    SinkAdvice,
    Species,
    Station,
    Stocktake,
    Taken,
    Takings,
    kind_of,
    using,
)

HERE = Path(os.environ.get("POINTDOWN_VECTORS", Path(__file__).parents[2] / "vectors"))
VECTOR: dict[str, Any] = json.loads((HERE / "day.json").read_text())
RENAMED = {"use": "used_for"}


def word(value: object) -> str:
    return str(getattr(value, "name")).lower()


def variant(value: object) -> str:
    # The generated name is `What.HELD_EGGS`.
    return type(value).__name__.rsplit(".", 1)[-1].lower()


def told(sheet: Sheet) -> list[str]:
    g = sheet.gathered
    lines = [f"gathered {g.eggs} floor {g.floor_laid}"]
    for row in g.by_coop:
        eggs = "unknown" if row.eggs is None else row.eggs
        d = row.days
        lines.append(
            f"coop {row.name} {word(row.species)} {eggs} floor {row.floor_laid} rounds {row.rounds} "
            f"known {d.known} zero {d.zero} unknown {d.unknown}"
        )
    for what, all in [
        ("by", g.by_person),
        ("pulled", sheet.pulled.by_reason),
        ("pulled for", sheet.pulled.by_use),
        ("washed", sheet.washed),
        ("candled", sheet.candled),
        ("out", sheet.out.eggs),
        ("out in cartons", sheet.out.cartons),
    ]:
        lines += [f"{what} {of} {n}" for of, n in all.items()]
    lines += [f"gathered {word(s)} {n}" for s, n in g.by_species.items()]
    lines += [f"unaccounted {word(s)} {n}" for s, n in sheet.unaccounted.items()]
    lines += [f"mean {word(s)} {n:.2f}" for s, n in sheet.mean_grams.items()]
    for c in sheet.cartoned:
        lines.append(
            f"cartoned {word(c.species)} [{c.size}] {c.cartons} of {c.eggs_per_carton} eggs {c.eggs}"
        )
    for h in sheet.on_hand:
        lots = " ".join(f"{one.lot}={one.eggs}" for one in h.lots)
        lines.append(f"on hand {word(h.station)} {word(h.species)} {h.eggs} {lots}")
    return sorted(lines)


def told_choice(choice: Any) -> str:
    match variant(choice):
        case "keep":
            return f"keep {choice.value_json}"
        case "pull_held":
            return f"pull_held {len(choice.cartons)}"
        case "shift":
            return f"shift {choice.by_s}"
        case other:
            return other


def told_finding(finding: Finding) -> str:
    w: Any = finding.what
    match variant(w):
        case "held_eggs":
            shelf = sum(run.cartons for run in w.on_shelf)
            what = f"held_eggs shelf {shelf} gone {len(w.gone)} certain {str(w.certain).lower()}"
        case "overdraw":
            what = f"overdraw {word(w.place)} {w.lot} {w.eggs}"
        case "count_overtaken":
            what = f"count_overtaken {w.counted} {w.then} {w.now}"
        case "breach":
            what = f"breach {w.rule}"
        case "same_name":
            what = f"same_name {w.name}"
        case "misdated":
            what = f"misdated {word(w.how)}"
        case other:
            what = other
    choices = ", ".join(told_choice(c) for c in finding.choices)
    return f"{word(finding.weight)} {what} records {len(finding.records)}: {choices}"


def told_taken(who: str, t: Taken) -> str:
    return (
        f"{who} {t.taken} back {t.paid_back} sales {t.sales} unpriced {t.sales_without_price} "
        f"sold {t.sold} cartons {t.cartons} given {t.given} eaten {t.eaten} returned {t.returned} "
        f"dozen {t.per_dozen or 'unknown'}"
    )


def told_money(takings: Takings, costs: Costs) -> list[str]:
    lines = [told_taken("all", takings.all)]
    lines += [told_taken(one.who or "nobody", one.taken) for one in takings.by_outlet]
    for k in takings.cartons:
        lines.append(
            f"carton {word(k.species)} {k.eggs_per_carton or 0} [{k.size or ''}] {k.cartons} for "
            f"{k.taken} mean {k.mean or 'unknown'} from {k.lowest or 'unknown'} to "
            f"{k.highest or 'unknown'} unpriced {k.without_price}"
        )
    feed = costs.feed
    lines.append(
        f"feed {feed.cost} records {feed.records} without {feed.without_cost} kg {costs.feed_kg:.2f}"
    )
    for item, spent in costs.supplies.items():
        lines.append(
            f"supply {item} {spent.cost} records {spent.records} without {spent.without_cost}"
        )
    lines.append(
        f"dozen feed {costs.feed_per_dozen or 'unknown'} supplies "
        f"{costs.supplies_per_dozen or 'unknown'} kg {costs.feed_kg_per_dozen or 0.0:.3f} of "
        f"{costs.gathered} gathered unknown {costs.unknown_flock_days} "
        f"complete {str(costs.complete).lower()}"
    )
    return lines


def told_sink(advice: SinkAdvice) -> str:
    def degrees(c: float | None) -> str:
        return "none" if c is None else f"{c:.1f}"

    window, capacity = advice.window, advice.capacity
    low, high = (window.low_c, window.high_c) if window else (None, None)
    faults = ", ".join(word(fault.what) for fault in advice.faults)
    return (
        f"{word(advice.permission)} window {degrees(low)} to {degrees(high)} "
        f"temper {degrees(advice.temper_c)} water {word(advice.verdict)} "
        f"takes {capacity.eggs if capacity else 0}: {faults}"
    )


def told_stocktake(found: Stocktake) -> list[str]:
    lines = []
    for c in found.counted:
        assert isinstance(c.of, (CountOf.ONE_LOT, CountOf.WHOLE))
        of = c.of.lot if isinstance(c.of, CountOf.ONE_LOT) else word(c.of.species)
        asks = str(c.line is not None).lower()
        lines.append(
            f"{of} expected {c.expected} counted {c.counted} difference {c.difference} "
            f"explained {len(c.explained_by)} asks {asks}"
        )
    return lines + [f"not counted {one.lot}={one.eggs}" for one in found.not_counted]


def asked(farm: Farm) -> None:
    """What is asked once everything was logged: money, the sink, and a stocktake, which logs."""
    for span in VECTOR["takings"]:
        days = span["first"], span["last"]
        assert told_money(farm.takings(*days), farm.costs(*days)) == span["lines"]
    for given in VECTOR["sinks"]:
        advice = farm.sink(
            Sink(
                species=Species[given["species"].upper()],
                means=Means[given["means"].upper()],
                egg_c=given["egg_c"],
                water_c=given.get("water_c"),
                bowl=Bowl(litres=10.0, room_c=18.0, each_minutes=0.5, egg_grams=60.0),
            )
        )
        assert advice is not None and told_sink(advice) == given["line"]
    for stock in VECTOR["stocktakes"]:
        counts = [Count(of=CountOf.ONE_LOT(lot=lot), eggs=n) for lot, n in stock["lots"].items()]
        for of, n in stock["species"].items():
            counts.append(Count(of=CountOf.WHOLE(species=Species[of.upper()]), eggs=n))
        station = Station[stock["station"].upper()]
        found = farm.stocktake(station, counts, stock["at_ms"])
        assert told_stocktake(found) == stock["lines"]


def as_json(kind: str, fields: dict[str, Any]) -> Event:
    return Event.OTHER(kind=kind, fields_json=json.dumps(fields))


def as_type(kind: str, fields: dict[str, Any]) -> Event | None:
    """The draft by its type; nothing where types cannot even say it."""
    made = getattr(Event, kind.upper(), None)
    if made is None:
        return None
    typed: dict[str, Any] = {}
    for name, value in fields.items():
        name = {"from": "from_station" if kind == "carton" else "first"}.get(name, name)
        if name == "species" and isinstance(value, list):
            value = [Species[one.upper()] for one in value]
        elif name == "species":
            if value.upper() not in Species.__members__:
                return None
            value = Species[value.upper()]
        elif name in ("station", "from_station"):
            value = Station[value.upper()]
        elif name == "parts":
            value = [LotEggs(lot=lot, eggs=eggs) for lot, eggs in value.items()]
        elif name in ("count", "floor_laid") and not (isinstance(value, int) and value >= 0):
            return None
        elif name == "air_c" and not isinstance(value, float):
            return None
        typed[RENAMED.get(name, name)] = value
    try:
        event: Event = made(**typed)
    except TypeError:
        return None
    return event


def run(farm: Farm, event_of: Callable[[str, dict[str, Any]], Event | None]) -> int:
    """How many drafts could be said at all."""
    ids: dict[str, str] = {}
    said = 0

    def fill(value: Any) -> Any:
        text = re.sub(r'"\$(\w+)"', lambda found: f'"{ids[found[1]]}"', json.dumps(value))
        return json.loads(text)

    for n, step in enumerate(VECTOR["steps"]):
        try:
            if "amend" in step:
                target = fill(step["amend"])
                farm.amend(target, json.dumps(fill(step["set"])), step.get("why"))
            elif "void" in step:
                farm.void(fill(step["void"]), step["why"])
            else:
                fields = fill(step["log"])
                kind, at_ms = fields.pop("kind"), fields.pop("at_ms", None)
                event = event_of(kind, fields)
                if event is None and "fails" in step:
                    continue
                said += event is not None
                logged = farm.log(Draft(event=event or as_json(kind, fields), at_ms=at_ms))
                if "as" in step:
                    ids[step["as"]] = logged.id
            assert "fails" not in step, f"step {n} was to fail: {step}"
        except PointdownError.Invalid as e:
            due = step.get("fails")
            assert due is not None, f"step {n}: {e.text}"
            assert (kind_of(e), e.field, e.allowed) == (due["kind"], due["field"], due["allowed"])
            value = e.value
            for name, id in ids.items():
                value = value and value.replace(id, f"${name}")
            # Text, not JSON, where a type said it.
            assert value == due["value"] or event_of is as_type, f"step {n}"
    for sheet in VECTOR["sheets"]:
        assert told(farm.sheet(sheet["first"], sheet["last"])) == sheet["lines"]
    assert [told_finding(f) for f in farm.review()] == VECTOR["review"]
    for label in VECTOR["labels"]:
        printed = farm.label(fill(label["carton"]))
        assert [line.text for line in printed.lines] == label["lines"]
    asked(farm)
    return said


@pytest.mark.parametrize("event_of", [as_json, as_type])
def test_the_same_drafts_give_the_same(
    event_of: Callable[[str, dict[str, Any]], Event | None], tmp_path: Path
) -> None:
    given = VECTOR["set_up"]
    set_up = SetUp(
        name=given["name"],
        zone=given["zone"],
        person=given["person"],
        device=given["device"],
        more_json=json.dumps(given["more"]),
    )
    with using(Farm.begin(str(tmp_path / "farm.db"), set_up)) as farm:
        assert run(farm, event_of) > 30


def test_a_choice_has_a_type_of_its_own() -> None:
    choices: list[Choice] = [Choice.BOTH_RIGHT(), Choice.VOID(record="x"), Choice.SEEN()]
    assert choices.index(Choice.SEEN()) == 2 and choices.index(Choice.VOID(record="x")) == 1
    assert Choice.VOID(record="y") not in choices
