//! What an axisymmetric figure shows at the eyepiece: contrast of fine detail, and light within the Airy disk.

use std::f64::consts::{PI, TAU};

use super::radial::{RadialPupil, Scratch};
use super::radial_grid::{NODES_PER_SEGMENT, RadialGrid, interpolation};
use crate::numeric::gauss::on_interval;
use crate::units::{ARCSEC_PER_RADIAN, NM_PER_MM};

/// Nodes on each arc of the overlap of two pupils, and across each piece of its radii.
const ARC_NODES: usize = 32;
const RING_NODES: usize = 48;
/// Nodes across the Airy disk.
const DISK_NODES: usize = 12;
/// First zero of J1 over pi: the Airy disk's radius in units of lambda/D.
pub(crate) const AIRY: f64 = 1.219_669_891_266_504_5;

/// A pupil made ready for the contrast of some details and for the light within the Airy disk.
///
/// Contrast is the modulation transfer: the overlap of the pupil with itself, moved by lambda over the detail's period.
/// It is a bilinear form in the phasors at the nodes, made once.
/// Leaves out: the radius on the mirror is taken for the pupil's, (r/2f)^2 of it, 0.25 % of a period at the rim at f/5.
#[derive(Clone, Debug)]
pub(crate) struct RadialView {
    /// One for each detail.
    overlaps: Vec<Overlap>,
    /// Weights of the phasors in the amplitude at radii across the Airy disk, disk node by pupil node.
    disk: Vec<f64>,
    /// Share of all light for a unit of intensity at each of those radii.
    disk_weight: Vec<f64>,
}

/// The overlap of a pupil with itself, moved.
#[derive(Clone, Debug)]
struct Overlap {
    /// Shares of the area in which nodes m and n of the two pupils meet, in row order.
    kernel: Vec<f64>,
}

/// What one figure shows.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct RadialSight {
    /// Contrast of each detail, 0 to 1.
    pub(crate) contrast: Vec<f64>,
    /// Share of the light within the Airy disk of the unobstructed aperture.
    pub(crate) airy_light: f64,
}

impl RadialView {
    /// A pupil from `inner_mm` to `outer_mm`, and the periods of details, arcsec.
    pub(crate) fn new(
        grid: &RadialGrid,
        pupil: &RadialPupil,
        (inner_mm, outer_mm): (f64, f64),
        wavelength_nm: f64,
        period_arcsec: &[f64],
    ) -> Self {
        let (radius_mm, weight) = pupil.nodes_mm(grid);
        let wavelength_mm = wavelength_nm / NM_PER_MM;
        let shift_mm = |period: &f64| wavelength_mm / (period / ARCSEC_PER_RADIAN);
        let overlap = |period: &f64| Overlap::new(radius_mm, (inner_mm, outer_mm), shift_mm(period));
        let area_mm2 = PI * (outer_mm * outer_mm - inner_mm * inner_mm);
        let edge_per_mm = AIRY / (2.0 * outer_mm);
        let rings: Vec<(f64, f64)> = on_interval(DISK_NODES, 0.0, edge_per_mm).collect();
        let amplitude = |q: f64| radius_mm.iter().zip(weight).map(move |(r, w)| w * libm::j0(TAU * q * r));
        Self {
            overlaps: period_arcsec.iter().map(overlap).collect(),
            disk: rings.iter().flat_map(|&(q, _)| amplitude(q)).collect(),
            disk_weight: rings.iter().map(|(q, w)| area_mm2 * TAU * q * w).collect(),
        }
    }

    /// What a figure shows at a defocus from the focus of least RMS.
    pub(crate) fn sight(
        &self,
        pupil: &RadialPupil,
        height_nm: &[f64],
        defocus_rad: f64,
        scratch: &mut Scratch,
    ) -> RadialSight {
        let phasors = pupil.phasors(height_nm, defocus_rad, scratch);
        let nodes = phasors.re.len();
        let rows = self.disk.chunks_exact(nodes).zip(&self.disk_weight);
        let airy_light = rows.map(|(row, w)| w * phasors.intensity(row));
        let contrast = self.overlaps.iter().map(|overlap| {
            let rows = overlap.kernel.chunks_exact(nodes).zip(phasors.re.iter().zip(&phasors.im));
            // The other half of the overlap is the complex conjugate: the transfer is real.
            let transfer = rows.map(|(row, (x, y))| {
                let (a, b) = phasors.sum(row);
                x * a + y * b
            });
            transfer.sum::<f64>().abs()
        });
        RadialSight { contrast: contrast.collect(), airy_light: airy_light.sum() }
    }
}

