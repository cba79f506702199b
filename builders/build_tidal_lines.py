"""Build src/stakeline/earth/_tidal_lines.py: the spectrum of the degree-2 tidal potential.

    python builders/build_tidal_lines.py

Nothing is taken from a published catalogue. The Sun and the Moon of ERFA (epv00, moon98) are
followed once a day over two centuries; the degree-2 potential of each species (long period,
diurnal, semi-diurnal), with the daily turn taken out, is a slowly varying complex number. Its lines
are sought at integer combinations of the mean longitudes s, h, p, N' (and ps), largest first, and
fitted together by least squares until 342 are found. Takes a few minutes.
"""

from pathlib import Path

import erfa
import numpy as np

COUNT = 342
OUT = Path(__file__).parents[1] / "src" / "stakeline" / "earth" / "_tidal_lines.py"
DAY = np.arange(2451545.0 - 36500.0, 2451545.0 + 36500.0)  # TT, centred on 2000
GM_RATIO = 332946.0482 / 0.0123000371  # Sun over Moon; IERS Conventions (2010), section 7.1.1


def arguments():
    """Return s, h, p, N', ps, shape (days, 5), as loading.doodson_arguments has them. [rad]"""
    t = (DAY - 2451545.0) / 36525.0
    moon, sun = erfa.fal03(t), erfa.falp03(t)
    latitude, elongation, node = erfa.faf03(t), erfa.fad03(t), erfa.faom03(t)
    s = latitude + node
    return np.stack([s, s - elongation, s - moon, -node, s - elongation - sun], axis=-1)


def body(position):
    """Return distance, sine of declination and right ascension from the mean equinox of date."""
    zero = np.zeros_like(DAY)
    x, y, s = erfa.xys00b(DAY, zero)
    of_date = np.einsum("nij,nj->ni", erfa.c2ixys(x, y, s), position)
    distance = np.linalg.norm(of_date, axis=1)
    origin = erfa.gmst06(DAY, zero, DAY, zero) - erfa.era00(DAY, zero)
    ascension = np.arctan2(of_date[:, 1], of_date[:, 0]) + origin
    return distance, of_date[:, 2] / distance, ascension


def series(species, bodies, s):
    """Return the slowly varying part of the potential, complex (days,).

    With tau = GMST - s + pi its real part times exp(i species tau) is the potential at Greenwich.
    """
    total = np.zeros(DAY.size, complex)
    for weight, (distance, sin_dec, ascension) in bodies:
        cos_dec = np.sqrt(1.0 - sin_dec**2)
        legendre = (1.5 * sin_dec**2 - 0.5, 3.0 * sin_dec * cos_dec, 3.0 * cos_dec**2)[species]
        turn = np.exp(1j * species * (s - ascension - np.pi))
        total += weight * legendre * turn / distance**3
    return total


def candidates(species):
    """Return integer multipliers (k, 4) of s, h, p, N' that a tide can have."""
    s, h, p, n = np.meshgrid(
        np.arange(-5, 6), np.arange(-7, 8), np.arange(-4, 5), np.arange(-3, 4), indexing="ij"
    )
    rows = np.stack([s.ravel(), h.ravel(), p.ravel(), n.ravel()], axis=-1)
    if species == 0:  # a real series: one of each pair is enough
        rate = rows @ np.array([13.1764, 0.98565, 0.1114, 0.05295])
        rows = rows[rate > 1e-3]
    return rows


def spectrum_at(values, rate_per_day, taper):
    """Return complex amplitudes of ``values`` near the frequencies, by a tapered transform."""
    padded = 4 * 2 ** int(np.ceil(np.log2(values.size)))
    transform = np.fft.fft(values * taper, padded) / taper.sum()
    index = np.round(rate_per_day / (2.0 * np.pi) * padded).astype(int)
    return np.abs(transform[index % padded]), index % padded


def find_lines(values, args, species, wanted):
    """Return multipliers (k, 4) and complex amplitudes of the largest lines."""
    rows = candidates(species)
    turned = np.unwrap(args[:, :4], axis=0)
    rate = (turned[-1] - turned[0]) @ rows.T / (DAY.size - 1)
    rows, rate = _one_of_each_alias(rows, rate)
    taper = np.hanning(values.size)
    chosen = np.zeros(len(rows), bool)
    residual, amplitude = values, np.empty(0)
    while chosen.sum() < 1.25 * wanted:
        size, place = spectrum_at(residual, rate, taper)
        size *= 1.0 - 0.02 * np.abs(rows).sum(axis=1)  # of two that fit, the simpler
        size[chosen] = 0.0
        new = size > max(0.2 * size.max(), 1e-7 * np.abs(values).max())
        new = _local_peaks(new, size, place)
        if not new.any():
            break
        chosen |= new
        amplitude, residual = fit(values, args[:, :4], rows[chosen], species)
    rows, rate = rows[chosen], rate[chosen]
    true = _without_shadows(rate, np.abs(amplitude))
    amplitude, _ = fit(values, args[:, :4], rows[true], species)
    return rows[true], amplitude


def _without_shadows(rate, size):
    """Mark lines that are not merely the slow change of a much larger one beside them.

    Eccentricity and obliquity change over two centuries; a constant line leaves a remainder that a
    neighbour closer than 1/100 a would take for itself.
    """
    near = np.abs(rate[:, None] - rate) < 2.0 * np.pi / (365.25 * 100.0)
    return ~np.any(near & (size > 20.0 * size[:, None]), axis=1)


