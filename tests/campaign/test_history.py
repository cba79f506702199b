"""Heights, steps and contradictions by a history whose figures are worked out by hand."""

import numpy as np
import pytest

from stakeline.campaign.history import compare_with_header, read_history
from stakeline.errors import SettingsError
from stakeline.tables import ObservationHeader
from stakeline.time import from_iso, gps_from_utc

SETUP = """station = "HV01"

[[visit]]
time = 2031-04-28T14:30:00Z
kind = "set-up"
[visit.receiver]
type = "POLAR RX 4"
serial = "30117"
firmware = "2.1.4"
[visit.antenna]
type = "HALVARD ICE1    NONE"
serial = "A-0093"
[visit.height]
measured_m = 1.532
how = "vertical"
from = "marker"
to = "antenna reference point"
"""
RAISE = """
[[visit]]
time = 2031-07-01T10:00:00Z
kind = "raise"
[visit.height]
measured_m = 2.600
how = "slope"
from = "marker"
to = "rim"
to_above_reference_m = 0.035
from_axis_m = 0.170
"""


def at(utc):
    return int(gps_from_utc(from_iso(utc)))


@pytest.fixture
def history(tmp_path):
    def read(text=SETUP + RAISE):
        path = tmp_path / "HV01.toml"
        path.write_text(text, encoding="utf-8")
        return read_history(path)

    return read


def refusal(history, text):
    with pytest.raises(SettingsError) as caught:
        history(text)
    return str(caught.value).rpartition("/")[2]


def test_vertical_height_holds_until_the_raise(history):
    assert history().height_at(at("2031-07-01T09:59:59")) == (1.532, 0.0, 0.0)


def test_slope_height_is_reduced(history):
    up, east, north = history().height_at(at("2031-07-01T10:00:00"))
    # right triangle: sqrt(2.600^2 - 0.170^2) = 2.594436, less 0.035 m; by hand
    assert up == pytest.approx(2.5594363, abs=1e-6)
    assert (east, north) == (0.0, 0.0)


def test_height_read_from_elsewhere_is_carried_down_to_the_marker(history):
    text = SETUP.replace('from = "marker"', 'from = "collar"\nfrom_above_marker_m = 0.200')
    assert history(text).height_at(at("2031-05-01T00:00:00"))[0] == pytest.approx(1.732)


def test_a_tilt_left_behind_moves_the_antenna_sideways(history):
    tilted = SETUP + "[visit.tilt_left]\nangle_deg = 5\ntoward_deg = 90\n"
    up, east, north = history(tilted).height_at(at("2031-05-01T00:00:00"))
    # 1.532 m times cos 5 deg = 0.9961947 and sin 5 deg = 0.0871557; table of natural sines
    assert up == pytest.approx(1.532 * 0.9961947, abs=1e-6)
    assert east == pytest.approx(1.532 * 0.0871557, abs=1e-6)
    assert north == pytest.approx(0.0, abs=1e-12)


def test_a_tilt_found_is_recorded_and_not_applied(history):
    text = SETUP + "[visit.tilt_found]\nangle_deg = 5\ntoward_deg = 90\n"
    assert history(text).height_at(at("2031-05-01T00:00:00")) == (1.532, 0.0, 0.0)


def test_steps_name_what_changed(history):
    (step,) = history().steps()
    assert step.time_ns == at("2031-07-01T10:00:00")
    assert step.sentence == "antenna height 1.5320 m becomes 2.5594 m"


def test_a_visit_that_changes_nothing_is_no_step(history):
    visit = '\n[[visit]]\ntime = 2031-06-01T10:00:00Z\nkind = "visit"\nnote = "battery"\n'
    assert history(SETUP + visit).steps() == []


def test_new_firmware_keeps_the_receiver(history):
    visit = '\n[[visit]]\ntime = 2031-06-01T10:00:00Z\nkind = "visit"\n'
    visit += '[visit.receiver]\nfirmware = "2.2"\n'
    later = history(SETUP + visit).receiver_at(at("2031-06-02T00:00:00"))
    assert (later.type, later.serial, later.firmware) == ("POLAR RX 4", "30117", "2.2")


