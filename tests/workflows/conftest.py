"""An invented sky over Halvard Glacier: circular orbits, receiver files, orbit files."""

import numpy as np
import pytest

from stakeline.constants import (
    EARTH_ROTATION_RAD_S,
    FREQUENCY_HZ,
    GM_EARTH_M3_S2,
    NS_PER_DAY,
    NS_PER_S,
    SPEED_OF_LIGHT_M_S,
)
from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.formats.sp3 import write_sp3
from stakeline.tables import ObservationHeader, Observations, Orbits
from stakeline.time import from_iso

CODES = ("C1C", "L1C", "C2W", "L2W")


class Sky:
    """24 satellites of GPS size on six circular planes, written apart from the package."""

    day = from_iso("2031-05-01")
    site = xyz_from_geodetic(np.radians(79.0412), np.radians(17.3580), 212.0)
    clock_s = 1.0e-4  # the receiver's is fast by this
    radius_m = 26.56e6

    def satellites_at(self, time_ns):
        """Return Earth-fixed places, (n, 24, 3), at times (n,) or (n, 24). [m]"""
        time_ns = np.asarray(time_ns, np.int64)
        time_ns = time_ns[:, None] if time_ns.ndim == 1 else time_ns
        seconds = (time_ns - self.day) / NS_PER_S
        number = np.arange(24)
        motion = np.sqrt(GM_EARTH_M3_S2 / self.radius_m**3)
        phase = 2 * np.pi * (number / 4 + number / 37) + motion * seconds
        node = np.pi / 3 * (number % 6) - EARTH_ROTATION_RAD_S * seconds
        x, y = np.cos(phase), np.sin(phase) * np.cos(np.radians(55.0))
        z = np.sin(phase) * np.sin(np.radians(55.0))
        turned = (x * np.cos(node) - y * np.sin(node), x * np.sin(node) + y * np.cos(node), z)
        return self.radius_m * np.stack(np.broadcast_arrays(*turned), axis=-1)

    def orbits(self, first_day, days, step_s=900):
        """Return a table of days counted from 2031-05-01, both midnights inside."""
        begin = self.day + first_day * NS_PER_DAY
        times = (begin + np.arange(0, 86400 * days + 1, step_s) * NS_PER_S).astype(np.int64)
        return Orbits(
            time_ns=times,
            satellites=np.arange(1, 25),
            position_m=self.satellites_at(times),
            clock_s=np.zeros((len(times), 24)),
            frame="IGS20",
            agency="HVL",
        )

    def distances(self, time_ns):
        """Return (distance (n, 24) [m], sine of the elevation) by light time and Sagnac turn."""
        travel = np.full((len(time_ns), 24), 0.075)
        for _ in range(4):
            sent = time_ns[:, None] - round(self.clock_s * 1e9) - (travel * 1e9).astype(np.int64)
            place = self.satellites_at(sent)
            turn = EARTH_ROTATION_RAD_S * travel
            x = place[..., 0] * np.cos(turn) + place[..., 1] * np.sin(turn)
            y = place[..., 1] * np.cos(turn) - place[..., 0] * np.sin(turn)
            line = np.stack([x, y, place[..., 2]], axis=-1) - self.site
            travel = np.linalg.norm(line, axis=-1) / SPEED_OF_LIGHT_M_S
        distance = travel * SPEED_OF_LIGHT_M_S
        return distance, line @ self.site / np.linalg.norm(self.site) / distance

    def observations(self, time_ns, seed=1, **header):
        """Return GPS code and phase at times, 0.5 m and 2 mm of noise, above 5 deg."""
        rng = np.random.default_rng(seed)
        distance, up = self.distances(time_ns)
        code = distance + self.clock_s * SPEED_OF_LIGHT_M_S
        seen = up > np.sin(np.radians(5.0))
        columns = []
        for band in ("G1", "G2"):
            wave_m = SPEED_OF_LIGHT_M_S / FREQUENCY_HZ[band]
            columns.append(code + rng.normal(0, 0.5, code.shape))
            columns.append((code + rng.normal(0, 0.002, code.shape)) / wave_m + np.arange(24))
        value = np.round(np.stack(columns, axis=-1), 3)[seen]
        return Observations(
            header=ObservationHeader(
                **{"marker_name": "HV01", "antenna_height_m": 1.532, **header}
            ),
            time_ns=np.asarray(time_ns, np.int64),
            flag=np.zeros(len(time_ns), np.uint8),
            clock_offset_s=np.full(len(time_ns), np.nan),
            row_start=np.concatenate([[0], np.cumsum(seen.sum(axis=1))]),
            satellite=np.tile(np.arange(1, 25, dtype=np.int16), (len(time_ns), 1))[seen],
            value=value,
            lock=np.zeros(value.shape, np.uint8),
            strength=np.zeros(value.shape, np.uint8),
            codes={"G": CODES},
        )

    def times(self, first_s, last_s, step_s=300):
        """Return epochs by seconds from the first day's midnight. [ns]"""
        return self.day + np.arange(first_s, last_s, step_s, dtype=np.int64) * NS_PER_S

    def write_orbits(self, path, first_day, days, step_s=900):
        """Write an SP3 file."""
        data = write_sp3(self.orbits(first_day, days, step_s))
        path.write_bytes(data if isinstance(data, bytes) else data.encode("ascii"))

    def write_receiver_file(self, path, time_ns, seed=1, **header):
        """Write a RINEX 3.05 observation file."""
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(rinex_text(self.observations(time_ns, seed, **header)), encoding="ascii")


