"""What work cost, in words."""

import itertools

from stakeline.workflows import costs


def test_each_stage_gets_its_own_seconds_and_a_stage_entered_twice_their_sum():
    clock = itertools.accumulate([0.0, 1.0, 2.0, 4.0]).__next__
    times = costs.StageTimes("reading", clock)
    for stage in ("model", "reading", "end"):
        times(stage)
    assert times.seconds == {"reading": 1.0 + 4.0, "model": 2.0}


def test_words_tell_the_mean_by_part_dearest_first_and_the_largest_process():
    several = [
        {"seconds": {"reading": 0.1, "model": 0.3}, "peak_memory_bytes": 4 * 10**8},
        {"seconds": {"reading": 0.3, "model": 0.7}, "peak_memory_bytes": 6 * 10**8},
    ]
    words = costs.cost_words(several)
    assert words == (
        "0.70 s of one core an arc: model 0.50, reading 0.20; at most 0.60 GB a process"
    )


def test_no_memory_is_told_where_the_system_does_not_tell_it(monkeypatch, tmp_path):
    monkeypatch.setattr(costs, "STATUS", tmp_path / "absent")
    assert costs.peak_memory_bytes() == 0
    alone = {"seconds": {"reading": 0.001}, "peak_memory_bytes": 0}
    assert costs.cost_words([alone]) == "0.00 s of one core an arc"


def test_the_peak_is_what_the_system_tells(monkeypatch, tmp_path):
    status = tmp_path / "status"
    status.write_text("Name:\tstakeline\nVmPeak:\t  9 kB\nVmHWM:\t  550000 kB\n")
    monkeypatch.setattr(costs, "STATUS", status)
    assert costs.peak_memory_bytes() == 550000 * 1024
