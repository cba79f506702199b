import numpy as np
from scipy.integrate import quad

from stakeline.simulate.course import Course, course_of


def test_a_course_never_leaves_its_nodes():
    values = np.random.default_rng(2).uniform(0.0, 1.0, 40) ** 6
    course = Course(-3.0, 2.0, values)
    time_s = np.linspace(-3.0, course.last_s, 4001)
    index = np.minimum(((time_s + 3.0) / 2.0).astype(int), 38)
    low = np.minimum(values[index], values[index + 1])
    high = np.maximum(values[index], values[index + 1])
    # Fritsch & Carlson (1980): monotone between nodes
    assert np.all((course(time_s) > low - 1e-12) & (course(time_s) < high + 1e-12))
    np.testing.assert_allclose(course(-3.0 + 2.0 * np.arange(40)), values, atol=1e-14)


def test_the_integral_is_that_of_the_value():
    course = Course(-10.0, 5.0, np.array([1.0, 3.0, 2.0, 2.0, 7.0, -1.0]))
    for end_s in (-14.0, -10.0, -2.5, 0.0, 3.3, 11.0, 15.0, 21.0):
        inner = [p for p in (-10.0, -5.0, 5.0, 10.0, 15.0) if min(0.0, end_s) < p < max(0.0, end_s)]
        # adaptive quadrature is the second way
        expected = quad(lambda t: float(course(np.clip(t, -10, 15))), 0.0, end_s, points=inner)[0]
        assert abs(float(course.integral(end_s)) - expected) < 1e-9


def test_a_straight_line_is_kept():
    course = course_of(lambda t: 2.0 + 0.5 * t, -4.0, 10.0, 1.0)
    time_s = np.linspace(-4.0, 10.0, 57)
    # calculus: the integral of 2 + t/2 is 2 t + t^2 / 4
    np.testing.assert_allclose(course.integral(time_s), 2.0 * time_s + time_s**2 / 4, atol=1e-12)
