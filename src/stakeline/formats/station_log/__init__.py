"""Station histories as IGS site logs. See ``SPEC.md``."""

from .reading import AntennaPeriod, ReceiverPeriod, StationLog, parse_station_log, read_station_log
from .writing import write_station_log

__all__ = [
    "AntennaPeriod",
    "ReceiverPeriod",
    "StationLog",
    "parse_station_log",
    "read_station_log",
    "write_station_log",
]
