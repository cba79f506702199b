"""The frozen records that travel between the stages, with their columns, units and frames.

Satellites are small integers inside: ``100 * index of the system in SYSTEMS + number``; use
:func:`satellite_id` and :func:`satellite_name`. Times are GPS time in int64 nanoseconds
(:mod:`stakeline.time`), positions are Earth-fixed metres, angles radians; NaN means missing.
"""

from dataclasses import dataclass, field

import numpy as np

SYSTEMS = "GRECJSI"
"""GPS, GLONASS, Galileo, BeiDou, QZSS, SBAS, NavIC: letters of RINEX 3.05, section 3.5."""


def satellite_id(name):
    """Return the small integer of a satellite such as ``G05``; ValueError where it is none."""
    if len(name) != 3 or name[0] not in SYSTEMS:
        raise ValueError(f"'{name}' is no satellite such as G05 (systems {', '.join(SYSTEMS)})")
    number = int(name[1:].replace(" ", "0"))
    if not 0 < number < 100:
        raise ValueError(f"satellite number in '{name}' is outside 1-99")
    return 100 * SYSTEMS.index(name[0]) + number


def satellite_name(satellite):
    """Return the name, such as ``G05``, of a satellite's small integer."""
    return f"{SYSTEMS[satellite // 100]}{satellite % 100:02d}"


@dataclass(frozen=True)
class PassedOver:
    """Something in a file that was read past, and why; nothing is skipped in silence.

    ``line`` counts from 1 (0: the whole file); ``count`` is how often the same reason occurred.
    """

    file: str
    line: int
    reason: str
    count: int = 1

    def __str__(self):
        times = f" ({self.count} times)" if self.count > 1 else ""
        return f"{self.file}:{self.line}: {self.reason}{times}"


@dataclass(frozen=True)
class ObservationHeader:
    """What the header of an observation file says; it is compared with the station history."""

    version: float = 3.05
    file_type_systems: str = "M"
    program: str = ""
    run_by: str = ""
    date: str = ""
    marker_name: str = ""
    marker_number: str = ""
    marker_type: str = ""
    observer: str = ""
    agency: str = ""
    receiver_number: str = ""
    receiver_type: str = ""
    receiver_version: str = ""
    antenna_number: str = ""
    antenna_type: str = ""
    antenna_height_m: float = 0.0
    antenna_east_m: float = 0.0
    antenna_north_m: float = 0.0
    approximate_position_m: tuple = (np.nan, np.nan, np.nan)  # NaN where blank or 0 0 0
    interval_s: float = np.nan  # as written; NaN where absent
    time_system: str = "GPS"
    clock_offset_applied: bool = False
    leap_seconds: int | None = None
    glonass_channels: dict = field(default_factory=dict)  # satellite id -> frequency channel
    phase_shifts: dict = field(default_factory=dict)  # (system, code) -> cycles
    scale_factors: dict = field(
        default_factory=dict
    )  # (system, code) -> divisor, applied on reading
    comments: tuple = ()
    other: tuple = ()  # (label, text of columns 1-60) of all remaining header lines


@dataclass(frozen=True)
class Event:
    """An event record (flags 2-5) inside an observation file: where, which, and its lines."""

    time_ns: int | None
    flag: int
    epoch_index: int  # the next epoch's index in the arrays
    lines: tuple = ()


