"""Errors of every kind that can be brought about from outside, typed."""

from __future__ import annotations

import importlib
import socket
import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

import pointdown
import pytest
from conftest import Server
from pointdown import CancelToken, Draft, Event, Farm, PointdownError, Species, kind_of

E = PointdownError


def test_the_library_is_the_one_that_this_was_generated_for() -> None:
    native = importlib.import_module("pointdown._native.pointdown")
    native._uniffi_check_contract_api_version(native._UniffiLib)
    native._uniffi_check_api_checksums(native._UniffiLib)
    assert pointdown.library_version() == "0.1.0"


def test_a_wrong_field_is_named_with_its_value_and_what_is_allowed(
    begun: Callable[..., Farm],
) -> None:
    farm = begun()
    farm.log(Draft(event=Event.COOP(name="Orchard", species=[Species.HEN])))
    before = farm.record_count()
    with pytest.raises(E.Invalid) as caught:
        farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.HEN, count=70_000)))
    e = caught.value
    assert (e.field, e.value) == ("count", "70000") and e.allowed and "count" in e.text
    with pytest.raises(E.Invalid) as caught:
        farm.log(Draft(event=Event.GATHER(coop="Orchard", species=Species.DUCK, count=1)))
    assert caught.value.field == "species" and "hen" in str(caught.value.allowed)
    with pytest.raises(E.Invalid) as caught:
        farm.sheet("yesterday", farm.today())
    assert (caught.value.field, caught.value.value) == ("first", "yesterday")
    with pytest.raises(E.Invalid) as caught:
        farm.amend(farm.id(), "[1]", None)
    assert caught.value.field == "set_json"
    assert farm.record_count() == before


def test_what_is_there_and_what_is_not(begun: Callable[..., Farm], tmp_path: Path) -> None:
    farm = begun()
    with pytest.raises(E.NotFound):
        Farm.open(str(tmp_path / "nothing.db"))
    with pytest.raises(E.InUse):
        Farm.open(str(tmp_path / "farm.db"))
    with pytest.raises(E.NotJoined):
        farm.sync(None)
    other = begun("other.db", "Ana")
    with pytest.raises(E.OtherFarm):
        farm.import_file(other.export_file())
    with pytest.raises(E.Damaged):
        farm.import_file(b"no file of ours")
    for name in ["Pond", "Pond"]:
        farm.log(Draft(event=Event.COOP(name=name, species=[Species.HEN])))
    with pytest.raises(E.Ambiguous):
        farm.find("coop", "Pond")
    farm.shut_down()
    farm.shut_down()
    with pytest.raises(E.Closed):
        farm.today()
    (tmp_path / "junk.db").write_bytes(b"neither a database nor a farm" * 400)
    with pytest.raises(E.Damaged):
        Farm.open(str(tmp_path / "junk.db"))
    with pytest.raises(E.Storage):
        Farm.begin(str(tmp_path / "no" / "folder" / "farm.db"), _set_up())
    with sqlite3.connect(tmp_path / "farm.db") as database:
        database.execute("PRAGMA user_version = 9999")
    database.close()
    with pytest.raises(E.TooNew):
        Farm.open(str(tmp_path / "farm.db"))


def test_the_server_cannot_be_reached_or_refuses(
    begun: Callable[..., Farm], server: Server, tmp_path: Path
) -> None:
    farm = begun()
    farm.join(server.url, server.invite(), "phone")
    code = farm.invite().code
    Farm.join_new(str(tmp_path / "a.db"), server.url, code, "Ana", "a").shut_down()
    with pytest.raises(E.Refused) as caught:
        Farm.join_new(str(tmp_path / "b.db"), server.url, code, "Ben", "b")
    assert kind_of(caught.value) == "refused"
    assert not (tmp_path / "b.db").exists()
    server.end()
    with pytest.raises(E.Network) as network:
        farm.sync(None)
    assert "nothing is lost" in network.value.text


def test_a_token_stops_an_exchange_that_hangs(begun: Callable[..., Farm]) -> None:
    farm, port = begun(), _silent_port()
    farm.joined(f"http://127.0.0.1:{port}", "ab" * 32)
    token = CancelToken()
    stop = threading.Timer(0.2, token.cancel)
    stop.start()
    with pytest.raises(E.Cancelled):
        farm.sync(token)
    stop.join()
    assert token.is_cancelled()
    with pytest.raises(E.Cancelled):
        farm.sync(token)
    farm.log(Draft(event=Event.COOP(name="Orchard", species=[Species.HEN])))
    assert farm.status().waiting > 0


def test_a_token_stops_joining_a_server_that_hangs(begun: Callable[..., Farm]) -> None:
    farm, token = begun(), CancelToken()
    listener = socket.create_server(("127.0.0.1", 0))

    asked: list[socket.socket] = []

    def cancel() -> None:
        # Whoever asked has connected, so joining is under way; nobody ever answers.
        asked.append(listener.accept()[0])
        token.cancel()

    stop = threading.Thread(target=cancel)
    stop.start()
    port = listener.getsockname()[1]
    with pytest.raises(E.Cancelled):
        farm.join(f"http://127.0.0.1:{port}", "abcd", "phone", token)
    stop.join()
    assert len(asked) == 1
    for one in [*asked, listener]:
        one.close()
    with pytest.raises(E.NotJoined):
        farm.sync(None)


def _silent_port() -> int:
    """A port on which somebody listens and never answers."""
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    listener.listen(8)
    _OPEN.append(listener)
    return int(listener.getsockname()[1])


_OPEN: list[object] = []


def _set_up() -> pointdown.SetUp:
    return pointdown.SetUp(name="L", zone="UTC", person="A", device="d")
