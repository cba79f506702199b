"""What a piece of work cost: seconds by part, and the memory of the process that did it."""

import time
from collections import Counter
from pathlib import Path

STATUS = Path("/proc/self/status")
"""Where Linux tells a process about itself; other systems have none, and no memory is stated."""


class StageTimes:
    """Called with the name of each stage as it begins, it books the seconds of the one before."""

    def __init__(self, stage, clock=time.perf_counter):
        self.seconds, self._clock = {}, clock
        self._stage, self._begin = stage, clock()

    def __call__(self, stage):
        """Book the running stage and begin another."""
        now = self._clock()
        self.seconds[self._stage] = self.seconds.get(self._stage, 0.0) + now - self._begin
        self._stage, self._begin = stage, now


def peak_memory_bytes():
    """Return the most that this process has held in memory; 0 where the system does not say."""
    if not STATUS.is_file():
        return 0
    for line in STATUS.read_text(encoding="ascii").splitlines():
        name, _, value = line.partition(":")
        if name == "VmHWM":
            return int(value.split()[0]) * 1024
    return 0


def cost_words(costs):
    """Return one line about what tasks cost in the mean, the dearest parts first.

    Parameters
    ----------
    costs : list of dict
        Of each task: ``seconds`` of a core by part, ``peak_memory_bytes`` of its process.
    """
    total = Counter()
    for cost in costs:
        total.update(cost["seconds"])
    each = {part: spent / len(costs) for part, spent in total.most_common()}
    parts = ", ".join(f"{part} {spent:.2f}" for part, spent in each.items() if spent >= 0.005)
    words = f"{sum(each.values()):.2f} s of one core an arc" + (f": {parts}" if parts else "")
    peak = max(cost["peak_memory_bytes"] for cost in costs)
    return words + (f"; at most {peak / 1e9:.2f} GB a process" if peak else "")