@dataclass(frozen=True)
class Observations:
    """Observations of one station: epochs, and one row for each satellite of an epoch.

    Rows of epoch ``k`` are ``row_start[k]:row_start[k + 1]``. Column ``j`` of ``value``, ``lock``
    and ``strength`` in a row of system ``s`` is the observable ``codes[s][j]`` (three-character
    codes of RINEX 3; version 2 codes are translated).

    Attributes
    ----------
    time_ns : int64, shape (n,)
        Epoch in GPS time by the receiver's clock, as recorded (true decimals kept). [ns]
    flag : uint8, shape (n,)
        Epoch flag 0, 1 (power failure since the last epoch).
    clock_offset_s : float64, shape (n,)
        Receiver clock offset written with the epoch; NaN where none. [s]
    row_start : int64, shape (n + 1,)
    satellite : int16, shape (rows,)
    value : float64, shape (rows, columns)
        Code [m], phase [cycles], Doppler [Hz], strength [dB-Hz or unit of the file]; NaN missing.
    lock : uint8, shape (rows, columns)
        Loss-of-lock bits: 1 slip, 2 half-cycle ambiguity, 4 (version 2: anti-spoofing).
    strength : uint8, shape (rows, columns)
        Signal strength digit 1-9; 0 unknown.
    codes : dict of str to tuple of str
        Observable codes by system letter.
    """

    header: ObservationHeader
    time_ns: np.ndarray
    flag: np.ndarray
    clock_offset_s: np.ndarray
    row_start: np.ndarray
    satellite: np.ndarray
    value: np.ndarray
    lock: np.ndarray
    strength: np.ndarray
    codes: dict
    events: tuple = ()
    passed_over: tuple = ()
    files: tuple = ()

    def __len__(self):
        return len(self.time_ns)


@dataclass(frozen=True, eq=False)  # one is itself alone, so that work on it can be kept
class Orbits:
    """Satellite positions (centre of mass, Earth-fixed) at the nodes of a table.

    ``position_m`` and ``velocity_m_s`` are (epochs, satellites, 3), ``clock_s`` and
    ``accuracy_m`` (epochs, satellites); missing is NaN. ``predicted`` and ``manoeuvre`` are bool.
    """

    time_ns: np.ndarray
    satellites: np.ndarray
    position_m: np.ndarray
    clock_s: np.ndarray
    frame: str = ""
    agency: str = ""
    velocity_m_s: np.ndarray | None = None
    clock_rate: np.ndarray | None = None  # s/s
    position_sigma_m: np.ndarray | None = None  # (epochs, satellites, 3)
    clock_sigma_s: np.ndarray | None = None
    accuracy_m: np.ndarray | None = None  # header exponent, (satellites,)
    clock_event: np.ndarray | None = None
    clock_predicted: np.ndarray | None = None
    manoeuvre: np.ndarray | None = None
    orbit_predicted: np.ndarray | None = None
    orbit_type: str = ""
    data_used: str = ""
    comments: tuple = ()
    passed_over: tuple = ()
    files: tuple = ()


@dataclass(frozen=True, eq=False)  # one is itself alone, so that work on it can be kept
class Clocks:
    """Satellite clock biases (epochs, satellites) [s]; NaN missing. Receivers are kept by name."""

    time_ns: np.ndarray
    satellites: np.ndarray
    bias_s: np.ndarray
    sigma_s: np.ndarray
    agency: str = ""
    frame: str = ""
    antenna_models: dict = field(default_factory=dict)  # system letter -> SYS / PCVS APPLIED
    receivers: dict = field(default_factory=dict)  # name -> (time_ns, bias_s, sigma_s)
    comments: tuple = ()  # wide-lane biases of some centres stand here
    passed_over: tuple = ()
    files: tuple = ()


KEPLER_COLUMNS = (  # m^(1/2), rad, rad/s, m, s, s/s, s/s2; week as written (BeiDou: its own count)
    *("sqrt_a", "eccentricity", "m0", "delta_n", "omega0", "i0", "omega", "omega_dot", "i_dot"),
    *("cuc", "cus", "crc", "crs", "cic", "cis", "toe_sow", "af0", "af1", "af2", "tgd", "tgd2"),
    *("health", "accuracy_m", "iode", "iodc", "week", "a_dot", "delta_n_dot"),
)
STATE_COLUMNS = (  # m, m/s, m/s2, s (clock bias to add: minus tau_n), s/s, -, -, d (GLONASS), m
    *("x", "y", "z", "vx", "vy", "vz", "ax", "ay", "az"),
    *("af0", "gamma", "health", "channel", "age", "accuracy_m"),
)


