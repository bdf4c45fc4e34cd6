"""Every test of the store runs on both kinds of database; on PostgreSQL some with --long alone.

Races, processes, the trail, backups and what begins from nothing run on both always.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from invented_unit import people, whole_story
from private_postgres import NOT_INSTALLED, Cluster, cluster, programs

from planner.records.store import Store

KINDS = ("sqlite", "postgresql")
STRICTER = "postgresql, serializable"
WITH_LONG = ("sqlite", pytest.param("postgresql", marks=pytest.mark.long))


@pytest.fixture(scope="session")
def server() -> Iterator[Cluster]:
    if programs() is None:
        pytest.skip(NOT_INSTALLED)
    with cluster() as started:
        yield started


@pytest.fixture(params=KINDS)
def new_url(request: pytest.FixtureRequest, tmp_path: Path) -> Callable[[], str]:
    """Makes an empty database of the kind under test, and gives its URL."""
    if request.param == "sqlite":
        numbers = iter(range(1000))
        return lambda: f"sqlite:///{tmp_path / f'store-{next(numbers)}.db'}"
    server: Cluster = request.getfixturevalue("server")
    return lambda: server.url(server.new_database())


@pytest.fixture
def url(new_url: Callable[[], str]) -> str:
    return new_url()


@pytest.fixture(scope="session")
def staffed_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store of a person of each role, to be copied."""
    path = tmp_path_factory.mktemp("staffed") / "planner.db"
    _staff(f"sqlite:///{path}")
    return path


@pytest.fixture(scope="session")
def staffed_database(server: Cluster) -> str:
    name = server.new_database()
    _staff(server.url(name))
    return name


@pytest.fixture(params=WITH_LONG)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A store with a person of each role."""
    yield from _staffed_store(request, tmp_path, request.param)


@pytest.fixture(params=(*KINDS, STRICTER))
def raced(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """The same, and on a PostgreSQL whose own default is a stricter isolation than this program counts on."""
    yield from _staffed_store(request, tmp_path, request.param)


def _staffed_store(request: pytest.FixtureRequest, tmp_path: Path, kind: str) -> Iterator[Store]:
    if kind == "sqlite":
        path = tmp_path / "planner.db"
        shutil.copyfile(request.getfixturevalue("staffed_file"), path)
        opened = Store.open(f"sqlite:///{path}")
        yield opened
        opened.close()
        return
    server: Cluster = request.getfixturevalue("server")
    name = server.new_database(like=request.getfixturevalue("staffed_database"))
    if kind == STRICTER:
        server.set_default(name, "default_transaction_isolation", "serializable")
    opened = Store.open(server.url(name))
    yield opened
    opened.close()
    server.drop(name)


@pytest.fixture
def story(store: Store) -> Store:
    """A store with something in every table."""
    whole_story(store)
    return store


def _staff(url: str) -> None:
    made = Store.open(url)
    people(made)
    made.close()
