"""What a meter should show at battery, controller, loads, heater, turbine and antenna cable."""

import numpy as np

from .battery import LITHIUM, charge_limit_V, freezing_degC, rest_V
from .expectation import Expectation, Sign, metered
from .expected_panels import NOTHING, slug

CHARGED = (0.75, 0.95, 1.0)  # -; least, usual, most on the day of building, own choice
REST_V = (
    0.06,
    0.20,
)  # V of 12, below and above the table: other acid, charge just ended; own choice
SPREAD_V = 0.10  # V of 12, between blocks; common practice, no source
LOAD_SHARE = 0.20  # -, load current from the budget; common practice, no source
HEATER_SHARE = 0.10  # -, of a heater's resistance; common practice, no source
FUSE_V = 0.10  # V, over fuse and switch; common practice, no source
SWITCH_V = 0.30  # V of 12, of a controller's limits; common practice, no source
OFF_BATTERY_K = 10.0  # K; how far the battery may be from the thermometer, own choice
FREE_TURN = (0.5, 2.0)  # -, open voltage by wind over the voltage at the start; own choice
HIGHEST_M_S = 10.0  # m/s; no open-circuit reading of a rotor above, own choice
ANTENNA_V = (3.0, 5.0, 5.6)  # V; at the receiver's port, common practice, no source
ANTENNA_A = (0.015, 0.05, 0.12)  # A; common practice, no source

HOW_DC = "Red lead on plus, black on minus, V DC"
HOW_SERIES = "Meter in series in the plus wire, 10 A DC"
HOW_OHM = "Unplugged at both ends, ohm"


def battery_expectations(bank, conditions):
    """Return the :class:`Expectation` of blocks, bank, and the bank at the controller.

    Rested: an hour without charge or load. Between three quarters and fully charged; the table is
    ``battery.rest_V``, with its own margin for other acid and a charge just ended.
    """
    low, usual, high = _rest_bounds(bank, conditions.battery_degC)
    text = _charge_words(bank, conditions.battery_degC)
    dead = Sign((bank.cells - 1) / bank.cells - 0.02, (bank.cells - 1) / bank.cells + 0.02,
                "one cell is dead: change the block")  # fmt: skip
    most = "it is being charged, or has just been: wait an hour without charge"
    found = []
    for which in ("lowest", "highest") if bank.parallel * bank.series > 1 else ():
        found.append(
            Expectation(
                f"battery_{which}_block_V", f"battery, {which} block", "rested, disconnected", "V",
                *metered(low / bank.series, usual / bank.series, high / bank.series, "V"),
                f"{HOW_DC}; every block, before they are joined; {which} one here", text, most,
                (dead,), polar=True,
            )
        )  # fmt: skip
    halves = tuple(
        Sign(n / bank.series - 0.05, n / bank.series + 0.05, f"only {n} of {bank.series} blocks")
        for n in range(1, bank.series)
    )
    for key, what, how in (
        ("battery_rest_V", "rested", "an hour without charge and load"),
        ("battery_at_controller_V", "at the controller's terminals", "before it is switched on"),
    ):
        found.append(
            Expectation(
                key, "battery", what, "V", *metered(low, usual, high, "V"), f"{HOW_DC}; {how}",
                text, most, (Sign(-0.03, 0.03, NOTHING), *halves, dead), polar=True,
            )
        )  # fmt: skip
    return tuple(found)


def spread_sentence(bank, lowest_V, highest_V):
    """Return what too different blocks mean, or ''."""
    most = SPREAD_V * bank.block_V / 12.0
    apart = highest_V - lowest_V
    if not apart > most:
        return ""
    return (
        f"battery, blocks {apart:.2f} V apart, expected within {most:.2f} V: charge the lowest on "
        "its own and look again before joining them: a strong block empties itself into a weak one"
    )


def _rest_bounds(bank, degrees):
    """Return (least, usual, most) of the rested bank. [V]"""
    scale = bank.nominal_V / 12.0
    around = np.array([degrees - OFF_BATTERY_K, degrees, degrees + OFF_BATTERY_K])
    low, usual, high = rest_V(bank, np.array(CHARGED)[:, None], around) + np.zeros((3, 3))
    below, above = REST_V
    return float(low.min() - below * scale), float(usual[1]), float(high.max() + above * scale)


