"""Stations and their server are killed while they file, and nothing is lost or there twice."""

import shutil
import tempfile
from pathlib import Path

import pytest

from scripts.workshop.attack.server_kills import kill_on_server


@pytest.fixture
def folder(needs_server):
    made = Path(tempfile.mkdtemp(prefix="pg-"))  # a socket's address must be short
    made.chmod(0o755)
    yield made
    shutil.rmtree(made)


@pytest.mark.processes
def test_what_stations_filed_is_there_once_after_they_and_their_server_were_killed(folder):
    """``attack server_kills`` kills 20 stations, and the server 5 times."""
    outcome = kill_on_server(folder, clients=2, servers=1, seed=5)
    assert outcome.problems == ()
    assert outcome.in_doubt <= 2
    assert outcome.notes >= 12
