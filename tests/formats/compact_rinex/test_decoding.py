"""Compact records: samples worked out by hand, and a plain decoder of text beside the compiled one.

The rules are those of Hatanaka (2008), Bulletin of the GSI 55, section 3.
"""

import gzip
from pathlib import Path

import numpy as np
import pytest

from stakeline.formats.compression import open_bytes
from stakeline.formats.rinex_obs import parse_observations, read_observations
from stakeline.tables import satellite_name
from stakeline.time import from_iso

SAMPLES = Path(__file__).parent / "samples"
NAN = np.nan


def test_version_3_by_hand():
    found = read_observations(SAMPLES / "hv02.crx")
    assert found.passed_over == ()
    starts = [f"2020-06-25T00:{text}.1234567" for text in ("00:00", "00:30", "01:00", "01:30")]
    assert found.time_ns.tolist() == [from_iso(text) for text in starts]
    names = [satellite_name(s) for s in found.satellite]
    assert names == ["G01", "E36", "G01", "E36", "G01", "E36", "G01"]
    # first values 3& in full; then first, second and third differences added up by hand
    assert found.value[::2, 0].tolist() == [20000000.001, 20000030.001, 20000060.006, 20000090.017]
    np.testing.assert_array_equal(found.value[5], [23000060.497, 120865314.002, 45.366, NAN])
    assert found.clock_offset_s[:3].tolist() == [-1e-9, -9e-10, -8.9e-10]
    assert np.isnan(found.clock_offset_s[3])
    assert found.lock[::2].tolist() == [[0, 1, 0, 3]] * 3 + [[0, 1, 2, 3]]
    assert found.strength[::2, 1].tolist() == [7, 0, 0, 0]  # & makes a blank


def test_version_1_by_hand():
    found = read_observations(SAMPLES / "hv011770.20d")
    assert found.passed_over == ()
    assert found.time_ns[1] == from_iso("2020-06-26T00:00:00.188")
    assert [satellite_name(s) for s in found.satellite] == ["G01", "R03", "G01", "G12", "R03"]
    np.testing.assert_array_equal(found.value[4], [20999999.999, 112140000.0, 40.25])
    np.testing.assert_array_equal(found.value[2], [20000030.125, 105000158.0, 45.25])
    assert found.clock_offset_s.tolist() == [-0.000123456, -0.000122456]


def patched(old, change):
    wide = max(len(old), len(change))
    pairs = zip(old.ljust(wide), change.ljust(wide), strict=True)
    return "".join(o if c == " " else (" " if c == "&" else c) for o, c in pairs)


def add(arcs, key, text):
    """Take a number into the arc ``key``; return the value."""
    if "&" in text:
        arcs[key] = (int(text[0]), [int(text[2:])])
    else:
        order, last = arcs[key]
        new = [0] * min(len(last), order) + [int(text)]
        new = new if len(new) > len(last) else [*[0] * (len(last) - 1), int(text)]
        for k in range(len(new) - 2, -1, -1):
            new[k] = (last[k] if k < len(last) else 0) + new[k + 1]
        arcs[key] = (order, new)
    return arcs[key][1][0]


def decoded(lines, codes_of, version):
    """Yield (epoch text, satellite, values in thousandths or None, flags) of compact records."""
    at, mark = (41, ">") if version == 3 else (32, "&")
    epoch, arcs, flags, k = "", {}, {}, 0
    while k < len(lines):
        if lines[k][:1] == mark:
            epoch, arcs, flags = "", {}, {}
            flag, count = lines[k][at - 10 if version == 3 else 28], lines[k][29:32]
            if flag > "1":
                k += 1 + int(lines[k][32:35] if version == 3 else count)
                continue
        epoch = patched(epoch, lines[k].replace("&", " ", lines[k][:1] == "&"))
        count = int(epoch[32:35] if version == 3 else epoch[29:32])
        names = [epoch[at + 3 * j : at + 3 * j + 3] for j in range(count)]
        arcs = {key: arc for key, arc in arcs.items() if key[0] in names}
        flags = {name: text for name, text in flags.items() if name in names}
        for name, line in zip(names, lines[k + 2 : k + 2 + count], strict=True):
            n = codes_of(name)
            parts = (line.split(" ", n) + [""] * n)[: n + 1]
            values = []
            for j, part in enumerate(parts[:n]):
                if not part:
                    arcs.pop((name, j), None)
                values.append(add(arcs, (name, j), part) if part else None)
            text = patched(flags.get(name, "").ljust(2 * n), parts[n])
            if version == 1:
                text = "".join(
                    text[2 * j : 2 * j + 2] if v is not None else "  " for j, v in enumerate(values)
                )
            flags[name] = text
            yield epoch, name, values, text
        k += 2 + count


