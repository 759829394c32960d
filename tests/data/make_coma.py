"""Exact spots and wavefronts of perfect paraboloids off axis -> coma.json.

What: RMS spot, centroid, tangential and sagittal coma in the plane z = f, least-spot focus, and
the wavefront RMS about the reference point that makes it least, with the stop at the mirror.

Method: rays of mpmath numbers (34 digits), reflection at the exact normal, straight line to the
plane. Hit points Q cover the disc of the clear aperture (Gauss-Legendre in r^2, uniform angles);
every ray weighs flux x dx dy with flux = |d . N|, N = (-dz/dx, -dz/dy, 1). Every number is
computed with two sets of nodes; the largest relative difference goes into each row.

Wavefront: W = -(d . Q + |P0 - Q|), flux-weighted mean removed, P0 moved by Gauss-Newton steps.

Formulas: law of reflection; third-order values from D. J. Schroeder, Astronomical Optics, ch. 6
(sagittal coma t/(16 F^2), tangential three times that) and W. T. Welford, Aberrations of Optical
Systems (W131 = D t/(32 F^2), W222 = D t^2/(8 F); with best tilt and focus their RMS is
W131/sqrt(72) and W222/sqrt(24)). The directions of the axes are those of the library's manual.
"""

import mpmath as mp
from exact import (
    NM_PER_MM,
    UM_PER_MM,
    arcmin,
    disc_nodes,
    dot,
    length,
    minus,
    mirrored,
    plus,
    scaled,
    unit,
    write,
)

NODES = ((12, 28), (15, 36))
STREHL_NODES = ((28, 92), (32, 108))
AGREEMENT = mp.mpf("1e-12")
WAVELENGTH_NM = 550


class Star:
    """A star at field angle (a, b) over one paraboloid: rays to the plane z = f."""

    def __init__(self, aperture_mm, focal_length_mm, a_arcmin, b_arcmin):
        self.f = mp.mpf(focal_length_mm)
        self.rim = mp.mpf(aperture_mm) / 2
        self.tan = (mp.tan(arcmin(a_arcmin)), mp.tan(arcmin(b_arcmin)))
        self.light = scaled(-1, unit((*self.tan, mp.mpf(1))))
        self.gauss_point = (-self.f * self.tan[0], -self.f * self.tan[1], self.f)

    def ray(self, x, y):
        """Hit point, flux per dx dy, direction after reflection."""
        hit = (x, y, (x * x + y * y) / (4 * self.f))
        normal = (-x / (2 * self.f), -y / (2 * self.f), mp.mpf(1))
        return hit, -dot(self.light, normal), mirrored(self.light, unit(normal))

    def landing(self, x, y):
        """Where the ray crosses the plane z = f, and its slopes there."""
        hit, _, out = self.ray(x, y)
        slopes = (out[0] / out[2], out[1] / out[2])
        rise = self.f - hit[2]
        return (hit[0] + rise * slopes[0], hit[1] + rise * slopes[1]), slopes

    def bundle(self, nodes):
        """Hit points and normalised flux weights."""
        rays = [(self.ray(x, y), share) for x, y, share in nodes]
        total = mp.fsum(flux * share for (_, flux, _), share in rays)
        return [hit for (hit, _, _), _ in rays], [f * w / total for (_, f, _), w in rays]


def spot_numbers(star, nodes):
    """Centroid and RMS at z = f; the plane of least RMS (the square is a parabola in z)."""
    _, weights = star.bundle(nodes)
    landed = [star.landing(x, y) for x, y, _ in nodes]
    mean_p = [mp.fdot(weights, [p[k] for p, _ in landed]) for k in (0, 1)]
    mean_q = [mp.fdot(weights, [q[k] for _, q in landed]) for k in (0, 1)]
    pp = pq = qq = mp.mpf(0)
    for w, (p, q) in zip(weights, landed, strict=True):
        for k in (0, 1):
            dp, dq = p[k] - mean_p[k], q[k] - mean_q[k]
            pp, pq, qq = pp + w * dp * dp, pq + w * dp * dq, qq + w * dq * dq
    shift = -pq / qq
    return {
        "centroid_along_um": mean_p[0] * UM_PER_MM,
        "centroid_across_um": mean_p[1] * UM_PER_MM,
        "rms_spot_um": mp.sqrt(pp) * UM_PER_MM,
        "least_spot_shift_mm": shift,
        "least_spot_rms_um": mp.sqrt(pp + shift * pq) * UM_PER_MM,
    }