def _one_of_each_alias(rows, rate):
    """Keep, of combinations closer than 1/220 a, the one with the smallest numbers."""
    near = 2.0 * np.pi / (365.25 * 220.0)
    cells, kept = {}, []
    for k in np.argsort(np.abs(rows).sum(axis=1), kind="stable"):
        cell = int(rate[k] // near)
        others = [j for c in (cell - 1, cell, cell + 1) for j in cells.get(c, ())]
        if all(abs(rate[k] - rate[j]) > near for j in others):
            cells.setdefault(cell, []).append(k)
            kept.append(k)
    index = np.sort(np.array(kept))
    return rows[index], rate[index]


def _local_peaks(new, size, place):
    """Of candidates closer than the resolution keep the largest."""
    keep = np.zeros_like(new)
    for k in sorted(np.flatnonzero(new), key=lambda j: -size[j]):
        if not np.any(keep & (np.abs(place - place[k]) < 12)):
            keep[k] = True
    return keep


def fit(values, args, rows, species):
    """Return complex amplitudes by least squares, and what remains of ``values``."""
    if species == 0:
        return _fit_real(values, args, rows)
    normal, right = 0.0, 0.0
    pieces = np.array_split(np.arange(values.size), 40)
    for piece in pieces:
        wave = np.exp(1j * (args[piece] @ rows.T))
        normal = normal + wave.conj().T @ wave
        right = right + wave.conj().T @ values[piece]
    amplitude = np.linalg.solve(normal, right)
    remains = np.concatenate(
        [values[p] - np.exp(1j * (args[p] @ rows.T)) @ amplitude for p in pieces]
    )
    return amplitude, remains


def _fit_real(values, args, rows):
    """The same for a real series: amplitudes of cos (real part) and -sin (imaginary part)."""
    normal, right = 0.0, 0.0
    pieces = np.array_split(np.arange(values.size), 40)

    def design(piece):
        angle = args[piece] @ rows.T
        return np.concatenate([np.ones((piece.size, 1)), np.cos(angle), -np.sin(angle)], axis=1)

    for piece in pieces:
        wave = design(piece)
        normal = normal + wave.T @ wave
        right = right + wave.T @ values[piece].real
    solution = np.linalg.solve(normal, right)
    remains = np.concatenate([values[p].real - design(p) @ solution for p in pieces])
    half = len(rows)
    return solution[1 : half + 1] + 1j * solution[half + 1 :], remains.astype(complex)


def with_perihelion(rows, amplitude, species, ps_mean):
    """Return multipliers (m, 5) with ps, real amplitudes (m,).

    The perihelion moves 1.7 deg a century, so that it cannot be told apart by speed; but potentials
    have cosines only (long period, semi-diurnal) or sines only (diurnal). So each line gets the ps
    that makes it real; where none does, it is two lines, with -ps and +ps.
    """
    amplitude = amplitude * (-1j if species == 1 else 1.0)
    choice = np.array([0, -1, 1, -2, 2])
    turned = amplitude[:, None] * np.exp(-1j * choice * ps_mean)
    miss = np.abs(turned.imag) / np.abs(turned) + 0.01 * np.abs(choice)
    best = np.argmin(miss, axis=1)
    out = []
    for k, row in enumerate(rows):
        if np.abs(choice[best[k]]) == 1 and miss[k, best[k]] > 0.025:
            basis = np.array([[np.cos(ps_mean)] * 2, [-np.sin(ps_mean), np.sin(ps_mean)]])
            parts = np.linalg.solve(basis, [amplitude[k].real, amplitude[k].imag])
            out += [(*row, -1, parts[0]), (*row, 1, parts[1])]
        else:
            out.append((*row, choice[best[k]], turned[k, best[k]].real))
    table = np.array(out)
    return table[:, :5].astype(int), table[:, 5]


def write(lines):
    """Write the module: rows of species, s, h, p, N', ps and amplitude."""
    with OUT.open("w", encoding="ascii", newline="\n") as out:
        out.write(
            '"""Lines of the degree-2 tidal potential; made by builders/build_tidal_lines.py.'
        )
        out.write(
            "\n\nColumns: multiples of tau, s, h, p, N', ps; amplitude relative to Mf, K1 or M2 of"
        )
        out.write("\nthe species, for cos(argument), of diurnal lines cos(argument + 90 deg).")
        out.write('\n"""\n\n')
        out.write("import numpy as np\n\nLINES = np.array(\n    [\n")
        for *numbers, amplitude in lines:
            text = ", ".join(str(int(n)) for n in numbers)
            out.write(f"        ({text}, {amplitude:.7f}),\n")
        out.write("    ]\n)\n")


def main():
    zero = np.zeros_like(DAY)
    sun = -erfa.epv00(DAY, zero)[0]["p"]
    moon = erfa.moon98(DAY, zero)["p"]
    unit = 384400.0 / 149597870.7  # Moon's mean distance in au: scales the numbers only
    bodies = [(GM_RATIO * unit**3, body(sun)), (unit**3, body(moon))]
    args = arguments()
    ps_mean = np.angle(np.exp(1j * args[:, 4]).mean())
    lines = []
    for species, wanted in ((0, 100), (1, 160), (2, 130)):
        values = series(species, bodies, args[:, 0])
        rows, amplitude = find_lines(values - values.mean() * (species == 0), args, species, wanted)
        rows, real = with_perihelion(rows, amplitude, species, ps_mean)
        order = np.argsort(-np.abs(real))
        print(f"species {species}: {len(rows)} lines")
        scale = real[order[0]]
        lines += [(species, *rows[k], real[k], scale) for k in order]
    lines.sort(key=lambda line: -abs(line[-2]))
    kept = [(*line[:-2], line[-2] / line[-1]) for line in lines[:COUNT]]
    write(sorted(kept, key=lambda line: (line[0], -abs(line[-1]))))
    print(f"{OUT.name}: {len(kept)} lines, smallest {min(abs(line[-1]) for line in kept):.1e}")


if __name__ == "__main__":
    main()
