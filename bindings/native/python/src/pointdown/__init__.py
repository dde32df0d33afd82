"""Egg records that several phones keep apart and combine.

Everything of the library stands here under its own name; beside it are a few helpers that make it
at home in Python: `using`, `kind_of`, `fields_of`, `moment`, and for asyncio `synced` and `changes`.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Iterator
from contextlib import contextmanager
from datetime import datetime, timezone
from typing import Any

from ._native.pointdown import *  # noqa: F403
from ._native.pointdown import CancelToken, Exchange, Farm, Listener, Notice, PointdownError, Row


@contextmanager
def using(farm: Farm) -> Iterator[Farm]:
    """A farm that is closed at the end of the block, whatever happens in it."""
    try:
        yield farm
    finally:
        farm.shut_down()


def kind_of(error: PointdownError) -> str:
    """The kind of an error as a stable word, such as `not_found`."""
    name = type(error).__name__
    return "".join(f"_{c.lower()}" if c.isupper() else c for c in name).lstrip("_")


def fields_of(row: Row) -> dict[str, Any]:
    """The fields of a record by name."""
    fields: dict[str, Any] = json.loads(row.fields_json)
    return fields


def moment(ms: int) -> datetime:
    """A moment of the library, in UTC."""
    return datetime.fromtimestamp(ms / 1000, timezone.utc)


async def synced(farm: Farm) -> Exchange:
    """Exchanges with the server; cancelling the task stops it at once."""
    token = CancelToken()
    try:
        return await asyncio.to_thread(farm.sync, token)
    except asyncio.CancelledError:
        token.cancel()
        raise


class _Bell(Listener):
    """Passes the word from whichever thread made the news to the event loop."""

    def __init__(self) -> None:
        self._loop = asyncio.get_running_loop()
        self.rung = asyncio.Event()

    def newer(self) -> None:
        if not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self.rung.set)


async def changes(farm: Farm, most: int = 256) -> AsyncIterator[list[Notice]]:
    """What changes from now on, in batches. An empty batch says that some were missed: look at
    everything anew. One loop at a time for a farm."""
    bell = _Bell()
    farm.watch(bell)
    after = 0
    while (begin := farm.news(after, 16_384)).more or begin.after != after:
        after = begin.after
    try:
        while True:
            await bell.rung.wait()
            bell.rung.clear()
            while True:
                news = farm.news(after, most)
                after = news.after
                if news.missed:
                    yield []
                if news.notices:
                    yield news.notices
                if not news.more:
                    break
    finally:
        try:
            farm.watch(None)
        except PointdownError.Closed:
            pass
