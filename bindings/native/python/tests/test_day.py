"""A whole family's day: three phones with files of their own, and the real server."""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest
from conftest import Server
from pointdown import (
    Choice,
    Draft,
    Event,
    Farm,
    Filter,
    LotEggs,
    Paper,
    PointdownError,
    Question,
    Share,
    Species,
    Station,
    Step,
    What,
    Weight,
    fields_of,
    restore,
    using,
    verify_backup,
)

HEN, DUCK = Species.HEN, Species.DUCK


def gather(farm: Farm, coop: str, species: Species, count: int) -> str:
    event = Event.GATHER(coop=coop, species=species, count=count)
    return farm.log(Draft(event=event)).id


def settle(*farms: Farm) -> None:
    """Everyone syncs until nobody has anything new."""
    while sum(farm.sync(None).received for farm in farms):
        pass


def family(begun: Callable[..., Farm], server: Server, folder: Path) -> tuple[Farm, Farm, Farm]:
    marit = begun(more=json.dumps({"rule_pack": "us_federal", "producer": "Larkmeadow, Lark Lane"}))
    marit.log(Draft(event=Event.COOP(name="Orchard", species=[HEN])))
    marit.log(Draft(event=Event.COOP(name="Pond", species=[HEN, DUCK])))
    marit.join(server.url, server.invite(), "Marit's phone")
    others = []
    for name in ["Tobin", "Ines"]:
        invite = marit.invite()
        path = str(folder / f"{name}.db")
        others.append(Farm.join_new(path, invite.link, "", name, f"{name}'s phone"))
    settle(marit, *others)
    return marit, others[0], others[1]


def test_a_familys_day(begun: Callable[..., Farm], server: Server, tmp_path: Path) -> None:
    marit, tobin, ines = family(begun, server, tmp_path)
    today = marit.today()
    hens, ducks = f"{today}/hen", f"{today}/duck"

    # Out of reach of one another.
    first = gather(marit, "Orchard", HEN, 17)
    gather(tobin, "Pond", DUCK, 8)
    twin = gather(tobin, "Orchard", HEN, 17)
    gather(ines, "Pond", HEN, 15)
    assert marit.status().waiting == 1
    assert marit.sheet(today, today).gathered.eggs == 17
    settle(marit, tobin, ines)

    sheet = ines.sheet(today, today)
    assert sheet.gathered.eggs == 17 + 8 + 17 + 15
    assert sheet.gathered.by_species == {HEN: 49, DUCK: 8}
    assert sheet.gathered.by_person == {"Marit": 17, "Tobin": 25, "Ines": 15}
    assert len({farm.sheet_hash(today, today) for farm in (marit, tobin, ines)}) == 1

    # One round, logged twice: Ines says so, takes it back, and says it again.
    [double] = [f for f in ines.review() if isinstance(f.what, What.DOUBLE_LOG)]
    assert isinstance(double.what, What.DOUBLE_LOG)
    assert (double.what.one, double.what.other) == (17, 17)
    assert set(double.records) == {first, twin}
    choice = next(
        n for n, c in enumerate(double.choices) if isinstance(c, Choice.VOID) and c.record == twin
    )
    logged = ines.decide(double.tag, choice, None)
    assert ines.sheet(today, today).gathered.eggs == 40
    ines.undo([one.id for one in logged], "looked again")
    assert ines.sheet(today, today).gathered.eggs == 57
    with pytest.raises(PointdownError.NotFound):
        ines.decide("0000-00", 0, None)
    [double] = [f for f in ines.review() if isinstance(f.what, What.DOUBLE_LOG)]
    ines.decide(double.tag, choice, None)

    # Two people amend one field apart from each other.
    settle(marit, tobin, ines)
    marit.amend(first, json.dumps({"count": 18}), "one was under the straw")
    tobin.amend(first, json.dumps({"count": 16}), "one was a stone")
    settle(marit, tobin, ines)
    [apart] = [f for f in marit.review() if isinstance(f.what, What.DISAGREEMENT)]
    assert isinstance(apart.what, What.DISAGREEMENT)
    assert {json.loads(said.value_json) for said in apart.what.said} == {16, 18}
    keep = next(n for n, c in enumerate(apart.choices) if getattr(c, "value_json", "") == "18")
    marit.decide(apart.tag, keep, None)
    settle(marit, tobin, ines)
    assert marit.sheet(today, today).gathered.eggs == 41
    row = ines.record(first)
    assert row is not None and fields_of(row)["count"] == 18 and row.conflicts == []

    # From the basket to the customer.
    tobin.log(
        Draft(
            event=Event.CULL(
                station=Station.BASKET,
                parts=[LotEggs(lot=hens, eggs=1)],
                reason="pimples",
                used_for="home",
            )
        )
    )
    tobin.log(
        Draft(
            event=Event.WASH(
                parts=[LotEggs(lot=hens, eggs=24)],
                means="spray",
                egg_c=18.0,
                water_start_c=45.0,
                water_end_c=44.0,
            )
        )
    )
    suggestion = tobin.suggest(Station.CLEAN, HEN, 24)
    assert [(take.lot, take.eggs) for take in suggestion.take] == [(hens, 24)]
    carton = tobin.log(
        Draft(
            event=Event.CARTON(
                parts=[LotEggs(lot=hens, eggs=24)],
                from_station=Station.CLEAN,
                species=HEN,
                eggs_per_carton=12,
                cartons=2,
                packed=today,
                code="P-17",
            )
        )
    ).id
    tobin.log(
        Draft(
            event=Event.OUT(
                way="sold",
                parts=[LotEggs(lot=hens, eggs=12)],
                carton=carton,
                cartons=1,
                to="Neighbour Roe",
                price="4.50",
            )
        )
    )
    here = {(h.station.name, h.species): h.eggs for h in tobin.on_hand()}
    assert here[("BASKET", HEN)] == 33 - 1 - 24 and here[("CARTONED", HEN)] == 12
    assert here[("BASKET", DUCK)] == 8
    assert tobin.now().due, "something is always due where eggs stand"

    # Labels and pages.
    label = tobin.label(carton)
    assert any("12" in line.text and "eggs" in line.text.lower() for line in label.lines)
    page = tobin.label_page(carton, None, 1, None)
    assert page.sheets == 1 and "<html" in page.page.html
    assert "Larkmeadow" in tobin.day_sheet_page(today, today, Paper.A4).html

    # A hold, logged elsewhere at the same time: the most urgent line.
    coop = ines.find("coop", "Orchard")
    ines.log(Draft(event=Event.HOLD(first=today, cause="medicine", coop=coop)))
    settle(marit, tobin, ines)
    held = marit.review()[0]
    assert isinstance(held.what, What.HELD_EGGS) and held.weight is Weight.URGENT
    back = marit.call_back(Question.COOP(coop=coop, first=today, last=today))
    assert [who.who for who in back.people] == ["Neighbour Roe"]
    assert back.people[0].share is Share.MAY and back.cautions
    [trail] = marit.trace("p-17")
    assert set(trail.coops) == {"Orchard", "Pond"} and "Tobin" in trail.people

    # What the days add up to.
    marit.log(Draft(event=Event.HEADCOUNT(coop="Orchard", species=HEN, birds=24)))
    [laid] = [f for f in marit.span(today, today, None).by_day[0].flocks if f.coop == coop]
    assert laid.birds == 24 and laid.eggs == 18
    trends = marit.trends(today, today, Step.DAY, coop)
    assert trends.flocks[0].spans[0].eggs == 18
    assert {row.kind for row in marit.list(Filter(first=today, last=today))} >= {"gather", "hold"}

    # A backup is a whole farm; on another phone it writes as somebody new.
    settle(marit, tobin, ines)
    backup = marit.back_up(str(tmp_path / "safe.db"))
    assert verify_backup(str(tmp_path / "safe.db")).records == backup.records
    restore(str(tmp_path / "safe.db"), str(tmp_path / "again.db"))
    with using(Farm.open(str(tmp_path / "again.db"))) as again:
        assert again.sheet_hash(today, today) == marit.sheet_hash(today, today)
    for farm in (marit, tobin, ines):
        check = farm.check()
        assert check.wrong == [] and check.records > 10
        status = farm.status()
        assert (status.waiting, status.refused) == (0, [])
        farm.shut_down()