impl Overlap {
    /// Around the middle of the one pupil, radius by radius, the angles at which the point lies in the other pupil.
    fn new(radius_mm: &[f64], (inner_mm, outer_mm): (f64, f64), shift_mm: f64) -> Self {
        let count = radius_mm.len();
        let mut kernel = vec![0.0; count * count];
        let area_mm2 = PI * (outer_mm * outer_mm - inner_mm * inner_mm);
        for (r, width) in radii(inner_mm, outer_mm, shift_mm) {
            // The cosine law: the other radius grows with the angle from |r - s| to r + s.
            let angle_at = |other: f64| {
                let cosine = (r * r + shift_mm * shift_mm - other * other) / (2.0 * r * shift_mm);
                libm::acos(cosine.clamp(-1.0, 1.0))
            };
            let (from, to) = (angle_at(inner_mm), angle_at(outer_mm));
            if to <= from {
                continue;
            }
            let (first, here) = interpolation(radius_mm, r);
            for (angle, arc) in on_interval(ARC_NODES, from, to) {
                let square = r * r + shift_mm * shift_mm - 2.0 * r * shift_mm * libm::cos(angle);
                let (second, there) = interpolation(radius_mm, square.max(0.0).sqrt());
                // Both halves of the circle.
                let share = 2.0 * r * width * arc / area_mm2;
                for (m, a) in here.iter().enumerate() {
                    let row = &mut kernel[(first + m) * count + second..][..NODES_PER_SEGMENT];
                    for (sum, b) in row.iter_mut().zip(there) {
                        *sum += share * a * b;
                    }
                }
            }
        }
        Self { kernel }
    }
}

