"""Money, orders, stock and the sink: what a family asks once eggs are gathered."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from datetime import date, timedelta

import pytest
from pointdown import (
    Bowl,
    Count,
    CountOf,
    Draft,
    EggOfLot,
    Event,
    Farm,
    FaultOfWash,
    LotEggs,
    Means,
    Permission,
    PointdownError,
    Sink,
    Species,
    Station,
    Verdict,
    What,
)

HEN, DUCK = Species.HEN, Species.DUCK
WEEK = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]


def orchard(begun: Callable[..., Farm], since_ms: int | None = None) -> tuple[Farm, str]:
    farm = begun(more=json.dumps({"rule_pack": "us_federal", "currency": "EUR"}))
    farm.log(Draft(event=Event.COOP(name="Orchard", species=[HEN]), at_ms=since_ms))
    farm.log(Draft(event=Event.GATHER(coop="Orchard", species=HEN, count=36)))
    return farm, f"{farm.today()}/hen"


def pack(farm: Farm, lot: str, cartons: int) -> str:
    event = Event.CARTON(
        parts=[LotEggs(lot=lot, eggs=12 * cartons)],
        from_station=Station.BASKET,
        species=HEN,
        eggs_per_carton=12,
        cartons=cartons,
        packed=farm.today(),
    )
    return farm.log(Draft(event=event)).id


def test_takings_and_costs_say_what_is_unknown(begun: Callable[..., Farm]) -> None:
    farm, lot = orchard(begun)
    today, run = farm.today(), pack(farm, lot, 3)
    parts = farm.of_run(run, 1)
    assert parts == [LotEggs(lot=lot, eggs=12)]
    for to, price in [("Neighbour Roe", "4.50"), ("Neighbour Roe", None), (None, "5.00")]:
        out = Event.OUT(way="sold", parts=parts, carton=run, cartons=1, to=to, price=price)
        farm.log(Draft(event=out))
    takings = farm.takings(today, today)
    assert (takings.all.taken, takings.currency) == ("9.50", "EUR")
    assert (takings.all.sales, takings.all.sales_without_price) == (3, 1)
    by = {one.who: one.taken for one in takings.by_outlet}
    assert by["Neighbour Roe"].taken == "4.50" and by[None].per_dozen == "5.00"
    [kind] = takings.cartons
    assert (kind.cartons, kind.without_price) == (2, 1)
    assert (kind.lowest, kind.mean, kind.highest) == ("4.50", "4.75", "5.00")
    with pytest.raises(PointdownError.Invalid):
        farm.of_run(run, 1)

    farm.log(Draft(event=Event.OTHER(kind="feed", fields_json='{"kg": 6, "cost": "9.00"}')))
    farm.log(Draft(event=Event.OTHER(kind="supply", fields_json='{"item": "cartons"}')))
    costs = farm.costs(today, today)
    assert (costs.feed.cost, costs.feed_per_dozen, costs.feed_kg_per_dozen) == ("9.00", "3.00", 2.0)
    assert costs.supplies["cartons"].without_cost == 1 and not costs.complete
    assert costs.supplies_per_dozen is None and costs.gathered == 36
    with pytest.raises(PointdownError.Invalid):
        farm.takings(today, "2020-01-01")


def test_standing_orders_are_held_against_the_forecast(begun: Callable[..., Farm]) -> None:
    long_ago = int(time.time() * 1000) - 30 * 86_400_000
    farm, _ = orchard(begun, long_ago)
    assert farm.orders(7) == []
    fields = {
        "name": "Lane stall",
        "standing_order": {day: 1 for day in WEEK},
        "order_species": "hen",
        "order_eggs_per_carton": 12,
    }
    farm.log(Draft(event=Event.OTHER(kind="outlet", fields_json=json.dumps(fields))))
    [orders] = farm.orders(7)
    assert [(o.name, o.cartons, o.eggs_per_carton) for o in orders.standing] == 7 * [
        ("Lane stall", 1, 12)
    ]
    assert (orders.on_hand, orders.enough_now) == (36, True)
    assert orders.forecast is None and orders.why_not

    # Three weeks of rounds and a headcount later there is one.
    today = date.fromisoformat(farm.today())
    days = [today - timedelta(n) for n in range(1, 22)]
    rows = "".join(f"{day},Orchard,{20 + day.day % 3}\n" for day in days)
    report = farm.import_table(f"date,coop,eggs\n{rows}".encode(), "date=date,coop=coop,eggs=eggs", False)
    assert report.errors == []
    count = Event.HEADCOUNT(coop="Orchard", species=HEN, birds=24)
    farm.log(Draft(event=count, at_ms=long_ago))
    [orders] = farm.orders(7)
    assert orders.why_not is None and orders.forecast is not None
    forecast = orders.forecast
    assert 0.8 < forecast.baseline.rate < 0.95
    # Today's round is in hand already, so day 1 is tomorrow.
    assert orders.first == str(today + timedelta(1))
    assert [day.day for day in forecast.days] == list(range(1, 7))
    first = forecast.days[0]
    assert first.eggs_least <= first.eggs <= first.eggs_most
    assert forecast.orders[0].needed == 12 and forecast.orders[0].promised
    assert forecast.orders[0].caution and 0 <= forecast.all_orders_chance <= 1
    with pytest.raises(PointdownError.Invalid) as caught:
        farm.orders(61)
    assert (caught.value.field, caught.value.allowed) == ("days", "allowed are 1 to 60")


def test_a_stocktake_is_held_against_the_book(begun: Callable[..., Farm]) -> None:
    farm, lot = orchard(begun)
    records = farm.record_count()
    one = Count(of=CountOf.ONE_LOT(lot=lot), eggs=30)
    for wrong in ([], [one, one], [one, Count(of=CountOf.WHOLE(species=HEN), eggs=30)]):
        with pytest.raises(PointdownError.Invalid):
            farm.stocktake(Station.BASKET, wrong)
    with pytest.raises(PointdownError.Invalid) as caught:
        farm.stocktake(Station.BASKET, [Count(of=CountOf.ONE_LOT(lot="today"), eggs=3)])
    assert (caught.value.field, caught.value.value) == ("lot", "today")
    assert farm.record_count() == records

    found = farm.stocktake(Station.BASKET, [Count(of=CountOf.WHOLE(species=DUCK), eggs=0)])
    assert found.not_counted == [LotEggs(lot=lot, eggs=36)] and found.counted[0].line is None
    found = farm.stocktake(Station.BASKET, [one])
    [counted] = found.counted
    assert (counted.expected, counted.counted, counted.difference) == (36, 30, -6)
    assert counted.by_lot == [LotEggs(lot=lot, eggs=-6)] and counted.of == one.of
    assert found.not_counted == [] and found.station is Station.BASKET
    [line] = [line for line in farm.review() if line.tag == counted.line]
    assert isinstance(line.what, What.STOCKTAKE) and line.records[0] == counted.record


def test_the_sink_says_what_is_right_and_what_is_wrong(begun: Callable[..., Farm]) -> None:
    farm = begun()
    spray = Sink(species=HEN, means=Means.SPRAY, egg_c=20.0, water_c=38.0)
    assert farm.sink(spray) is None, "a farm without rules has no advice"
    farm.amend(farm.id(), '{"rule_pack": "us_federal"}', None)
    advice = farm.sink(spray)
    assert advice is not None and advice.window is not None
    assert round(advice.window.low_c, 1) == 32.2 and advice.window.high_c is not None
    assert (advice.permission, advice.verdict) == (Permission.ALLOWED, Verdict.RIGHT)
    assert advice.faults == [] and advice.capacity is None
    assert advice.why and all(reason.source for reason in advice.why) and advice.caution

    bowl = Bowl(litres=10.0, room_c=18.0, each_minutes=0.5, egg_grams=60.0)
    basin = Sink(species=HEN, means=Means.BASIN, egg_c=20.0, water_c=38.0, bowl=bowl)
    advice = farm.sink(basin)
    assert advice is not None and advice.capacity is not None
    assert advice.capacity.eggs > 0 and advice.capacity.end_c >= 32.2
    cold = farm.sink(Sink(species=HEN, means=Means.SPRAY, egg_c=20.0, water_c=25.0))
    assert cold is not None and cold.verdict is Verdict.COLD
    assert [fault.what for fault in cold.faults] == [FaultOfWash.WATER_TOO_COLD]
    chilled = farm.sink(Sink(species=HEN, means=Means.SPRAY, egg_c=5.0, water_c=35.0))
    assert chilled is not None and chilled.window is None and chilled.temper_c is not None
    assert round(chilled.temper_c, 1) == 10.0 and chilled.verdict is Verdict.UNKNOWN
    with pytest.raises(PointdownError.Invalid) as caught:
        farm.sink(Sink(species=HEN, means=Means.SPRAY, egg_c=80.0))
    assert caught.value.field == "egg temperature" and "50 °C" in str(caught.value.allowed)


def test_even_cartons_of_eggs_whose_lots_are_known(begun: Callable[..., Farm]) -> None:
    farm, lot = orchard(begun)
    eggs = [EggOfLot(lot=lot, grams=58.0 + n / 4) for n in range(7)]
    plan = farm.even_cartons_of(eggs, [6], False)
    assert [len(carton.eggs) for carton in plan.cartons] == [6] and len(plan.left_over) == 1
    stale = EggOfLot(lot="2020-01-01/hen", grams=58.0)
    plan = farm.even_cartons_of([stale] + eggs[:5], [6], False)
    assert plan.cartons == [] and {egg.egg for egg in plan.left_over} == set(range(1, 7))