@dataclass(frozen=True)
class BroadcastMessages:
    """Navigation messages: one row of ``values`` for each message, columns by ``columns``.

    Rows are sorted by satellite, then reference time. Kepler systems (G, E, C, J, I) and the
    state-vector systems (R, S) are two records: see ``formats.rinex_nav``.
    """

    satellites: np.ndarray  # (messages,)
    time_of_clock_ns: np.ndarray  # GPS time
    time_of_ephemeris_ns: np.ndarray  # GPS time
    transmission_ns: np.ndarray  # GPS time; toe where the file gives none
    kind: np.ndarray  # message kind, e.g. LNAV, INAV, FNAV, D1, D2, CNAV (dtype str)
    values: np.ndarray  # (messages, len(columns))
    columns: tuple


@dataclass(frozen=True)
class Broadcast:
    """All of a navigation file: messages, ionosphere coefficients, leap seconds."""

    kepler: BroadcastMessages
    state_vector: BroadcastMessages
    ionosphere: dict = field(default_factory=dict)  # GPSA, GPSB, GAL, BDSA... -> tuple
    leap_seconds: int | None = None
    passed_over: tuple = ()
    files: tuple = ()


@dataclass(frozen=True)
class AntennaPattern:
    """Phase centre of one antenna model at one frequency, as ANTEX defines it.

    ``offset_m`` is north, east, up for receivers and x, y, z of the body for satellites [m];
    ``by_zenith_m`` (zenith nodes,) is the azimuth-independent pattern; ``by_azimuth_m`` is
    (azimuth nodes from 0 to 360 deg, zenith nodes) or None [m].
    """

    offset_m: np.ndarray
    by_zenith_m: np.ndarray
    by_azimuth_m: np.ndarray | None = None


@dataclass(frozen=True)
class Antenna:
    """One ANTEX entry. For satellites ``satellite`` is its id and the validity matters."""

    model: str  # receiver: 20 characters with the radome in columns 17-20; satellite: block type
    serial: str  # receiver: serial or blank; satellite: its name such as G05
    satellite: int | None
    svn: str
    valid_from_ns: int | None
    valid_until_ns: int | None
    zenith_deg: np.ndarray
    azimuth_deg: np.ndarray | None
    patterns: dict  # frequency such as G01 -> AntennaPattern
    source: str = ""  # calibration model, e.g. igs14_2108, or "offsets only, SINEX ..."


@dataclass(frozen=True)
class Antennas:
    """A set of antenna calibrations: receivers and satellites."""

    entries: tuple
    passed_over: tuple = ()
    files: tuple = ()


@dataclass(frozen=True)
class OceanLoading:
    """Coefficients of one site: rows up, west, south; columns M2 S2 N2 K2 K1 O1 P1 Q1 Mf Mm Ssa."""

    site: str
    longitude_deg: float
    latitude_deg: float
    amplitude_m: np.ndarray  # (3, 11)
    phase_deg: np.ndarray  # (3, 11), lags positive


@dataclass(frozen=True, eq=False)  # one is itself alone, so that work on it can be kept
class EarthOrientation:
    """Pole and UT1 by UTC day; radians and seconds. ``dx``, ``dy`` are celestial pole offsets."""

    time_utc_ns: np.ndarray
    pole_x_rad: np.ndarray
    pole_y_rad: np.ndarray
    ut1_minus_utc_s: np.ndarray
    day_length_excess_s: np.ndarray
    dx_rad: np.ndarray
    dy_rad: np.ndarray
    files: tuple = ()
    passed_over: tuple = ()


@dataclass(frozen=True)
class ClimateGrid:
    """A climate of the air on a regular grid, as published in 5-degree files.

    The last axis of the (rows, columns, 5) arrays is mean, cos and sin of the year, cos and sin of
    the half year; latitude runs as in the file.
    """

    latitude_deg: np.ndarray  # (rows,)
    longitude_deg: np.ndarray  # (columns,)
    pressure_Pa: np.ndarray
    temperature_K: np.ndarray
    humidity: np.ndarray  # kg/kg
    lapse_K_m: np.ndarray
    mean_temperature_K: np.ndarray
    wet_lapse: np.ndarray
    ah: np.ndarray
    aw: np.ndarray
    undulation_m: np.ndarray  # (rows, columns), geoid above the ellipsoid
    height_m: np.ndarray  # (rows, columns), above the geoid
    files: tuple = ()