def coma_numbers(star):
    """Rim rays in and across the plane of the field, against the ray through the vertex."""
    size = mp.hypot(*star.tan)
    along = (star.tan[0] / size, star.tan[1] / size)
    across = (-along[1], along[0])
    vertex, _ = star.landing(mp.mpf(0), mp.mpf(0))

    def flare(u):
        ends = [star.landing(k * star.rim * u[0], k * star.rim * u[1])[0] for k in (1, -1)]
        middle = [(ends[0][k] + ends[1][k]) / 2 - vertex[k] for k in (0, 1)]
        return -(middle[0] * along[0] + middle[1] * along[1]) * UM_PER_MM

    return {"tangential_coma_um": flare(along), "sagittal_coma_um": flare(across)}


def wavefront(star, hits, weights, point):
    """W at every hit point in mm, mean removed, and its gradient with respect to the point."""
    lines = [minus(point, hit) for hit in hits]
    paths = [length(line) for line in lines]
    waves = [-(dot(star.light, h) + p) for h, p in zip(hits, paths, strict=True)]
    mean = mp.fdot(weights, waves)
    slopes = [scaled(-1 / p, line) for p, line in zip(paths, lines, strict=True)]
    centre = [mp.fdot(weights, [s[k] for s in slopes]) for k in range(3)]
    return [w - mean for w in waves], [minus(s, centre) for s in slopes]


def least_rms(star, hits, weights, free):
    """The reference point of least RMS; `free` names the coordinates that may move."""
    point = star.gauss_point
    for _ in range(12):
        waves, slopes = wavefront(star, hits, weights, point)
        size = len(free)
        matrix, side = mp.matrix(size, size), mp.matrix(size, 1)
        for i in range(size):
            column = [w * s[free[i]] for w, s in zip(weights, slopes, strict=True)]
            side[i] = -mp.fdot(column, waves)
            for j in range(size):
                matrix[i, j] = mp.fdot(column, [s[free[j]] for s in slopes])
        step = mp.lu_solve(matrix, side)
        move = [mp.mpf(0)] * 3
        for i in range(size):
            move[free[i]] = step[i]
        point = plus(point, move)
        if mp.norm(step) < mp.mpf("1e-22"):
            break
    else:
        raise ArithmeticError("the reference point did not settle")
    return point, wavefront(star, hits, weights, point)[0]


def root_mean_square(weights, waves):
    return mp.sqrt(mp.fdot(weights, [w * w for w in waves]))


def strehl(weights, waves):
    turn = 2 * mp.pi * NM_PER_MM / WAVELENGTH_NM
    real = mp.fdot(weights, [mp.cos(turn * w) for w in waves])
    imag = mp.fdot(weights, [mp.sin(turn * w) for w in waves])
    return real**2 + imag**2


def wave_numbers(star, nodes):
    hits, weights = star.bundle(nodes)
    point, waves = least_rms(star, hits, weights, (0, 1, 2))
    flat_point, flat_waves = least_rms(star, hits, weights, (0, 1))
    return {
        "least_rms_nm": root_mean_square(weights, waves) * NM_PER_MM,
        "least_rms_along_mm": point[0],
        "least_rms_across_mm": point[1],
        "least_rms_shift_mm": point[2] - star.f,
        "in_plane_rms_nm": root_mean_square(weights, flat_waves) * NM_PER_MM,
        "in_plane_along_mm": flat_point[0],
        "in_plane_across_mm": flat_point[1],
    }