def _charge_words(bank, degrees):
    """Return the voltages of less charge, and what the cold does to it."""
    half, quarter = (float(rest_V(bank, charge, degrees)) for charge in (0.5, 0.25))
    if bank.chemistry == LITHIUM:
        return (
            f"not full: {half:.2f} V is about half, {quarter:.2f} V a quarter charged (flat, so "
            "rough); charge it above 0 degC before you leave"
        )
    return (
        f"not full: {half:.2f} V is half charged (freezes at {float(freezing_degC(0.5)):.0f} "
        f"degC), {quarter:.2f} V a quarter ({float(freezing_degC(0.25)):.0f} degC); charge it, "
        "look for a load left on"
    )


def charging_expectation(bank, conditions, compensated=True):
    """Return the :class:`Expectation` of the controller's output with panels in the light."""
    degrees = np.array([-OFF_BATTERY_K, 0.0, OFF_BATTERY_K]) + conditions.battery_degC
    limits = charge_limit_V(bank, degrees if compensated else np.full(3, 25.0))
    low, usual, _ = _rest_bounds(bank, conditions.battery_degC)
    scale = bank.nominal_V / 12.0
    return Expectation(
        "controller_out_V", "controller", "at the battery, panels in the light", "V",
        *metered(low, usual, float(limits.max()) + 0.15 * scale, "V"), HOW_DC,
        "no charge: the panels' fuse, plug or polarity; lithium is not charged in frost",
        "above the charge limit for this cold: wrong battery kind or voltage set; switch it off",
        (Sign(-0.03, 0.03, NOTHING),), polar=True,
    )  # fmt: skip


def switch_expectations(bank):
    """Return the :class:`Expectation` of the controller's two limits, from the cut-off test."""
    scale = bank.nominal_V / 12.0
    found = []
    for key, what, volts in (
        ("disconnect_V", "loads went off at", bank.switch_V[0]),
        ("reconnect_V", "loads came back at", bank.switch_V[1]),
    ):
        found.append(
            Expectation(
                key, "cut-off test", what, "V", volts - SWITCH_V * scale, volts,
                volts + SWITCH_V * scale,
                "Supply or a nearly empty small battery instead of the bank, turned down and up "
                "slowly",
                "set too low: the bank is drained below what it bears",
                "set too high: the station goes off with charge left",
            )
        )  # fmt: skip
    return tuple(found)


def load_expectations(loads, bank, conditions):
    """Return the :class:`Expectation` of each load's current while it is on."""
    low, usual, high = _rest_bounds(bank, conditions.battery_degC)
    found = []
    for load in loads:
        if load.power_W <= 0.0:
            continue
        amps = (
            load.power_W * (1.0 - LOAD_SHARE) / high,
            load.power_W / usual,
            load.power_W * (1.0 + LOAD_SHARE) / low,
        )
        always = load.duty >= 1.0
        found.append(
            Expectation(
                f"{slug(load.name)}_A", load.name, "while it is on", "A", *metered(*amps, "A"),
                HOW_SERIES + ("" if always else "; switch it on for the reading"),
                "not fully on: starting, asleep, antenna or card missing",
                "more than the budget: heater, screen or port left on; the winter was not "
                "reckoned with this",
                (Sign(-0.03, 0.05, "off: fuse, switch, polarity"),), polar=True,
            )
        )  # fmt: skip
    found.append(
        Expectation(
            "fuse_drop_V", "fuse and switch", "drop with all loads on", "V", 0.0, 0.5 * FUSE_V,
            FUSE_V, "One lead before, one behind the fuse, V DC, finest range",
            "leads turned: take the size",
            "bad crimp or wrong fuse: it heats and fakes a low battery",
        )
    )  # fmt: skip
    return tuple(found)


