"""Worker processes: order of work, failures that stop nothing, processes that end with us."""

import os
import signal
import subprocess
import sys
import time

import pytest

from stakeline.errors import SolutionError
from stakeline.workflows.pool import run_tasks

SCRIPT = """
import os, sys, time
from stakeline.errors import SolutionError
from stakeline.workflows.pool import run_tasks

def work(task):
    if task == "fails":
        raise SolutionError("no epoch")
    if task == "dies":
        os._exit(9)
    if task == "sleeps":
        print("PID", os.getpid(), flush=True)
        time.sleep(60)
    return task.upper()

if __name__ == "__main__":
    for task, result, sentence in run_tasks(work, sys.argv[1:], 2):
        print(task, result, sentence, flush=True)
"""


def fail_on_b(task):
    if task == "b":
        raise SolutionError("b has no epoch")
    return task.upper()


def test_one_process_goes_on_after_a_failure():
    done = list(run_tasks(fail_on_b, ["a", "b", "c"], 1))
    assert done == [("a", "A", ""), ("b", None, "b has no epoch"), ("c", "C", "")]


def test_a_mistake_of_ours_is_told_with_its_place_and_stops_nothing():
    (_, _, sentence), second = run_tasks(one_over, [0, 2], 1)
    assert sentence.startswith(
        "stopped by a mistake of Stakeline's own (ZeroDivisionError at test_"
    )
    assert second == (2, 0.5, "")


def test_a_mistake_of_ours_can_be_shown_in_full(monkeypatch):
    monkeypatch.setenv("STAKELINE_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        list(run_tasks(one_over, [0], 1))


def one_over(number):
    return 1 / number


@pytest.fixture
def script(tmp_path):
    path = tmp_path / "work.py"
    path.write_text(SCRIPT, encoding="utf-8")
    return str(path)


def test_processes_go_on_after_a_failure_and_a_death(script):
    command = [sys.executable, script, "a", "fails", "dies", "b", "c"]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
    lines = sorted(out.splitlines())
    assert [line for line in lines if line.split()[0] in "abc"] == ["a A ", "b B ", "c C "]
    assert "fails None no epoch" in lines
    assert "dies None its process was ended from outside (out of memory?)" in lines


def test_the_first_may_die_too(script):
    command = [sys.executable, script, "dies", "a", "b"]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
    assert sorted(out.splitlines())[:2] == ["a A ", "b B "]
    assert "dies None its process was ended" in out


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="the system has no such signal")
def test_workers_end_when_the_run_is_killed(script):
    run = subprocess.Popen(
        [sys.executable, script, "sleeps", "a"], stdout=subprocess.PIPE, text=True
    )
    worker = int(run.stdout.readline().split()[1])
    run.kill()
    run.wait()
    run.stdout.close()
    deadline = time.monotonic() + 10
    while _alive(worker) and time.monotonic() < deadline:
        time.sleep(0.02)
    assert not _alive(worker)


def _alive(process):
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    try:  # a process nobody has collected yet is no longer running
        with open(f"/proc/{process}/stat", encoding="ascii") as file:  # noqa: PTH123
            return file.read().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return True
