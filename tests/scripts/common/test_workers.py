"""Processes that share out work: what comes back, what is lost, and how they end."""

import os
import pickle
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scripts.common.workers import Companion, WorkersLostError, spread_over_processes

pytestmark = pytest.mark.processes

ROOT = Path(__file__).parents[3]


def double(number):
    return 2 * number


def misbehave(job):
    """Do what the job says, in a worker."""
    match job:
        case "die":
            os.kill(os.getpid(), signal.SIGKILL)
        case "sleep":
            time.sleep(600)
        case "fail":
            raise ValueError("no such leaf")
        case "chatter":
            os.write(1, b"a line of a library\n")
            os.write(2, b"and one on standard error\n")
    return job


def lost(job, what):
    return f"{job}: {what}"


@pytest.mark.parametrize("processes", [1, 2, 5])
def test_each_job_is_answered_once_however_many_processes_there_are(processes):
    found = spread_over_processes(double, range(20), processes)
    assert sorted(found) == [2 * number for number in range(20)]


def test_without_jobs_nothing_is_started():
    assert list(spread_over_processes(double, [], 2)) == []


@pytest.mark.parametrize("processes", [1, 2])
def test_a_process_that_dies_takes_only_its_job_with_it(processes):
    jobs = ["a", "die", "b", "die", "c"]
    found = sorted(spread_over_processes(misbehave, jobs, processes, on_lost=lost))
    assert found[:3] == ["a", "b", "c"]
    assert [word.partition(" the process")[0] for word in found[3:]] == ["die: ended"] * 2


def test_a_process_that_dies_is_an_error_where_nobody_takes_its_job():
    with pytest.raises(WorkersLostError, match="--jobs 1"):
        list(spread_over_processes(misbehave, ["die"], 1))


def test_a_job_that_takes_too_long_is_given_up_and_the_others_go_on():
    jobs = ["sleep", "a", "sleep", "b"]
    found = spread_over_processes(misbehave, jobs, 2, longest_seconds=1, on_lost=lost)
    late = "sleep: took longer than 1 s"
    assert sorted(found) == ["a", "b", late, late]


def test_what_a_job_raises_is_raised_here():
    with pytest.raises(ValueError, match="no such leaf"):
        list(spread_over_processes(misbehave, ["a", "fail"], 2))


def test_what_libraries_print_in_a_worker_is_neither_shown_nor_taken_for_an_answer(capfd):
    assert list(spread_over_processes(misbehave, ["chatter"] * 3, 1)) == ["chatter"] * 3
    assert capfd.readouterr() == ("", "")


def test_a_process_beside_this_one_is_replaced_where_it_ended_and_says_what_happened():
    beside = Companion(pickle.dumps(misbehave))
    told = [beside.do(pickle.dumps(job), 20.0) for job in ("a", "die", "b")]
    assert pickle.loads(told[0][1]) == (False, "a")
    assert told[1] == ("lost", "ended the process that measured it, probably for want of memory")
    assert pickle.loads(told[2][1]) == (False, "b")
    assert beside.do(pickle.dumps("sleep"), 0.1) == ("lost", "took longer than 0 s")


PARENT = (
    "import sys; from tests.scripts.common.test_workers import misbehave\n"
    "from scripts.common.workers import spread_over_processes\n"
    "for one in spread_over_processes(misbehave, ['a', 'sleep', 'sleep'], 2): print(one)\n"
)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs Linux's list of children")
@pytest.mark.parametrize("after_seconds", [0.0, 0.01, 0.05, 0.2, 1.0])
@pytest.mark.parametrize("sign", [signal.SIGKILL, signal.SIGTERM])
def test_workers_end_with_a_parent_that_is_killed_whenever_that_is(after_seconds, sign):
    parent = subprocess.Popen(
        [sys.executable, "-c", PARENT], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    children = Path(f"/proc/{parent.pid}/task/{parent.pid}/children")
    while not (pids := children.read_text().split()):
        assert parent.poll() is None
        time.sleep(0.002)
    time.sleep(after_seconds)
    pids = children.read_text().split()
    parent.send_signal(sign)
    assert parent.communicate(timeout=180)[1] == b""
    deadline = time.monotonic() + 60
    while any(alive(pid) for pid in pids):
        assert time.monotonic() < deadline, "a worker has outlived its parent"
        time.sleep(0.01)


def alive(pid):
    try:
        return b"scripts.common.worker" in Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return False