def heater_expectation(box, bank):
    """Return the :class:`Expectation` of the heater's resistance: V^2 / P."""
    ohm = bank.nominal_V**2 / box.heater_W
    return Expectation(
        "heater_ohm", "heater", "its resistance, cold", "ohm",
        *metered(ohm * (1.0 - HEATER_SHARE), ohm, ohm * (1.0 + HEATER_SHARE), "ohm"),
        f"{HOW_OHM}; at the heater itself, behind thermostat and cut-out",
        "more heat than planned (two in parallel, another voltage): it empties the bank",
        "less heat than planned, or open: fuse, cut-out, or measured through the open thermostat",
        (Sign(0.2, 0.3, "a quarter: a heater for half the voltage"),
         Sign(3.6, 4.4, "four times: a heater for twice the voltage")),
    )  # fmt: skip


def turbine_expectation(turbine, bank, wind_m_s):
    """Return the :class:`Expectation` of a turbine's open voltage in the wind of the moment.

    A generator's open voltage goes with its turns, and turns with the wind; where it begins to
    charge the two are the battery's voltage: V = V_bank v / v_start (derived here). Rotors and
    rectifiers differ, so the band is from half to twice.
    """
    volts = bank.nominal_V * wind_m_s / turbine.start_m_s
    turns = wind_m_s >= 0.75 * turbine.start_m_s
    least = FREE_TURN[0] * volts if turns else 0.0
    why = ""
    if wind_m_s > HIGHEST_M_S:
        why = (
            f"wind {wind_m_s:g} m/s: a rotor without load runs away above {HIGHEST_M_S:g} m/s; "
            "leave it braked and tied"
        )
    elif not turns:
        why = f"wind {wind_m_s:g} m/s: too little to turn it; turn the tied-free shaft by hand only"
    return Expectation(
        "turbine_open_V", "turbine", "nothing connected, behind its rectifier", "V",
        *metered(least, volts, FREE_TURN[1] * max(volts, 1.0), "V"),
        "Only as its maker allows, rotor clear of people; brake again at once",
        "seized, iced, brake on, or one phase open",
        "more than its controller may bear: read the controller's highest input",
        (Sign(-0.03, 0.03, "no voltage: it stands, the brake is on, or a wire is open"),),
        polar=True, must=not why, why_not=why,
    )  # fmt: skip


def antenna_expectations():
    """Return the :class:`Expectation` of the antenna's cable and supply, and of the insulation."""
    inf = np.inf
    return (
        Expectation(
            "plus_to_frame_ohm", "insulation", "plus to frame, all off", "ohm", 1e4, 1e6, inf,
            "Battery off, ohm between the plus rail and bare metal of the frame",
            "plus touches the frame: find it before power is on", "",
        ),
        Expectation(
            "antenna_shield_ohm", "antenna cable", "shield, end to end", "ohm",
            *_from_zero(1.0), HOW_OHM, "", "shield broken or plug loose",
        ),
        Expectation(
            "antenna_core_ohm", "antenna cable", "core to shield, antenna off", "ohm", 1e3, 1e6,
            inf, HOW_OHM, "core touches shield: water or a crushed plug", "",
        ),
        Expectation(
            "antenna_port_V", "antenna port", "at the cable's far end", "V",
            *metered(*ANTENNA_V, "V"), HOW_DC, "receiver gives no supply: setting, fuse, plug",
            "more than antennas usually bear: read the antenna's sheet before you plug it in",
            (Sign(-0.05, 0.05, "no supply: setting, short in the cable, or plug"),), polar=True,
        ),
        Expectation(
            "antenna_A", "antenna", "its current", "A", *ANTENNA_A,
            "As the receiver shows it, or meter in series",
            "antenna not supplied or not there", "short or water in cable or antenna",
            must=False,
        ),
    )  # fmt: skip


def _from_zero(most):
    low, middle, high = metered(0.0, 0.5 * most, most, "ohm")
    return max(low, 0.0), middle, high


def charge_of(bank, volts_V, degrees):
    """Return about how charged a rested bank of a voltage is, 0 to 1."""
    charge = np.linspace(0.0, 1.0, 201)
    return float(np.interp(volts_V, rest_V(bank, charge, degrees), charge))


def charge_table(bank, degrees, charges=(1.0, 0.75, 0.5, 0.25, 0.0)):
    """Return rows (charge, rest voltage, freezing temperature or NaN) for a sheet."""
    lead = bank.chemistry != LITHIUM
    return tuple(
        (c, float(rest_V(bank, c, degrees)), float(freezing_degC(c)) if lead else float("nan"))
        for c in charges
    )