def test_the_app_carries_the_bytes(
    begun: Callable[..., Farm], server: Server, tmp_path: Path
) -> None:
    marit = begun()
    marit.log(Draft(event=Event.COOP(name="Orchard", species=[HEN])))
    gather(marit, "Orchard", HEN, 5)

    def post(path: str, body: bytes, kind: str, token: str = "") -> bytes:
        headers = {"content-type": kind}
        if token:
            headers["authorization"] = f"Bearer {token}"
        ask = urllib.request.Request(server.url + path, data=body, headers=headers)
        with urllib.request.urlopen(ask, timeout=30) as answer:
            return bytes(answer.read())

    def exchange(farm: Farm) -> int:
        carrier, new = farm.carrier(), 0
        assert carrier is not None
        while True:
            heard = farm.sync_hear(
                post("/v1/sync", farm.sync_ask(), "application/cbor", carrier.token)
            )
            new += heard.changes
            if not heard.again:
                farm.tidy()
                return new

    answer = post(
        "/v1/join", marit.join_ask(server.invite(), "phone").encode(), "application/json"
    )
    marit.joined(server.url, json.loads(answer)["token"])
    exchange(marit)
    assert marit.status().agreed
    ask = json.dumps({"invite": marit.invite().code, "name": "tablet", "actors": []})
    taken = json.loads(post("/v1/join", ask.encode(), "application/json"))
    tablet = Farm.take_in(str(tmp_path / "t.db"), taken["farm"], server.url, taken["token"])
    with using(tablet):
        assert exchange(tablet) > 0
        assert tablet.sheet_hash(marit.today(), marit.today()) == marit.sheet_hash(
            marit.today(), marit.today()
        )
