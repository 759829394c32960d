//! Masks in one go against each by itself, against brute force, and against another's numbers.

use super::*;
use crate::numeric::gauss::on_interval;
use crate::numeric::random::Stream;
use crate::wave::radial::{RadialPupil, Scratch};
use crate::wave::radial_grid::{NODES_PER_SEGMENT, RIM_BREAKS_MM, segment_ends};

const RIM_MM: f64 = 159.0;
const INNER_MM: f64 = 35.0;
const RADIUS_MM: f64 = 3116.0;

/// A mirror by chance: a conic, a few waves, an edge of some width and power.
fn figure(stream: &mut Stream, scale: f64, radius_mm: &[f64]) -> Vec<f64> {
    let mut uniform = |low: f64, high: f64| low + (high - low) * stream.uniform();
    let (conic, focus) = (scale * uniform(-150.0, 150.0), scale * uniform(-200.0, 200.0));
    let waves: Vec<[f64; 3]> = (0..3)
        .map(|k| [scale * uniform(-15.0, 15.0), f64::from(k) + 1.0, uniform(0.0, std::f64::consts::TAU)])
        .collect();
    let (width, drop, power) =
        (uniform(1.0, 15.0), scale * uniform(-300.0, 1200.0), 1.0 + 2.0 * uniform(0.0, 1.0).round());
    let height = |r: &f64| {
        let t = r / RIM_MM;
        let wavy: f64 = waves.iter().map(|[a, n, p]| a * (TURN * n * t * t + p).cos()).sum();
        let q = ((r - RIM_MM + width) / width).max(0.0);
        conic * t.powi(4) + focus * t * t + wavy - drop * q.powf(power)
    };
    radius_mm.iter().map(height).collect()
}

const TURN: f64 = std::f64::consts::TAU;

fn compared(outer_mm: &[f64], scale: f64, figures: usize) -> (f64, f64, f64) {
    let mut breaks = outer_mm.to_vec();
    breaks.push(INNER_MM);
    let grid = RadialGrid::new(RIM_MM, &breaks);
    let nested = NestedPupils::new(&grid, INNER_MM, outer_mm, RADIUS_MM, 550.0);
    let pupils: Vec<RadialPupil> =
        outer_mm.iter().map(|r| RadialPupil::new(&grid, INNER_MM, *r, RADIUS_MM, 550.0)).collect();
    let (mut stream, mut scratch) = (Stream::new(11, 0), NestedScratch::default());
    let (mut peaks, mut quality) = (Vec::new(), Scratch::default());
    let (mut below, mut above, mut lowest) = (0.0_f64, 0.0_f64, 1.0_f64);
    for _ in 0..figures {
        let height_nm = figure(&mut stream, scale, &grid.radius_mm);
        nested.peaks(&height_nm, &mut scratch, &mut peaks);
        for (peak, pupil) in peaks.iter().zip(&pupils) {
            let slow = pupil.quality(&height_nm, &mut quality);
            below = below.max(slow.strehl - peak.strehl);
            above = above.max(peak.strehl - slow.strehl);
            lowest = lowest.min(slow.strehl);
        }
    }
    (below, above, lowest)
}

#[test]
fn masks_over_a_known_mirror_agree_with_an_independent_quadrature() {
    // tests/data/make_mask.py, rows "round": numpy, 80-bit floats, the same definitions by other hands.
    let table: serde_json::Value =
        serde_json::from_str(include_str!("../../../tests/data/mask.json")).expect("a table of truth");
    let rows = table["rows"].as_array().expect("rows").iter().filter(|row| row["kind"] == "round");
    let mut seen = 0;
    for row in rows {
        let number = |key: &str| row[key].as_f64().expect("a number");
        let outer_mm = 0.5 * number("mask_diameter_mm");
        let width = number("edge_width_mm");
        let zone = (number("zone_radius_mm"), number("zone_half_width_mm"), number("zone_height_nm"));
        let joints = [-3.0, -1.2, 0.0, 1.2, 3.0].map(|k| zone.0 + k * zone.1);
        let sagitta = |r: f64, conic: f64| {
            let root = (1.0 - (1.0 + conic) * (r / RADIUS_MM).powi(2)).sqrt();
            r * r / (RADIUS_MM * (1.0 + root))
        };
        let height = |r: &f64| {
            let q = ((r - RIM_MM + width) / width).max(0.0);
            let bump = zone.2 * (-((r - zone.0) / zone.1).powi(2)).exp();
            1e6 * (sagitta(*r, number("conic")) - sagitta(*r, -1.0)) + bump - number("edge_drop_nm") * q * q
        };
        // Breaks of this pitch, and where the figure has joints.
        let peak = |parts: u32| {
            let even: Vec<f64> = (1..parts).map(|k| RIM_MM * f64::from(k) / f64::from(parts)).collect();
            let breaks = [&joints[..], &even[..], &[INNER_MM, outer_mm, RIM_MM - width]].concat();
            let grid = RadialGrid::new(RIM_MM, &breaks);
            let height_nm: Vec<f64> = grid.radius_mm.iter().map(height).collect();
            let nested = NestedPupils::new(&grid, INNER_MM, &[outer_mm], RADIUS_MM, 550.0);
            let (mut scratch, mut peaks) = (NestedScratch::default(), Vec::new());
            nested.peaks(&height_nm, &mut scratch, &mut peaks);
            peaks[0]
        };
        let (found, known) = (peak(50), number("strehl"));
        let halved = (found.strehl - peak(100).strehl).abs();
        println!(
            "{outer_mm}: {:.9} for {known:.9}, {:.1e}, halved {halved:.1e}",
            found.strehl,
            found.strehl - known
        );
        // Interpolated amplitudes are good to 2e-8, see POINTS; segments of half the length tell what these leave out.
        let left_out = 4e-8 + halved;
        assert!(halved < 4e-8, "{outer_mm}: segments of half the length differ by {halved}");
        assert!((found.strehl - known).abs() < left_out, "{outer_mm}: {} for {known}", found.strehl);
        // A focus off by dz takes (2e6 k (a/R)^2 dz)^2/12 of the peak, or more for a ring without its middle.
        let turn_per_mm =
            2e6 * TURN / 550.0 * (outer_mm / RADIUS_MM).powi(2) * (1.0 - (INNER_MM / outer_mm).powi(2));
        let off_mm = (left_out * 12.0 / known).sqrt() / turn_per_mm;
        assert!((found.focus_mm - number("shift_mm")).abs() < off_mm, "{outer_mm}: {} mm", found.focus_mm);
        seen += 1;
    }
    assert_eq!(seen, 12);
}