def rinex_text(observations):
    """Return RINEX 3.05 text, sections 5.1 and A.2; written apart from the package's writer."""
    header = observations.header

    def line(text, label):
        return f"{text:<60}{label}"

    x, y, z = np.nan_to_num(header.approximate_position_m)
    lines = [line(f"{3.05:9.2f}{'':11}{'OBSERVATION DATA':<20}M", "RINEX VERSION / TYPE")]
    lines += [line("invented            invented", "PGM / RUN BY / DATE")]
    lines += [line(header.marker_name, "MARKER NAME"), line("", "OBSERVER / AGENCY")]
    receiver = f"{header.receiver_number:<20}{header.receiver_type:<20}{header.receiver_version}"
    lines += [line(receiver, "REC # / TYPE / VERS")]
    lines += [line(f"{header.antenna_number:<20}{header.antenna_type:<20}", "ANT # / TYPE")]
    lines += [line(f"{x:14.4f}{y:14.4f}{z:14.4f}", "APPROX POSITION XYZ")]
    lines += [line(f"{header.antenna_height_m:14.4f}{0:14.4f}{0:14.4f}", "ANTENNA: DELTA H/E/N")]
    lines += [line(f"G{4:5d} {' '.join(CODES)}", "SYS / # / OBS TYPES")]
    first = calendar(observations.time_ns[0])
    lines += [line(f"{first[0]:6d}{first[1]:6d}{first[2]:6d}{first[3]:6d}{first[4]:6d}{first[5]:13.7f}     GPS", "TIME OF FIRST OBS")]  # fmt: skip  # noqa: E501
    lines += [line("", "END OF HEADER")]
    for epoch, time_ns in enumerate(observations.time_ns):
        begin, end = observations.row_start[epoch : epoch + 2]
        year, month, day, hour, minute, second = calendar(time_ns)
        lines.append(
            f"> {year:4d} {month:02d} {day:02d} {hour:02d} {minute:02d}{second:11.7f}"
            f"  0{end - begin:3d}"
        )
        for row in range(begin, end):
            values = "".join(f"{v:14.3f}  " for v in observations.value[row])
            lines.append(f"G{observations.satellite[row]:02d}{values}")
    return "\n".join(lines) + "\n"


def calendar(time_ns):
    """Return year, month, day, hour, minute, second of a time."""
    date = np.datetime64(int(time_ns), "ns")
    whole = date.astype("datetime64[m]")
    text = str(whole)
    second = int((date - whole).astype(np.int64)) / NS_PER_S
    return *(int(text[a:b]) for a, b in ((0, 4), (5, 7), (8, 10), (11, 13), (14, 16))), second


@pytest.fixture(scope="session")
def sky():
    """The invented sky."""
    return Sky()


class Histories:
    """Texts of ``stations/NAME.toml``: a set-up, and visits to be added to it."""

    def set_up(self, station="HV01", measured_m=1.532, place="", serial=""):
        """Return the history of a station with one antenna; ``place``, ``serial``: more lines."""
        serial = f'[visit.receiver]\nserial = "{serial}"\n' if serial else ""
        antenna = f'{serial}[visit.antenna]\ntype = "HALVARD ICE1    NONE"\n'
        begin = f'[[visit]]\ntime = 2031-04-28T14:30:00Z\nkind = "set-up"\n{antenna}'
        return f'station = "{station}"\n{place}{begin}{self._height(measured_m)}'

    def visit(self, time, kind="visit", measured_m=None, **moved_m):
        """Return a later visit: a height measured, metres that the marker was moved by."""
        text = f'[[visit]]\ntime = {time}Z\nkind = "{kind}"\n'
        text += "" if measured_m is None else self._height(measured_m)
        moved = "".join(f"{name}_m = {metres}\n" for name, metres in moved_m.items())
        return text + (f"[visit.marker_moved]\n{moved}" if moved else "")

    @staticmethod
    def _height(measured_m):
        ends = 'from = "marker"\nto = "antenna reference point"\n'
        return f'[visit.height]\nmeasured_m = {measured_m}\nhow = "vertical"\n{ends}'


@pytest.fixture(scope="session")
def histories():
    """Give the writer of station histories."""
    return Histories()