def agree(data, name):
    """Return the number of rows after comparing both decoders."""
    found = parse_observations(data, name)
    lines = data.decode("latin-1").splitlines()
    version = int(lines[0][0])
    body = next(k for k, text in enumerate(lines) if text[60:].strip() == "END OF HEADER") + 1
    codes = {s: len(c) for s, c in found.codes.items()}
    rows = 0
    for row, (_, satellite, values, flags) in enumerate(
        decoded(lines[body:], lambda s: codes[s[0]], version)
    ):
        n = codes[satellite[0]]
        assert satellite_name(found.satellite[row]) == satellite.replace(" ", "0")
        expected = [v / 1000 if v else NAN for v in values]
        np.testing.assert_array_equal(found.value[row, :n], expected)
        digits = [0 if c == " " else int(c) for c in flags]
        assert found.lock[row, :n].tolist() == digits[::2]
        assert found.strength[row, :n].tolist() == digits[1::2]
        rows += 1
    assert rows == len(found.satellite)
    return rows


@pytest.mark.parametrize("name", ["hv02.crx", "hv011770.20d"])
def test_plain_decoder_agrees_on_samples(name):
    assert agree((SAMPLES / name).read_bytes(), name) > 4


@pytest.mark.real
@pytest.mark.compiled
@pytest.mark.parametrize(
    "name",
    [
        "readers/mixed_cases/BRUX00BEL_R_20202302000_01H_30S_MO.crx.gz",
        "readers/slip_cases/seat0440.16d.Z",
        "readers/field_cases/KMS300DNK_R_20221591000_01H_30S_MO.crx",
        "moflux_2025_001/mozr001a.25d.gz",
        "world_2016_044/24h_lhaz0440.16d.Z",
    ],
)
def test_plain_decoder_agrees_on_real_files(reference_data, name):
    ((_, data),) = open_bytes(reference_data / "gnss" / name)
    assert agree(data, name) > 300


def sample_lines():
    return (SAMPLES / "hv02.crx").read_bytes().splitlines(keepends=True)


def test_a_damaged_line_costs_its_satellite_until_the_next_full_values():
    lines = sample_lines()
    damaged = lines.index(b"5 7  11\n")
    lines[damaged] = b"x 7  11\n"
    found = parse_observations(b"".join(lines), "x")
    assert [satellite_name(s) for s in found.satellite[4:]] == ["E36", "G01"]
    assert np.isnan(found.value[5]).all()
    ((line, count),) = [(n.line, n.count) for n in found.passed_over]
    assert (line, count) == (damaged + 1, 4)  # its line, and three values in the line after


@pytest.mark.parametrize("missing", range(12, 21))
def test_a_missing_line_never_gives_wrong_values(missing):
    whole = read_observations(SAMPLES / "hv02.crx")
    lines = sample_lines()
    head = next(k for k, text in enumerate(lines) if b"END OF HEADER" in text) + 1
    del lines[head + missing - 12]
    found = parse_observations(b"".join(lines), "x")
    assert len(found) < len(whole)
    assert found.passed_over
    for epoch, time_ns in enumerate(found.time_ns):
        k = int(np.searchsorted(whole.time_ns, time_ns))
        for row in range(found.row_start[epoch], found.row_start[epoch + 1]):
            rows = slice(whole.row_start[k], whole.row_start[k + 1])
            twin = whole.value[rows][whole.satellite[rows] == found.satellite[row]]
            known = ~np.isnan(found.value[row])
            assert (found.value[row][known] == twin[0][known]).all()


def test_packed_compact_file(tmp_path):
    path = tmp_path / "hv02.crx.gz"
    path.write_bytes(gzip.compress((SAMPLES / "hv02.crx").read_bytes()))
    assert len(read_observations(path)) == 4