def strehl_numbers(star, numbers, nodes):
    """Strehl at both reference points (more nodes: the phase turns several times)."""
    hits, weights = star.bundle(nodes)
    found = {}
    for name, shift in (("least_rms", numbers["least_rms_shift_mm"]), ("in_plane", mp.mpf(0))):
        across = numbers[f"{name}_across_mm"]
        point = (numbers[f"{name}_along_mm"], across, star.f + shift)
        found[f"{name}_strehl"] = strehl(weights, wavefront(star, hits, weights, point)[0])
    return found


def noll(j, x, y):
    """Six Noll terms of unit RMS (R. J. Noll, J. Opt. Soc. Am. 66, 207 (1976), table I)."""
    r2 = x * x + y * y
    return {
        1: mp.mpf(1),
        2: 2 * x,
        3: 2 * y,
        4: mp.sqrt(3) * (2 * r2 - 1),
        6: mp.sqrt(6) * (x * x - y * y),
        8: mp.sqrt(8) * (3 * r2 - 2) * x,
    }[j]


def projected(star, nodes, weighted):
    """Area- or flux-weighted Noll coefficients about the Gaussian image point, star on +x."""
    hits, flux = star.bundle(nodes)
    weights = flux if weighted else [share for _, _, share in nodes]
    waves, _ = wavefront(star, hits, flux, star.gauss_point)
    coefficients = {
        j: mp.fdot(
            weights,
            [
                w * noll(j, h[0] / star.rim, h[1] / star.rim)
                for h, w in zip(hits, waves, strict=True)
            ],
        )
        for j in (1, 2, 3, 4, 6, 8)
    }
    square = mp.fdot(weights, [w * w for w in waves])
    rest = square - sum(coefficients[j] ** 2 for j in (1, 2, 3, 4))
    return {
        "projected_rms_nm": mp.sqrt(rest) * NM_PER_MM,
        "projected_coma_noll_8_nm": coefficients[8] * NM_PER_MM,
        "projected_astigmatism_noll_6_nm": coefficients[6] * NM_PER_MM,
    }


def third_order(aperture_mm, focal_length_mm, field):
    ratio = mp.mpf(focal_length_mm) / aperture_mm
    sagittal = field * focal_length_mm / (16 * ratio**2) * UM_PER_MM
    return {
        "third_order_sagittal_coma_um": sagittal,
        "third_order_tangential_coma_um": 3 * sagittal,
        "third_order_rms_spot_um": mp.sqrt(mp.mpf(2) / 3) * sagittal,
        "third_order_coma_rms_nm": aperture_mm * field / (32 * ratio**2) / mp.sqrt(72) * NM_PER_MM,
        "third_order_astigmatism_rms_nm": aperture_mm
        * field**2
        / (8 * ratio)
        / mp.sqrt(24)
        * NM_PER_MM,
    }


def largest_change(coarse, fine):
    """Largest relative difference; absolute for a Strehl, and in 1e-3 units for what is near 0."""
    floor = {k: mp.mpf(1) if "strehl" in k else mp.mpf("1e-3") for k in fine}
    return max(abs(coarse[k] - fine[k]) / max(abs(fine[k]), floor[k]) for k in fine)


def field_row(aperture_mm, focal_length_mm, a_arcmin, b_arcmin):
    star = Star(aperture_mm, focal_length_mm, a_arcmin, b_arcmin)
    results = []
    for few, many in zip(NODES, STREHL_NODES, strict=True):
        nodes = disc_nodes(0, star.rim, *few)
        numbers = spot_numbers(star, nodes) | wave_numbers(star, nodes)
        light = strehl_numbers(star, numbers, disc_nodes(0, star.rim, *many))
        results.append(numbers | light)
    change = largest_change(*results)
    if change > AGREEMENT:
        raise ArithmeticError(f"nodes too few: {mp.nstr(change, 3)}")
    field = mp.atan(mp.hypot(*star.tan))
    return {
        "kind": "field",
        "clear_aperture_mm": aperture_mm,
        "focal_length_mm": focal_length_mm,
        "field_a_arcmin": a_arcmin,
        "field_b_arcmin": b_arcmin,
        "wavelength_nm": WAVELENGTH_NM,
        **results[1],
        **coma_numbers(star),
        **third_order(aperture_mm, focal_length_mm, field),
        "node_change_relative": change,
    }