/// The greatest that Gauss's rule of a segment may miss, for a segment of length 1 and an integrand whose slope turns
/// by 1 in all: the top of Peano's kernel of second order (Davis & Rabinowitz 1984, Methods of Numerical Integration,
/// 4.3).
fn peano() -> f64 {
    let nodes: Vec<(f64, f64)> = on_interval(NODES_PER_SEGMENT, 0.0, 1.0).collect();
    let kernel =
        |t: f64| 0.5 * (1.0 - t).powi(2) - nodes.iter().map(|(x, w)| w * (x - t).max(0.0)).sum::<f64>();
    (0..=10_000).map(|k| kernel(1e-4 * f64::from(k)).abs()).fold(0.0, f64::max)
}

#[test]
fn edges_that_begin_between_breaks_cost_no_more_than_the_rule_may_miss() {
    let outer_mm = [159.0, 156.0, 152.0];
    let more: Vec<f64> = RIM_BREAKS_MM.iter().map(|back| RIM_MM - back).collect();
    let rims = [INNER_MM, 52.0, 96.0, 126.0, 149.5, 158.0, 156.0, 152.0];
    let coarse = RadialGrid::new(RIM_MM, &[&more[..], &rims].concat());
    // Every edge below begins at a break of this one, and none of its segments is longer than 0.1 mm.
    let fine: Vec<f64> = (0..1240).map(|k| 35.0 + 0.1 * f64::from(k)).chain([152.0, 156.0]).collect();
    let fine = RadialGrid::new(RIM_MM, &fine);
    let peaks = |grid: &RadialGrid, height: &dyn Fn(f64) -> f64| {
        let nested = NestedPupils::new(grid, INNER_MM, &outer_mm, RADIUS_MM, 550.0);
        let height_nm: Vec<f64> = grid.radius_mm.iter().map(|r| height(*r)).collect();
        let mut peaks = Vec::new();
        nested.peaks(&height_nm, &mut NestedScratch::default(), &mut peaks);
        peaks
    };
    let (peano, wavenumber) = (peano(), TURN / 550.0);
    // What the rule may miss of the amplitude's integral within a segment: its kernel times how far the slope of the
    // integrand turns, and never more than twice its area.
    let missed = |[from, to]: [f64; 2], height: &dyn Fn(f64) -> f64, focus_mm: f64| {
        let (count, length) = (2000, to - from);
        let step = length / f64::from(count);
        let values: Vec<[f64; 2]> = (0..=count)
            .map(|k| {
                let r = from + step * f64::from(k);
                let square = (r / RADIUS_MM).powi(2);
                let phase = 2.0 * wavenumber * (height(r) + 1e6 * focus_mm * square) / (1.0 + square);
                [r * phase.cos(), r * phase.sin()]
            })
            .collect();
        let turn = |three: &[[f64; 2]]| {
            let second = |i: usize| three[2][i] - 2.0 * three[1][i] + three[0][i];
            second(0).hypot(second(1)) / step
        };
        let turned: f64 = values.windows(3).map(turn).sum();
        (peano * length * length * turned).min(to * to - from * from)
    };
    for (drop, told) in [(50.0, 1e-4), (150.0, 1e-4), (450.0, 1e-4), (1300.0, 4e-3)] {
        let (mut worst, mut nearest) = (0.0_f64, 0.0_f64);
        for width in [1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 15.0] {
            for power in [1.0, 1.7, 3.0, 6.0] {
                let begins_mm = RIM_MM - width;
                let height = |r: f64| -drop * ((r - begins_mm) / width).max(0.0).powf(power);
                let (found, known) = (peaks(&coarse, &height), peaks(&fine, &height));
                for ((a, b), outer) in found.iter().zip(&known).zip(outer_mm) {
                    let area = 0.5 * (outer * outer - INNER_MM * INNER_MM);
                    // Each is the best of its own: at one of the two foci the sums differ by as much as the peaks.
                    let at = |focus_mm: f64| {
                        let ends = coarse.radius_mm[..coarse.nodes].chunks_exact(NODES_PER_SEGMENT);
                        let ends = ends.map(segment_ends).filter(|(from, to)| {
                            *from >= INNER_MM - 1e-6 && *to <= outer + 1e-6 && *to > begins_mm
                        });
                        ends.map(|(from, to)| missed([from, to], &height, focus_mm)).sum::<f64>() / area
                    };
                    let share = at(a.focus_mm).max(at(b.focus_mm));
                    // 2e-8 of the amplitude is the interpolation's, see POINTS.
                    let bound = share * (2.0 * b.strehl.sqrt() + share) + 1e-7;
                    let off = (a.strehl - b.strehl).abs();
                    assert!(
                        off <= bound,
                        "{drop} nm in {width} mm, power {power}: {off:.1e} for {bound:.1e}"
                    );
                    worst = worst.max(off);
                    nearest = nearest.max(off / bound);
                }
            }
        }
        println!("{drop} nm: {worst:.1e}, up to {nearest:.2} of the bound");
        // What RIM_BREAKS_MM says of itself.
        assert!(worst < told, "{drop} nm: {worst}");
    }
}

