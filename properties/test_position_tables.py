"""Positions survive their way through a table."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.tables import Positions
from stakeline.workflows.position_tables import read_position_table
from stakeline.workflows.series import columns_of, metadata_of, table_bytes

ROWS = st.lists(
    st.tuples(
        st.integers(1, 10**14),  # ns since the row before
        st.floats(-89.9, 89.9),
        st.floats(-180.0, 180.0),
        st.floats(-400.0, 9000.0),
        st.floats(1e-4, 10.0),
        st.floats(-0.99, 0.99),
        st.integers(0, 60),
        st.sampled_from(["float", "integer-fixed", "code only", "no solution"]),
    ),
    min_size=1,
    max_size=20,
)


def positions_of_rows(rows):
    steps, latitude, longitude, height, sigma, correlation, satellites, state = zip(
        *rows, strict=True
    )
    covariance = np.tile(np.eye(3), (len(rows), 1, 1))
    covariance[:, 0, 2] = covariance[:, 2, 0] = correlation
    return Positions(
        station="HV05",
        frame="IGS20",
        time_ns=10**18 + np.cumsum(np.array(steps, np.int64)),
        position_m=xyz_from_geodetic(np.radians(latitude), np.radians(longitude), np.array(height)),
        covariance_m2=covariance * np.square(sigma)[:, None, None],
        satellites=np.array(satellites),
        state=np.array(state, object),
    )


@given(rows=ROWS)
def test_parquet_keeps_everything(rows, tmp_path_factory):
    given_columns = columns_of(positions_of_rows(rows))
    path = tmp_path_factory.getbasetemp() / "HV05.parquet"
    said = metadata_of([positions_of_rows(rows)], [], {})
    path.write_bytes(table_bytes(path, given_columns, said))
    columns, metadata = read_position_table(path, station="HV05")
    for name, values in given_columns.items():
        np.testing.assert_array_equal(columns[name], values, err_msg=name)
    assert metadata == {"frame": "IGS20", "passed_over": ()}


@given(rows=ROWS)
def test_text_keeps_what_its_decimals_hold(rows, tmp_path_factory):
    given_columns = columns_of(positions_of_rows(rows))
    path = tmp_path_factory.getbasetemp() / "HV05.csv"
    path.write_bytes(table_bytes(path, given_columns, {}))
    columns, _ = read_position_table(path)
    np.testing.assert_array_equal(columns["time_gps"], given_columns["time_gps"])
    for name in ("station", "state", "satellites"):
        np.testing.assert_array_equal(columns[name], given_columns[name])
    for name in ("x_m", "y_m", "z_m", "sigma_east_m", "sigma_up_m", "corr_eu"):
        # five decimals in the text
        np.testing.assert_allclose(columns[name], given_columns[name], atol=0.51e-5, rtol=0)