@dataclass(frozen=True)
class StationCoordinate:
    """A published coordinate: Earth-fixed position (and velocity) at an epoch in a frame."""

    code: str
    point: str
    solution: str
    frame: str
    epoch_ns: int
    position_m: np.ndarray  # (3,)
    sigma_m: np.ndarray  # (3,)
    velocity_m_a: np.ndarray | None = None


@dataclass(frozen=True)
class SinexContent:
    """What is used of a SINEX file."""

    coordinates: tuple = ()  # of StationCoordinate
    satellite_antennas: tuple = ()  # of Antenna, offsets only
    receiver_antennas: tuple = ()  # of Antenna, offsets only
    eccentricities: tuple = ()  # (code, point, from_ns, until_ns, up, north, east)
    station_antennas: dict = field(default_factory=dict)  # code -> antenna model
    station_receivers: dict = field(default_factory=dict)  # code -> receiver type
    frame: str = ""
    passed_over: tuple = ()
    files: tuple = ()


@dataclass(frozen=True)
class Products:
    """Everything a solution needs beside the observations; absent parts are None."""

    orbits: Orbits | None = None
    clocks: Clocks | None = None
    broadcast: Broadcast | None = None
    antennas: Antennas | None = None
    loading: OceanLoading | None = None
    orientation: EarthOrientation | None = None
    wide_lanes: dict | None = None  # satellite -> (cycles to add to the wide lane, bands "15")
    biases: dict | None = None  # (satellite, observable such as C1C) -> m to take off


@dataclass(frozen=True)
class Settings:
    """How positions are estimated; every number's meaning and default stands here."""

    mode: str = "kinematic"  # or "static"
    systems: str = "GREC"
    interval_s: float = 30.0  # solution interval; never finer than the data
    mask_deg: float = 5.0  # in high latitudes satellites stay low
    acceleration_m_s15: float = 3e-7  # velocity random walk, m/s/sqrt(s); kinematic only
    position_walk_m_s05: float = 0.0  # position random walk, m/sqrt(s); kinematic only
    zenith_walk_m_s05: float = 6e-5  # wet zenith delay random walk, m/sqrt(s) (3.6 mm/sqrt(h))
    gradient_walk_m_s05: float = 3e-6  # m/sqrt(s)
    phase_sigma_m: float = 0.004  # ionosphere-free, zenith
    code_sigma_m: float = 0.6  # ionosphere-free, zenith
    slow_sigma_m: float = 0.004  # each satellite's error that no smoothing averages, zenith
    antenna_height_m: tuple = (0.0, 0.0, 0.0)  # marker to reference point: up, east, north
    antenna_model: str = ""
    frame: str = ""  # of the solution; empty: of the orbits
    switched_off: tuple = ()  # corrections left out on purpose, by name
    steps_ns: tuple = ()  # times at which the antenna was moved by hand; from the station history
    estimate_walk: bool = False  # whether acceleration_m_s15 is taken from the data
    learn_weights: bool = False  # whether phases are weighted by how residuals scatter
    integers: bool = False  # whether ambiguities are fixed where products allow it
    gradients: bool = True  # whether horizontal gradients of the delay are estimated


@dataclass(frozen=True)
class Positions:
    """A solution: the marker at each epoch (static: one row per arc) with its covariance.

    ``covariance_m2`` (n, 3, 3) is east, north, up and calibrated; ``state`` says in words what the
    row rests on: ``float``, ``partly fixed``, ``integer-fixed``, ``code only``, ``no solution``.
    """

    station: str
    frame: str
    time_ns: np.ndarray
    position_m: np.ndarray  # (n, 3), marker, Earth-fixed
    covariance_m2: np.ndarray  # (n, 3, 3), east, north, up
    satellites: np.ndarray  # (n,) number used
    state: np.ndarray  # (n,) str
    summary: dict = field(default_factory=dict)  # rms, rejected by reason, products, warnings