def test_nothing_is_known_before_the_set_up(history):
    with pytest.raises(SettingsError, match="HV01 was set up on 2031-04-28T14:30:00Z"):
        history().height_at(at("2031-04-28T14:29:59"))


def test_offset_times_are_turned_to_utc(history):
    text = SETUP.replace("14:30:00Z", "16:30:00+02:00")
    assert history(text).begins_ns == at("2031-04-28T14:30:00")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("14:30:00Z", "14:30:00"), "HV01.toml:4: visit.1.time: time says not which scale"),
        (('from = "marker"', 'from = "snow"'), "HV01.toml:13: visit.1.height: is read from 'snow'"),
        (
            ('to = "antenna reference point"', 'to = "top"'),
            "HV01.toml:13: visit.1.height: is read to",
        ),
        (('how = "vertical"', 'how = "slope"'), "visit.1.height: is a slope reading: say how far"),
        (("measured_m = 1.532", "measured_ft = 5.0"), "HV01.toml:14: visit.1.height.measured_ft"),
        (('kind = "set-up"', 'kind = "visit"'), "HV01.toml:5: visit.1.kind: the first visit must"),
        (('station = "HV01"', 'station = "HV09"'), "HV01.toml:1: station: found 'HV09'"),
        (("[visit.antenna]", "[visit.antena]"), "did you mean 'antenna'?"),
    ],
)
def test_mistakes_are_told_with_their_line(history, change, said):
    assert said in refusal(history, SETUP.replace(*change))


def test_visits_out_of_order(history):
    said = refusal(history, SETUP + RAISE.replace("2031-07-01", "2031-04-01"))
    assert (
        said == "HV01.toml:20: visit.2.time: is not after the visit above it; keep visits in order"
    )


def test_a_raise_must_state_the_height(history):
    visit = '\n[[visit]]\ntime = 2031-06-01T10:00:00Z\nkind = "raise"\n'
    assert "a raise must state the new height" in refusal(history, SETUP + visit)


def header(**changes):
    fields = {
        "marker_name": "HV01",
        "antenna_type": "HALVARD ICE1    NONE",
        "antenna_number": "A-0093",
        "receiver_type": "POLAR RX 4",
        "receiver_number": "30117",
        "receiver_version": "2.1.4",
        "antenna_height_m": 1.532,
    }
    return ObservationHeader(**(fields | changes))


def test_a_header_that_agrees_says_nothing(history):
    assert compare_with_header(history(), header(), at("2031-05-01T00:00:00")) == []


def test_blank_fields_contradict_nothing_but_the_height(history):
    blank = ObservationHeader()
    found = compare_with_header(history(), blank, at("2031-05-01T00:00:00"))
    assert found == [
        "antenna height in the header is 0.0000 m, the history says 1.5320 m (-1532.0 mm); "
        "the history is used"
    ]


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"marker_name": "TEST"}, "marker name in the header is TEST, not HV01"),
        (
            {"antenna_type": "OTHER DOME"},
            "antenna type in the header is OTHER DOME, the history says",
        ),
        ({"receiver_number": "9"}, "receiver serial in the header is 9, the history says 30117"),
        ({"receiver_version": "3"}, "firmware in the header is 3, the history says 2.1.4"),
    ],
)
def test_contradictions_are_sentences(history, changes, said):
    (found,) = compare_with_header(history(), header(**changes), at("2031-05-01T00:00:00"))
    assert found.startswith(said)


def test_the_long_form_of_the_name_is_the_same_name(history):
    long = header(marker_name="HV0100ATA")
    assert compare_with_header(history(), long, at("2031-05-01T00:00:00")) == []


def test_a_header_position_far_away(history):
    place = np.array([1.16e6, 3.6e5, 6.24e6])
    changed = header(approximate_position_m=(1.16e6, 3.6e5, 6.25e6))
    (found,) = compare_with_header(history(), changed, at("2031-05-01T00:00:00"), place)
    assert found == "position in the header is 10.0 km from where the history has it"
