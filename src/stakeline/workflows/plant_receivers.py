"""Mistakes of receivers, converters and the people who copy their files."""

import gzip
from dataclasses import replace

import numpy as np

from ..formats.rinex_obs import write_observations
from .dating import WEEK_NS
from .observation_cut import cut, shifted
from .plant_desk import Case

_ROLLOVER_WEEKS = 1024  # weeks; ten bits of the week number, IS-GPS-200N, section 20.3.3.3.1.1


def _cut_off(desk):
    """A power cut ends a plain file in the middle of an epoch."""
    path = desk.receiver_file("HV02", 2)
    if path is None:
        return None
    text = write_observations(desk.observations(path))
    plain = path.replace(".crx.gz", ".rnx")
    desk.remove(path)
    desk.write(plain, text[: int(0.7 * len(text))])
    return "HV02", plain, "file ends in the middle of an epoch after 70 % of its length"


def _damaged(desk):
    """The last packed file before a power cut misses its end."""
    path = desk.receiver_file("HV13", 3)
    if path is None:
        return None
    data = desk.read(path)
    desk.write(path, data[: len(data) // 2])
    return "HV13", path, "packed file misses its second half"


def _rollover(desk):
    return _dated(desk, "HV07", 1, -_ROLLOVER_WEEKS, "week counter of ten bits has rolled over")


def _week_early(desk):
    return _dated(desk, "HV07", 2, -1, "a converter wrote dates a week early")


def _dated(desk, name, day, weeks, why):
    path = desk.receiver_file(name, day)
    if path is None:
        return None
    moved = shifted(desk.observations(path), weeks * WEEK_NS)
    desk.write_observations(path, moved)
    return name, path, f"dates are off by {weeks} weeks: {why}"


def _code_jumps(desk):
    """Planted where the observations are made: see the receiver of this station."""
    path = desk.receiver_file("HV10", 0)
    return path and ("HV10", path, "the clock jumps by milliseconds in the codes alone, all days")


def _unsteered(desk):
    path = desk.receiver_file("HV13", 0)
    return path and ("HV13", path, "epochs stand 0.188 s after the whole second, all days")


def _bare_header(desk):
    path = desk.receiver_file("HV10", 0)
    blank = {"interval_s": np.nan, "antenna_type": "", "approximate_position_m": (np.nan,) * 3}
    return _headed(desk, path, "HV10", "header lacks interval, antenna and position", **blank)


def _wrong_height(desk):
    path = desk.receiver_file("HV10", 1)
    return _headed(desk, path, "HV10", "antenna height 0.1 m in the header", antenna_height_m=0.1)


def _wrong_name(desk):
    path = desk.receiver_file("HV13", 1)
    return _headed(desk, path, "HV13", "header says HV10, a default", marker_name="HV10")


def _headed(desk, path, name, what, **fields):
    if path is None:
        return None
    observations = desk.observations(path)
    desk.write_observations(
        path, replace(observations, header=replace(observations.header, **fields))
    )
    return name, path, what


def _twice(desk):
    path = desk.receiver_file("HV02", 0)
    if path is None:
        return None
    whole = desk.observations(path)
    end_ns = int(whole.time_ns[int(0.6 * len(whole))])
    copy = path.replace(".crx.gz", "_again.crx.gz")
    part = cut(whole, int(whole.time_ns[0]), end_ns)
    desk.write(copy, gzip.compress(write_observations(part, compact=True), 6, mtime=0))
    return "HV02", copy, "the same day once more, shorter"


def _bursts(desk):
    path = desk.receiver_file("HV02", 0)
    return path and ("HV02", path, "bursts of scintillation around magnetic midnight, all files")


RECEIVER_CASES = (
    Case(1, "intake", "epoch cut by the end of the file", _cut_off),
    Case(1, "intake", "packed data end early", _damaged),
    Case(2, "intake", "shift_weeks = 1024", _rollover),
    Case(3, "intake", "shift_weeks = 1", _week_early),
    Case(4, "position", "", _code_jumps),
    Case(5, "intake", "off the whole second", _unsteered),
    Case(6, "intake", "header lacks", _bare_header),
    Case(7, "intake", "marker name in the header is HV10", _wrong_name),
    Case(8, "intake", "epochs in both", _twice),
    Case(35, "position", "", _bursts),
    Case(39, "intake", "antenna height in the header is 0.1000 m", _wrong_height),
)
