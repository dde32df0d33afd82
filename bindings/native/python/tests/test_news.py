"""A small signal, then a batched pull; cancellation with asyncio; nothing leaks."""

from __future__ import annotations

import asyncio
import gc
import resource
from collections.abc import Callable
from pathlib import Path

import pytest
from pointdown import Draft, Event, Farm, Listener, Species, changes, synced
from test_errors import _silent_port


class Bell(Listener):
    def __init__(self) -> None:
        self.rung = 0

    def newer(self) -> None:
        self.rung += 1


def table(rows: int) -> bytes:
    lines = ["date,coop,eggs"]
    lines += [f"20{20 + n // 3650}-{1 + n // 28 % 12:02}-{1 + n % 28:02},Orchard,{n % 30}" for n in range(rows)]
    return "\n".join(lines).encode()


def orchard(farm: Farm) -> Farm:
    farm.log(Draft(event=Event.COOP(name="Orchard", species=[Species.HEN])))
    return farm


def test_one_signal_until_the_news_is_read(begun: Callable[..., Farm]) -> None:
    farm, bell = orchard(begun()), Bell()
    farm.watch(bell)
    for n in range(3):
        farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=n)))
    assert bell.rung == 1
    news = farm.news(0, 1000)
    assert not news.missed and not news.more and all(n.here for n in news.notices)
    numbers = [n.number for n in news.notices]
    assert numbers == list(range(1, len(numbers) + 1))
    assert farm.news(news.after, 10).notices == []
    farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=9)))
    assert bell.rung == 2
    farm.watch(None)
    farm.news(news.after, 10)
    farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=9)))
    assert bell.rung == 2


def test_a_listener_that_fails_undoes_nothing(begun: Callable[..., Farm]) -> None:
    class Broken(Listener):
        def newer(self) -> None:
            raise RuntimeError("fell over")

    farm = orchard(begun())
    farm.watch(Broken())
    farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=4)))
    today = farm.today()
    assert farm.sheet(today, today).gathered.eggs == 4


def test_changes_come_in_batches(begun: Callable[..., Farm]) -> None:
    farm = orchard(begun())

    async def read() -> list[int]:
        sizes: list[int] = []
        reader = changes(farm, 256)
        first = asyncio.ensure_future(anext(reader))
        await asyncio.sleep(0)
        report = await asyncio.to_thread(
            farm.import_table, table(600), "date=date,coop=coop,eggs=eggs", False
        )
        assert report.errors == [] and report.added == 600
        sizes.append(len(await first))
        while sum(sizes) < 600:
            sizes.append(len(await anext(reader)))
        await reader.aclose()  # type: ignore[attr-defined]
        return sizes

    assert asyncio.run(asyncio.wait_for(read(), 60)) == [256, 256, 88]


def test_cancelling_a_task_stops_its_exchange(begun: Callable[..., Farm]) -> None:
    farm = begun()
    farm.joined(f"http://127.0.0.1:{_silent_port()}", "ab" * 32)

    async def hurry() -> None:
        with pytest.raises(asyncio.TimeoutError):
            await asyncio.wait_for(synced(farm), 0.3)

    # `asyncio.run` waits for its threads, so it would hang here if the exchange went on.
    asyncio.run(asyncio.wait_for(hurry(), 20))


def test_two_hundred_openings_leave_nothing_behind(
    begun: Callable[..., Farm], tmp_path: Path
) -> None:
    orchard(begun()).shut_down()
    path = str(tmp_path / "farm.db")

    def cycle(times: int) -> int:
        for _ in range(times):
            farm = Farm.open(path)
            farm.watch(Bell())
            farm.sheet(farm.today(), farm.today())
            farm.shut_down()
        gc.collect()
        files = len(list(Path("/proc/self/fd").iterdir())) if Path("/proc").exists() else 0
        return files

    files = cycle(40)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert cycle(200) <= files
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown < 8_000, f"grew by {grown} kB"