#[test]
fn every_mask_has_the_peak_of_its_own_pupil() {
    // Hundred masks beside one another, and some as far apart as masks can be, out of order.
    let beside: Vec<f64> = (0..100).map(|k| 140.0 + 0.19 * f64::from(k)).collect();
    let apart = [159.0, 60.0, 155.0, 40.0, 120.0, 90.0, 158.2];
    for outer_mm in [&beside[..], &apart[..]] {
        for scale in [0.1, 0.5, 1.0] {
            let (below, above, lowest) = compared(outer_mm, scale, 60);
            println!("scale {scale}: below {below:.1e}, above {above:.1e}, lowest Strehl {lowest:.3}");
            assert!(below < 1e-6 && above < 1e-6, "{scale}: {below} {above}");
        }
    }
}

#[test]
fn a_large_error_has_the_brightest_focus_of_all() {
    let outer_mm = [159.0, 150.0, 120.0];
    let grid = RadialGrid::new(RIM_MM, &[INNER_MM, 150.0, 120.0]);
    let nested = NestedPupils::new(&grid, INNER_MM, &outer_mm, RADIUS_MM, 550.0);
    let (mut stream, mut scratch, mut peaks) = (Stream::new(5, 0), NestedScratch::default(), Vec::new());
    for _ in 0..12 {
        let height_nm = figure(&mut stream, 3.0, &grid.radius_mm);
        nested.peaks(&height_nm, &mut scratch, &mut peaks);
        for (peak, pupil) in peaks.iter().zip(&nested.pupils) {
            // The obvious way: the sum over the nodes at every focus, from one end to the other, then closer.
            let (end, least) = (pupil.end, pupil.starts(&scratch).0);
            let strehl = |defocus: f64| {
                let (mut re, mut im) = (0.0, 0.0);
                for n in 0..end {
                    let phase = scratch.phase[n] - defocus * nested.defocus[n];
                    re += nested.weight[n] * phase.cos();
                    im += nested.weight[n] * phase.sin();
                }
                (re * re + im * im) / (pupil.area * pupil.area)
            };
            let mut best = (0.0, 0.0);
            for k in -1200..=1200 {
                let defocus = least + 0.01 * f64::from(k) / pupil.rms;
                if strehl(defocus) > best.0 {
                    best = (strehl(defocus), defocus);
                }
            }
            let (mut low, mut high) = (best.1 - 0.01 / pupil.rms, best.1 + 0.01 / pupil.rms);
            for _ in 0..60 {
                let third = (high - low) / 3.0;
                if strehl(low + third) < strehl(high - third) { low += third } else { high -= third }
            }
            let summit = strehl(0.5 * (low + high));
            assert!((peak.strehl - summit).abs() < 1e-7, "{} for {summit}", peak.strehl);
            let place_mm = 0.5 * (low + high) * nested.focus_mm;
            assert!((peak.focus_mm - place_mm).abs() < 1e-4, "{} for {place_mm}", peak.focus_mm);
        }
    }
}