/// Radii across the pupil with their widths, split where the arcs in the other pupil begin or end: there their length
/// grows as a square root, which the variable takes out.
fn radii(inner_mm: f64, outer_mm: f64, shift_mm: f64) -> Vec<(f64, f64)> {
    let kinks = [outer_mm, inner_mm].map(|rim| [(rim - shift_mm).abs(), rim + shift_mm]);
    let mut breaks: Vec<f64> =
        kinks.into_iter().flatten().filter(|r| *r > inner_mm && *r < outer_mm).collect();
    breaks.extend([inner_mm, outer_mm]);
    breaks.sort_by(f64::total_cmp);
    let of_piece = |pair: &[f64]| {
        let (start, length) = (pair[0], pair[1] - pair[0]);
        on_interval(RING_NODES, 0.0, 1.0)
            .map(move |(u, w)| (start + length * u * u * (3.0 - 2.0 * u), 6.0 * length * w * u * (1.0 - u)))
    };
    breaks.windows(2).flat_map(of_piece).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const OUTER_MM: f64 = 150.0;

    fn view(obstruction: f64, period_arcsec: &[f64]) -> (RadialGrid, RadialPupil, RadialView) {
        let inner = obstruction * OUTER_MM;
        let grid = RadialGrid::new(OUTER_MM, &[inner]);
        let pupil = RadialPupil::new(&grid, inner, OUTER_MM, 3000.0, 550.0);
        let view = RadialView::new(&grid, &pupil, (inner, OUTER_MM), 550.0, period_arcsec);
        (grid, pupil, view)
    }

    fn period(share_of_cutoff: f64) -> f64 {
        550e-6 / (2.0 * OUTER_MM) * ARCSEC_PER_RADIAN / share_of_cutoff
    }

    #[test]
    fn a_perfect_clear_pupil_has_the_textbook_contrast() {
        let shares = [0.1, 0.3, 0.5, 0.9, 1.2];
        let periods: Vec<f64> = shares.iter().map(|s| period(*s)).collect();
        let (grid, pupil, view) = view(0.0, &periods);
        let sight = view.sight(&pupil, &vec![0.0; grid.radius_mm.len()], 0.0, &mut Scratch::default());
        for (share, contrast) in shares.iter().zip(&sight.contrast) {
            // Overlap of two circles (Goodman, Introduction to Fourier Optics, section 6.4, from memory).
            let known = if *share < 1.0 {
                2.0 / PI * (libm::acos(*share) - share * (1.0 - share * share).sqrt())
            } else {
                0.0
            };
            assert!((contrast - known).abs() < 2e-4, "{share}: {contrast} for {known}");
        }
        // 83.78 % of the light lies within the first dark ring (Born & Wolf, section 8.5.2).
        assert!((sight.airy_light - 0.8378).abs() < 1e-4, "{}", sight.airy_light);
    }

    #[test]
    fn an_annulus_agrees_with_the_areas_of_overlapping_circles() {
        let (shares, obstruction) = ([0.05, 0.2, 0.5, 0.8], 0.3);
        let periods: Vec<f64> = shares.iter().map(|s| period(*s)).collect();
        let (grid, pupil, view) = view(obstruction, &periods);
        let sight = view.sight(&pupil, &vec![0.0; grid.radius_mm.len()], 0.0, &mut Scratch::default());
        // Closed form: overlaps of outer with outer, outer with inner, inner with inner circle.
        let lens = |a: f64, b: f64, d: f64| -> f64 {
            if d >= a + b {
                return 0.0;
            }
            if d <= (a - b).abs() {
                return PI * a.min(b).powi(2);
            }
            let angle = |p: f64, q: f64| libm::acos((d * d + p * p - q * q) / (2.0 * d * p));
            let (u, v) = (angle(a, b), angle(b, a));
            a * a * (u - u.sin() * u.cos()) + b * b * (v - v.sin() * v.cos())
        };
        for (share, contrast) in shares.iter().zip(&sight.contrast) {
            let d = 2.0 * share;
            let e = obstruction;
            let known = (lens(1.0, 1.0, d) - 2.0 * lens(1.0, e, d) + lens(e, e, d)) / (PI * (1.0 - e * e));
            assert!((contrast - known).abs() < 2e-4, "{share}: {contrast} for {known}");
        }
    }

    #[test]
    fn a_turned_edge_agrees_with_a_plain_sum_over_the_plane() {
        let share = 0.4;
        let (grid, pupil, view) = view(0.2, &[period(share)]);
        let height = |r: f64| if r > 140.0 { -200.0 * ((r - 140.0) / 10.0).powi(2) } else { 0.0 };
        let heights: Vec<f64> = grid.radius_mm.iter().map(|&r| height(r)).collect();
        let mut scratch = Scratch::default();
        let sight = view.sight(&pupil, &heights, 0.4, &mut scratch);
        // The obvious way: both pupils on a fine square grid, phases between nodes from the same definitions.
        let (radius_mm, _) = pupil.nodes_mm(&grid);
        let phases = pupil.phase_rad(&heights, 0.4, &mut scratch);
        let at = |r: f64| -> f64 {
            let (first, weights) = interpolation(radius_mm, r);
            weights.iter().zip(&phases[first..]).map(|(w, p)| w * p).sum()
        };
        let table: Vec<f64> = (0..=15_000).map(|k| at(f64::from(k) * 0.01)).collect();
        let inside = |r: f64| (30.0..=OUTER_MM).contains(&r);
        let (step, half) = (0.25, share * OUTER_MM);
        let (mut sum, mut area) = (0.0, 0.0);
        let count = (2.0 * OUTER_MM / step) as i32;
        for i in 0..count {
            for j in 0..count {
                let (x, y) =
                    (-OUTER_MM + step * (f64::from(i) + 0.5), -OUTER_MM + step * (f64::from(j) + 0.5));
                let (one, other) = ((x + half).hypot(y), (x - half).hypot(y));
                area += f64::from(u8::from(inside(x.hypot(y))));
                if inside(one) && inside(other) {
                    let phase = |r: f64| table[(r * 100.0).round() as usize];
                    sum += (phase(one) - phase(other)).cos();
                }
            }
        }
        let known: f64 = sum / area;
        assert!((sight.contrast[0] - known.abs()).abs() < 1e-3, "{} for {known}", sight.contrast[0]);
    }
}