def limit_row(aperture_mm, focal_length_mm):
    """Ratio of exact to third order as the field goes to 0 (field 1e-6 arcmin, 34 digits)."""
    star = Star(aperture_mm, focal_length_mm, mp.mpf("1e-6"), 0)
    nodes = disc_nodes(0, star.rim, 14, 24)
    exact = spot_numbers(star, nodes) | coma_numbers(star)
    hits, weights = star.bundle(nodes)
    _, waves = least_rms(star, hits, weights, (0, 1, 2))
    simple = third_order(aperture_mm, focal_length_mm, arcmin(mp.mpf("1e-6")))
    coma_rms = root_mean_square(weights, waves) * NM_PER_MM
    return {
        "kind": "field_to_zero",
        "clear_aperture_mm": aperture_mm,
        "focal_length_mm": focal_length_mm,
        "tangential_coma_over_third_order": exact["tangential_coma_um"]
        / simple["third_order_tangential_coma_um"],
        "sagittal_coma_over_third_order": exact["sagittal_coma_um"]
        / simple["third_order_sagittal_coma_um"],
        "rms_spot_over_third_order": exact["rms_spot_um"] / simple["third_order_rms_spot_um"],
        "wavefront_rms_over_third_order_coma": coma_rms / simple["third_order_coma_rms_nm"],
    }


def slow_row(aperture_mm, focal_length_mm, a_arcmin):
    """A slow mirror: least-RMS and projected numbers beside the third order."""
    row = field_row(aperture_mm, focal_length_mm, a_arcmin, 0)
    star = Star(aperture_mm, focal_length_mm, a_arcmin, 0)
    both = projected(star, disc_nodes(0, star.rim, *NODES[0]), weighted=True)
    quadrature = mp.hypot(row["third_order_coma_rms_nm"], row["third_order_astigmatism_rms_nm"])
    return row | both | {"kind": "slow", "third_order_quadrature_rms_nm": quadrature}


def show_projection():
    """Which convention gives which published number, D = 250 mm f/5, 30 arcmin (printed only)."""
    star = Star(250, 1250, 30, 0)
    nodes = disc_nodes(0, star.rim, *NODES[0])
    for weighted in (False, True):
        numbers = projected(star, nodes, weighted)
        print("flux" if weighted else "area", {k: mp.nstr(v, 9) for k, v in numbers.items()})


def main():
    rows = []
    for focal_length_mm, aperture_mm in ((1000, 250), (1250, 250), (1500, 250), (1558, 318)):
        rows += [field_row(aperture_mm, focal_length_mm, a, 0) for a in (5, 10, 15, 20, 30)]
    for focal_length_mm, a, b in ((1250, 10, 15), (1250, -20, 10), (1000, 0, -25), (1558, -12, -9)):
        rows.append(field_row(318 if focal_length_mm == 1558 else 250, focal_length_mm, a, b))
    rows += [slow_row(100, 5000, a) for a in (0.5, 5, 30)]
    rows += [slow_row(200, 40_000, a) for a in (0.5, 10)]
    rows += [limit_row(250, focal) for focal in (1000, 1250, 1500, 2500)]
    units = {
        "*_mm": "millimetres; shifts positive away from the primary along the light",
        "*_um": "micrometres; along is +x of the unfolded plane, across is +y",
        "*_nm": "nanometres of wavefront, flux-weighted RMS",
        "*_arcmin": "where the star stands: a toward +x, b toward +y",
        "coma": "component away from the axis, along -(tan a, tan b)",
        "in_plane": "reference point kept in the plane z = f",
        "node_change_relative": "largest change of any number between the two sets of nodes",
    }
    write("coma", " ".join(__doc__.split()), units, rows)
    show_projection()


if __name__ == "__main__":
    main()
