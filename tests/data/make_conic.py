"""Mirrors with a wrong conic constant, on the axis -> conic.json.

kind "mirror": exact wavefront (see axial.py) about the focus of least RMS, its RMS and PV, and
exact meridional rays: angle of the normal from the closed-form slope of the conic, reflection
turns the ray by twice that angle. Beside it the third order: W040 = (K + 1) D/(512 F^3) (from
memory: the conic's r^4 term (K+1) r^4/(8 R^3), doubled), best focus PV |W040|/4 and RMS
|W040|/(6 sqrt 5), both times (1 - eps^2)^2 with an obstruction.
PV: the two ends and every interior stationary point of W(r), found by a scan of dW/dr and
bisection. Gauss-Legendre in r, 64 nodes; 80 nodes change RMS and Strehl by less than 1e-16.

Rays: longitudinal aberration = where the marginal ray meets the axis minus the paraxial focus
(positive further from the primary); RMS spot about its centroid (the axis) at the paraxial focus
and at the focus of least RMS spot. All nodes uniform in r dr.

kind "surface_difference": two conics of one vertex radius at the rim, along the axis. The row of
the Hubble primary: D 2.4 m, R 11.0400 m, design K -1.0022985 (from memory), as built -1.0139
(Burrows et al. 1991, Proc. SPIE 1494, abstract).
"""

import mpmath as mp
from axial import Mirror, conic_height, conic_slope
from exact import NM_PER_MM, UM_PER_MM, write


def no_figure(_):
    return mp.mpf(0)


def peak_to_valley_nm(mirror, shift):
    """Range of W over the ring: ends and interior stationary points."""
    radius = 2 * mirror.f

    def slope(r):
        """dW/dr = z' - (r - (P - z) z')/|P0 - Q|."""
        z, dz = mirror.surface(r), conic_slope(r, radius, mirror.conic)
        rise = mirror.f + shift - z
        return dz - (r - rise * dz) / mp.hypot(r, rise)

    steps = [mirror.inner + (mirror.rim - mirror.inner) * k / 200 for k in range(201)]
    values = [slope(r) for r in steps]
    places = [mirror.inner, mirror.rim]
    for k in range(1, 200):
        if values[k] * values[k + 1] < 0:
            places.append(
                mp.findroot(slope, (steps[k], steps[k + 1]), solver="anderson", verify=False)
            )
    waves = [mirror.path(r, mirror.surface(r), shift)[0] for r in places]
    return (max(waves) - min(waves)) * NM_PER_MM


def ray(mirror, r):
    """Height at the paraxial focal plane, dr/dz, and the axis crossing of the ray from zone r."""
    z = mirror.surface(r)
    # A normal inclined by atan(dz/dr) turns the ray, which came parallel to the axis, by twice.
    slope = -mp.tan(2 * mp.atan(conic_slope(r, 2 * mirror.f, mirror.conic)))
    return r + (mirror.f - z) * slope, slope, z - r / slope


def spot_numbers(mirror):
    """RMS spot about the axis: a parabola in the shift."""
    pp = pq = qq = mp.mpf(0)
    for r, _, weight in mirror.nodes:
        p, q, _ = ray(mirror, r)
        pp, pq, qq = pp + weight * p * p, pq + weight * p * q, qq + weight * q * q
    shift = -pq / qq if qq else mp.mpf(0)
    return {
        "paraxial_rms_spot_um": mp.sqrt(pp) * UM_PER_MM,
        "least_spot_shift_mm": shift,
        "least_spot_rms_um": mp.sqrt(pp + shift * pq) * UM_PER_MM,
        "marginal_longitudinal_mm": ray(mirror, mirror.rim)[2] - mirror.f,
    }


def mirror_row(aperture_mm, focal_length_mm, conic, ratio):
    rim, eps = mp.mpf(aperture_mm) / 2, mp.mpf(ratio)
    mirror, finer = (
        Mirror(rim * eps, rim, focal_length_mm, mp.mpf(conic), no_figure, [], count)
        for count in (64, 80)
    )
    shift = mirror.least_rms_shift()
    rms = mirror.rms_nm(shift)
    change = abs(finer.rms_nm(finer.least_rms_shift()) / rms - 1)
    change = max(change, abs(finer.strehl(shift, 550) - mirror.strehl(shift, 550)))
    if change > mp.mpf("1e-16"):
        raise ArithmeticError(f"nodes too few: {mp.nstr(change, 3)}")
    w040 = (mp.mpf(conic) + 1) * aperture_mm / (512 * (mirror.f / aperture_mm) ** 3) * NM_PER_MM
    ring = (1 - eps**2) ** 2
    return {
        "kind": "mirror",
        "clear_aperture_mm": aperture_mm,
        "focal_length_mm": focal_length_mm,
        "conic": mp.mpf(conic),
        "obstruction_ratio": eps,
        "wavelength_nm": 550,
        "least_rms_shift_mm": shift,
        "least_rms_nm": rms,
        "least_rms_pv_nm": peak_to_valley_nm(mirror, shift),
        "least_rms_strehl": mirror.strehl(shift, 550),
        "paraxial_rms_nm": mirror.rms_nm(mp.mpf(0)),
        **spot_numbers(mirror),
        "third_order_w040_nm": w040,
        "third_order_rms_nm": abs(w040) / (6 * mp.sqrt(5)) * ring,
        "third_order_pv_nm": abs(w040) / 4 * ring,
    }


def difference_row(name, aperture_mm, radius_mm, design, built):
    rim = mp.mpf(aperture_mm) / 2
    gap = conic_height(rim, radius_mm, mp.mpf(built)) - conic_height(rim, radius_mm, mp.mpf(design))
    return {
        "kind": "surface_difference",
        "name": name,
        "clear_aperture_mm": aperture_mm,
        "radius_of_curvature_mm": radius_mm,
        "design_conic": mp.mpf(design),
        "built_conic": mp.mpf(built),
        "built_minus_design_at_rim_um": gap * UM_PER_MM,
        "difference_of_quartic_terms_um": (mp.mpf(built) - mp.mpf(design))
        * rim**4
        / (8 * mp.mpf(radius_mm) ** 3)
        * UM_PER_MM,
    }


MIRRORS = (
    (200, 1200, "0"),
    (318, 1558, "-0.88"),
    (318, 1558, "-0.97"),
    (318, 1558, "-0.985"),
    (318, 1558, "-1.12"),
    (200, 1200, "0.3"),
    (200, 1200, "-0.80"),
    (250, 1000, "-0.9"),
    (250, 1000, "0"),
    (114, 900, "0"),
    (406, 2030, "-1.05"),
    (200, 4000, "0"),
)


def main():
    rows = [mirror_row(*m, ratio) for m in MIRRORS for ratio in ("0", "0.22")]
    rows.append(difference_row("Hubble primary", 2400, 11_040, "-1.0022985", "-1.0139"))
    rows.append(difference_row("sphere against paraboloid", 318, 3116, "-1", "0"))
    units = {
        "*_nm": "nanometres of wavefront, area-weighted",
        "*_um": "micrometres (spot radii; heights of glass along the axis)",
        "*_shift_mm": "from the paraxial focus, positive away from the primary",
        "obstruction_ratio": "by diameter, central and round",
        "third_order_*": "approximations for comparison, not truth",
    }
    write("conic", " ".join(__doc__.split()), units, rows)


if __name__ == "__main__":
    main()
