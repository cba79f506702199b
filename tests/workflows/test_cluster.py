"""The same tasks on a cluster: a scheduler and two worker processes on this machine."""

import os
import sys
import warnings
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner

from stakeline.campaign.decide_settings import DecidePart
from stakeline.campaign.folders import create
from stakeline.cli import stakeline
from stakeline.cli.options import cluster, workers
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.inference.shape import Events
from stakeline.tables import Settings
from stakeline.time import from_iso
from stakeline.workflows import arcs, intake
from stakeline.workflows.decide import SeriesTask, solve_series
from stakeline.workflows.decide_record import Question, Speeds
from stakeline.workflows.decide_station import solve_placebo
from stakeline.workflows.pool import run_tasks
from stakeline.workflows.products import ProductFiles

distributed = pytest.importorskip("distributed")
dask = pytest.importorskip("dask")
cloudpickle = pytest.importorskip("cloudpickle")
cloudpickle.register_pickle_by_value(sys.modules[__name__])  # workers cannot import tests
SETTINGS = '[campaign]\nname = "Trial"\n[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'
QUICK = DecidePart(
    permutations=99, lag_step_d=1.0, longer_d=(0.0,), lag_d=(0.0, 2.0), decay_d=(5.0,)
)


@pytest.fixture(scope="module")
def address():
    with dask.config.set({"distributed.deploy.lost-worker-timeout": "600s"}):  # for busy machines
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of the library, about the machine
            local = distributed.LocalCluster(
                n_workers=2, threads_per_worker=1, processes=True, dashboard_address="127.0.0.1:0"
            )
        with local:
            yield local.scheduler_address


def test_tasks_come_back_with_results_and_sentences(address):
    days = ["2031-05-01", "no day", "2031-05-02"]
    done = {task: (result, said) for task, result, said in run_tasks(from_iso, days, address)}
    assert done["2031-05-01"] == (from_iso("2031-05-01"), "")
    assert done["2031-05-02"] == (from_iso("2031-05-02"), "")
    assert done["no day"][0] is None
    assert "no day" in done["no day"][1]


def die_in_mid_solution(task):
    """Solve an arc; the first process that has worked out the one to die ends inside of it."""
    arc, mark = task
    if mark and not Path(mark).exists():
        Path(mark).write_text(str(os.getpid()))
        arcs.snow_day = lambda *_: os._exit(9)  # what comes behind the positions; ends with it
    return os.getpid(), *arcs.solve_arc(arc)[:2]


def test_a_worker_that_dies_in_mid_solution_costs_no_arc(address, tmp_path, sky):
    path, orbits = tmp_path / "HV01.rnx", tmp_path / "day.sp3"
    sky.write_receiver_file(path, sky.times(0, 14_400))
    sky.write_orbits(orbits, -1, 3)
    mark, tasks = tmp_path / "died", []
    for part in (1, 2):
        window = tuple(sky.times(7200 * (part - 1), 7200 * part + 1, 7200).tolist())
        arc = arcs.Arc(
            "HV01", "2031-05-01", part, window, ((str(path), 0),), ProductFiles(orbits=(orbits,)),
            Settings(interval_s=300.0), tuple(sky.site.tolist()), (), str(tmp_path),
        )  # fmt: skip
        tasks.append((arc, str(mark) if part == 1 else ""))
    done = {
        task: (result, said)
        for task, result, said in run_tasks(die_in_mid_solution, tasks, address)
    }
    assert [said for _, said in done.values()] == ["", ""]
    assert done[tasks[0]][0][0] != int(mark.read_text())  # another process did what had begun
    for task in tasks:
        columns, summary = arcs.solve_arc(task[0])[:2]
        assert np.isfinite(columns["x_m"]).sum() > 20
        there = done[task][0]
        assert there[2] == summary
        for name, values in columns.items():
            np.testing.assert_array_equal(there[1][name], values)


def test_a_station_is_decided_there_as_here(address):
    rng = np.random.default_rng(3)
    days = np.arange(120) + 0.5
    rows = [Speeds(f"HV0{k}", 100.0 + rng.standard_normal(120), np.ones(120), 1.0) for k in (1, 4)]
    onsets = np.array([[40.2], [80.4]])
    asked = Question(
        "Upper", 0, days, (), tuple(rows), Events(onsets, onsets + 6.0), ("one", "two"),
        np.ones(2), np.ones(2),
    )  # fmt: skip
    tasks = [SeriesTask(0, solve_placebo, (QUICK, asked, k), rows[k].station) for k in range(2)]
    there, here = (
        {task.name: (result, said) for task, result, said in run_tasks(solve_series, tasks, where)}
        for where in (address, 1)
    )
    assert there == here
    assert all(0.0 < result[0] <= 1.0 for result, _ in here.values())


def test_where_no_scheduler_answers_it_is_said(monkeypatch):
    monkeypatch.setattr("stakeline.workflows.cluster.PATIENCE_S", 0.5)
    with pytest.raises(
        SettingsError, match=r"no scheduler of a cluster answers at tcp://127.0.0.1:9"
    ):
        list(run_tasks(from_iso, ["2031-05-01"], "tcp://127.0.0.1:9"))


class Idle:
    """A client of a scheduler that has no workers."""

    def __init__(self, address, **_):
        self.address = address

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def scheduler_info(self):
        return {"workers": {}}


def test_a_scheduler_without_workers_is_said(monkeypatch):
    monkeypatch.setattr("stakeline.workflows.cluster.Client", Idle)
    with pytest.raises(SettingsError, match="tcp://here:1 has no workers: start some"):
        list(run_tasks(from_iso, ["2031-05-01"], "tcp://here:1"))


@pytest.mark.parametrize("verb", ["intake", "run"])
def test_verbs_of_a_whole_campaign_take_an_address(tmp_path, monkeypatch, verb):
    asked = []

    def stand_in(campaign, *, workers, progress):
        asked.append(workers)
        raise SettingsError("enough")

    monkeypatch.setattr(f"stakeline.workflows.{verb}.run", stand_in)
    CliRunner().invoke(stakeline, [verb, str(tmp_path), "--quiet", "--cluster", "tcp://a:1"])
    assert asked == ["tcp://a:1"]


def test_files_are_taken_in_there_as_here(address, tmp_path, sky):
    done = []
    for name, where in (("there", address), ("here", 1)):
        root = tmp_path / name
        create(root)
        (root / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
        (root / "0-raw" / "empty.rnx").write_bytes(b"")
        for day in range(2):
            times = sky.times(0, 7_200, 300) + day * NS_PER_DAY
            sky.write_receiver_file(root / "0-raw" / "HV01" / f"HV01_{day}.rnx", times)
        sky.write_orbits(root / "products" / "two_days.sp3", -1, 3)
        done.append([(file.raw, file.usable) for file in intake.run(root, workers=where).files])
    assert done[0] == done[1]
    assert [usable for _, usable in done[0]] == [True, True, False]


@click.command()
@cluster
@workers("Processes.")
def told(workers):
    click.echo(repr(workers))


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        ([], "1"),
        (["--workers", "3"], "3"),
        (["--cluster", "tcp://a:1"], "'tcp://a:1'"),
        (["--cluster", "tcp://a:1", "--workers", "3"], "'tcp://a:1'"),
    ],
)
def test_the_address_stands_in_for_the_number(given, expected):
    assert CliRunner().invoke(told, given).output.strip() == expected
