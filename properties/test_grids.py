"""Damaged grids: whatever the bytes, they read or are refused in one sentence."""

import io

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, TiffImagePlugin

from stakeline.errors import FormatError
from stakeline.formats.grids import Grids, read_grids, write_grids


def tiff():
    """Return the bytes of a small GeoTIFF."""
    info = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, kind, value in (
        (33550, 12, (500.0, 500.0, 0.0)), (33922, 12, (0.0, 0.0, 0.0, 3e5, -1e6, 0.0)),
        (34735, 3, (1, 1, 0, 1, 3072, 0, 1, 3413)), (42113, 2, "-9999"),
    ):  # fmt: skip
        info.tagtype[tag] = kind
        info[tag] = value
    sink = io.BytesIO()
    Image.fromarray(np.arange(20, dtype=np.float32).reshape(4, 5)).save(sink, "TIFF", tiffinfo=info)
    return sink.getvalue()


WHOLE = {
    "nc": write_grids(
        Grids(np.arange(5.0), np.arange(4.0), 3413, {"bed": np.arange(20.0).reshape(4, 5)})
    ),
    "tif": tiff(),
}


def outcome(path):
    """Return (Grids or None, what was said)."""
    try:
        return read_grids(path), ""
    except FormatError as problem:
        return None, str(problem)


@pytest.mark.parametrize("kind", list(WHOLE))
@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(changes=st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 255)), max_size=6))
def test_damage_is_refused_or_read(tmp_path, kind, changes):
    data = bytearray(WHOLE[kind])
    for place, value in changes:
        data[place % len(data)] = value
    path = tmp_path / f"bed.{kind}"
    path.write_bytes(bytes(data))
    grids, said = outcome(path)
    assert grids is not None or str(path) in said
    for field in grids.fields.values() if grids else ():
        assert field.shape == (len(grids.y_m), len(grids.x_m))
