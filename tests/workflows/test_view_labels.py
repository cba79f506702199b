"""Names on a map: none hides another where there is room, and the best spot is taken."""

import itertools

import numpy as np

from stakeline.workflows.view_labels import Labels, around, beside, box


def overlap(one, other):
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)


def test_a_lone_name_stands_at_its_best_spot():
    labels = Labels(900.0, 560.0)
    labels.point(400.0, 300.0, 8.0)
    assert labels.place("HV02", beside(400.0, 300.0)) == beside(400.0, 300.0)[0]


def test_names_of_crowded_stations_do_not_hide_each_other():
    labels, places = Labels(900.0, 560.0), [(400.0 + 45.0 * k, 300.0 + 12.0 * k) for k in range(4)]
    for x, y in places:
        labels.point(x, y, 8.0)
    boxes = [box("HV02", *labels.place("HV02", beside(x, y))) for x, y in places]
    assert all(overlap(a, b) == 0.0 for a, b in itertools.combinations(boxes, 2))


def test_the_name_of_a_lake_keeps_clear_of_a_station_below_it():
    ring = np.array([[380.0, 280.0], [420.0, 280.0], [420.0, 320.0], [380.0, 320.0]])
    labels = Labels(900.0, 560.0)
    labels.point(400.0, 335.0, 8.0)
    labels.line((400.0, 335.0), (460.0, 335.0))
    own = box("Upper Halvard", *labels.place("Upper Halvard", around(ring)))
    assert overlap(own, (392.0, 327.0, 463.0, 343.0)) == 0.0


def test_a_name_stays_on_the_map():
    labels = Labels(900.0, 560.0)
    left, top, right, bottom = box("HV02", *labels.place("HV02", beside(895.0, 4.0)))
    assert left >= 0.0
    assert top >= 0.0
    assert right <= 900.0
    assert bottom <= 560.0
