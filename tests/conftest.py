"""A PostgreSQL server for the tests of a journal on one."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from models.journal import open_journal
from scripts.workshop.attack.server import OWNER, Server, server_programs

_TABLES = "SELECT string_agg(tablename, ',') FROM pg_tables WHERE schemaname = 'public' "
_EMPTIED = _TABLES + "AND tablename != 'alembic_version'"


@pytest.fixture(scope="session")
def needs_server() -> None:
    """Skip a test where no server can be started."""
    if server_programs() is None:
        missing = "no PostgreSQL server is installed (apt install postgresql)"
        if "SPOTLAMP_CI" in os.environ:
            pytest.fail(missing)
        pytest.skip(missing)


@pytest.fixture(scope="session")
def server(needs_server) -> Iterator[Server]:
    """Start a server once for all tests of a process, with an empty journal to be copied."""
    folder = Path(tempfile.mkdtemp(prefix="pg-"))  # a socket's address must be short
    started = Server(folder, quick=True)
    try:
        started.start()
        started.run("postgres", "CREATE DATABASE made")
        open_journal(started.url("made")).close()
        yield started
    finally:
        started.stop()
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def _databases(server) -> Iterator[Callable[[int], str]]:
    """Give databases by their number, each with an empty journal; the same ones again and again."""
    psycopg = pytest.importorskip("psycopg")
    made: set[int] = set()
    with psycopg.connect(server.url("postgres"), autocommit=True) as owner:

        def give(number: int) -> str:
            name = f"journal_{number}"
            if number not in made:
                owner.execute(f"CREATE DATABASE {name} TEMPLATE made")
                made.add(number)
            else:  # quicker than a new one
                with psycopg.connect(server.url(name), autocommit=True) as own:
                    (tables,) = own.execute(_EMPTIED).fetchone()
                    own.execute(f"TRUNCATE {tables} RESTART IDENTITY")
            return server.url(name, OWNER)

        yield give


@pytest.fixture
def server_journal(_databases) -> Callable[[], str]:
    """Return a maker of addresses of empty journals on a server."""
    given: list[str] = []

    def make() -> str:
        given.append(_databases(len(given)))
        return given[-1]

    return make


@pytest.fixture(params=["file", "server"])
def home(request) -> Callable[[], str] | None:
    """Give a maker of addresses on a server, and None for a file: the test runs with both."""
    return request.getfixturevalue("server_journal") if request.param == "server" else None
