//! Invented mirrors, their exact readings and their exact worth.
//!
//! None is drawn from the assumptions of the library: other shapes, other sizes, other noise. Readings are means of
//! the exact crossings of slopes, not of the library's closed form; the worth comes from a quadrature and a search
//! of the focus of its own.

use std::f64::consts::PI;

use catoptric::numeric::gauss::on_interval;
use catoptric::numeric::random::Stream;
use catoptric::{KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm, ReadingsIncrease, TestSource};

/// The kinds of mirror.
pub(crate) const KINDS: [&str; 6] =
    ["finished", "conic", "turned edge", "raised edge", "narrow zones", "mixed"];
/// Edges narrower than this are told apart in what is printed, mm: the openings see next to nothing of them.
pub(crate) const NARROW_MM: f64 = 4.0;

/// A surface: heights of the glass in nm, with an edge as width, drop and power.
#[derive(Clone, Debug)]
pub(crate) struct Surface {
    pub(crate) rim_mm: f64,
    radius_of_curvature_mm: f64,
    conic_nm: f64,
    waves: Vec<(f64, f64, f64)>,
    zones: Vec<(f64, f64, f64)>,
    edge: Option<(f64, f64, f64)>,
}

impl Surface {
    /// Whether it has an edge narrower than [`NARROW_MM`].
    pub(crate) fn has_narrow_edge(&self) -> bool {
        self.edge.is_some_and(|(width, _, _)| width < NARROW_MM)
    }

    fn height_nm(&self, r: f64) -> f64 {
        let t = r / self.rim_mm;
        let mut h = self.conic_nm * t.powi(4);
        for &(amplitude, cycles, phase) in &self.waves {
            h += amplitude * (2.0 * PI * cycles * t * t + phase).cos();
        }
        for &(centre, half_width, height) in &self.zones {
            h += height * (-((r - centre) / half_width).powi(2)).exp();
        }
        if let Some((width, drop, power)) = self.edge {
            let q = (r - self.rim_mm + width) / width;
            if q > 0.0 {
                h -= drop * q.powf(power);
            }
        }
        h
    }

    fn slope(&self, r: f64) -> f64 {
        let t = r / self.rim_mm;
        let mut s = 4.0 * self.conic_nm * t.powi(3) / self.rim_mm;
        for &(amplitude, cycles, phase) in &self.waves {
            s -= amplitude * (2.0 * PI * cycles * t * t + phase).sin() * 4.0 * PI * cycles * t / self.rim_mm;
        }
        for &(centre, half_width, height) in &self.zones {
            let q = (r - centre) / half_width;
            s -= height * (-q * q).exp() * 2.0 * q / half_width;
        }
        if let Some((width, drop, power)) = self.edge {
            let q = (r - self.rim_mm + width) / width;
            if q > 0.0 {
                s -= drop * power * q.powf(power - 1.0) / width;
            }
        }
        s * 1e-6
    }

    fn panels(&self, from: f64, to: f64) -> Vec<(f64, f64)> {
        let mut breaks = vec![from, to];
        if let Some((width, _, _)) = self.edge {
            breaks.push(self.rim_mm - width);
        }
        for &(centre, half_width, _) in &self.zones {
            breaks.extend([-3.0, -1.0, 0.0, 1.0, 3.0].map(|k| centre + k * half_width));
        }
        breaks.extend((1..12).map(|k| from + (to - from) * f64::from(k) / 12.0));
        breaks.retain(|&r| r >= from && r <= to);
        breaks.sort_by(f64::total_cmp);
        breaks.windows(2).filter(|pair| pair[1] > pair[0]).map(|pair| (pair[0], pair[1])).collect()
    }

    /// The exact mean crossing of an opening, mm.
    fn crossing_mm(&self, k: f64, from: f64, to: f64) -> f64 {
        let radius = self.radius_of_curvature_mm;
        let (mut sum, mut area) = (0.0, 0.0);
        for (a, b) in self.panels(from, to) {
            // Cubed steps: a power below 2 has a kink where the edge begins.
            for (s, weight) in on_interval(16, 0.0, 1.0) {
                let r = a + (b - a) * s.powi(3);
                let w = weight * 3.0 * s * s * (b - a) * r;
                let x = k * radius * self.slope(r) / r;
                let ideal = if k < 1.5 {
                    r * r / (2.0 * radius)
                } else {
                    r * r / radius + r.powi(4) / (2.0 * radius.powi(3))
                };
                sum += w * (ideal + radius / (1.0 + x) - radius);
                area += w;
            }
        }
        sum / area
    }

    /// Strehl at the peak, Strehl at least RMS, RMS nm, PV nm, over a ring.
    pub(crate) fn worth(&self, inner_mm: f64, outer_mm: f64, wavelength_nm: f64) -> [f64; 4] {
        let radius = self.radius_of_curvature_mm;
        let mut nodes: Vec<(f64, f64, f64)> = Vec::new();
        for (a, b) in self.panels(inner_mm, outer_mm) {
            for (s, weight) in on_interval(16, 0.0, 1.0) {
                let r = a + (b - a) * s.powi(3);
                let share = 1.0 / (1.0 + (r / radius).powi(2));
                nodes.push((weight * 3.0 * s * s * (b - a) * r, 2.0 * self.height_nm(r) * share, share));
            }
        }
        let end = |r: f64| {
            let share = 1.0 / (1.0 + (r / radius).powi(2));
            (2.0 * self.height_nm(r) * share, share)
        };
        let total: f64 = nodes.iter().map(|n| n.0).sum();
        let mean =
            |f: &dyn Fn(&(f64, f64, f64)) -> f64| nodes.iter().map(|n| n.0 * f(n)).sum::<f64>() / total;
        let (mt, mw) = (mean(&|n| n.2), mean(&|n| n.1));
        let st = mean(&|n| (n.2 - mt).powi(2)).sqrt();
        let b = mean(&|n| (n.2 - mt) / st * n.1);
        let rest = |w: f64, t: f64| w - mw - b * (t - mt) / st;
        let rms = mean(&|n| rest(n.1, n.2).powi(2)).sqrt();
        let ends = [end(inner_mm), end(outer_mm)];
        let waves = || nodes.iter().map(|n| (n.1, n.2)).chain(ends).map(|(w, t)| rest(w, t));
        let pv = waves().fold(f64::MIN, f64::max) - waves().fold(f64::MAX, f64::min);
        let strehl = |d: f64| {
            let (mut re, mut im) = (0.0, 0.0);
            for n in &nodes {
                let phase = 2.0 * PI / wavelength_nm * rest(n.1, n.2) - d * (n.2 - mt) / st;
                re += n.0 * phase.cos();
                im += n.0 * phase.sin();
            }
            (re * re + im * im) / (total * total)
        };
        // Brute force: 6 radians RMS either way in steps of 0.1, then thirds.
        let mut best = (0.0, strehl(0.0));
        for k in -60..=60 {
            let d = 0.1 * f64::from(k);
            let s = strehl(d);
            if s > best.1 {
                best = (d, s);
            }
        }
        let mut step = 0.1;
        while step > 1e-5 {
            for d in [best.0 - step / 2.0, best.0 + step / 2.0] {
                let s = strehl(d);
                if s > best.1 {
                    best = (d, s);
                }
            }
            step /= 2.0;
        }
        [best.1, strehl(0.0), rms, pv]
    }
}

fn span(stream: &mut Stream, low: f64, high: f64) -> f64 {
    low + (high - low) * stream.uniform()
}

fn log_span(stream: &mut Stream, low: f64, high: f64) -> f64 {
    (span(stream, low.ln(), high.ln())).exp()
}

fn sign(stream: &mut Stream) -> f64 {
    if stream.uniform() < 0.5 { -1.0 } else { 1.0 }
}

/// Invents a surface of a kind.
fn surface(stream: &mut Stream, kind: usize, rim_mm: f64, radius_of_curvature_mm: f64) -> Surface {
    let mut surface =
        Surface { rim_mm, radius_of_curvature_mm, conic_nm: 0.0, waves: vec![], zones: vec![], edge: None };
    let wave = |stream: &mut Stream, low: f64, high: f64| {
        (log_span(stream, low, high), span(stream, 0.4, 2.0), span(stream, 0.0, 2.0 * PI))
    };
    let power = span(stream, 1.0, 4.0);
    let (narrow, wide) = (log_span(stream, 1.0, 4.0), log_span(stream, 4.0, 15.0));
    match kind {
        0 => {
            surface.conic_nm = sign(stream) * log_span(stream, 3.0, 40.0);
            surface.waves.push(wave(stream, 0.5, 4.0));
        }
        1 => {
            surface.conic_nm = sign(stream) * log_span(stream, 40.0, 700.0);
            surface.waves.push(wave(stream, 1.0, 15.0));
        }
        2 => {
            surface.conic_nm = sign(stream) * log_span(stream, 5.0, 150.0);
            surface.waves.push(wave(stream, 0.5, 8.0));
            surface.edge = Some((log_span(stream, 1.0, 15.0), log_span(stream, 30.0, 1500.0), power));
        }
        3 => {
            surface.conic_nm = sign(stream) * log_span(stream, 5.0, 150.0);
            surface.waves.push(wave(stream, 0.5, 8.0));
            let width = if sign(stream) < 0.0 { narrow } else { wide };
            surface.edge = Some((width, -log_span(stream, 30.0, 400.0), power));
        }
        4 => {
            surface.conic_nm = sign(stream) * log_span(stream, 5.0, 100.0);
            let count = 1 + usize::from(stream.uniform() < 0.5);
            for _ in 0..count {
                let centre = span(stream, 0.2, 0.9) * rim_mm;
                let half_width = log_span(stream, 4.0, 20.0);
                surface.zones.push((centre, half_width, sign(stream) * log_span(stream, 5.0, 50.0)));
            }
        }
        _ => {
            surface.conic_nm = sign(stream) * log_span(stream, 20.0, 400.0);
            surface.waves.push(wave(stream, 1.0, 15.0));
            let centre = span(stream, 0.2, 0.9) * rim_mm;
            surface.zones.push((
                centre,
                log_span(stream, 6.0, 25.0),
                sign(stream) * log_span(stream, 5.0, 50.0),
            ));
            let width = if sign(stream) < 0.0 { narrow } else { wide };
            surface.edge = Some((width, sign(stream) * log_span(stream, 30.0, 500.0), power));
        }
    }
    surface
}

/// 3 to 10 openings that touch, or nearly; the last ends at the rim or up to 2.5 mm before it.
fn openings(stream: &mut Stream, rim_mm: f64) -> Vec<MaskOpening> {
    let count = 3 + (8.0 * stream.uniform()) as usize;
    let inner = span(stream, 0.05, 0.2) * rim_mm;
    let outer = rim_mm - span(stream, 0.0, 2.5);
    let exponent = span(stream, 1.2, 2.0);
    let rim = |k: usize| {
        let t = k as f64 / count as f64;
        (inner.powf(exponent) + t * (outer.powf(exponent) - inner.powf(exponent))).powf(1.0 / exponent)
    };
    let round = |r: f64| (2.0 * r).round() / 2.0;
    let rims: Vec<f64> = (0..=count).map(|k| if k == count { outer } else { round(rim(k)) }).collect();
    let opening = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
    rims.windows(2).map(opening).collect()
}

/// A mirror with readings of it.
pub(crate) struct Case {
    pub(crate) surface: Surface,
    pub(crate) readings: KnifeEdgeReadings,
    pub(crate) radius_sigma_mm: f64,
    pub(crate) obstruction_ratio: f64,
}

/// One whole case of a kind from a seed: openings that stand a little wrong, 1 to 6 runs with a zero and noise of their
/// own, a scale of 0.01 mm. None if the library refuses such readings.
pub(crate) fn case(seed: u64, number: u64, kind: usize) -> Option<Case> {
    let mut stream = Stream::new(seed, number);
    let stream = &mut stream;
    let rim_mm = 0.5 * log_span(stream, 150.0, 500.0);
    let radius_mm = 4.0 * rim_mm * span(stream, 3.5, 8.0);
    let surface = surface(stream, kind, rim_mm, radius_mm);
    let radius_sigma_mm = [0.1, 0.2, 0.3][(3.0 * stream.uniform()) as usize];
    let openings = openings(stream, rim_mm);
    let source = if stream.uniform() < 0.7 { TestSource::Moving } else { TestSource::Fixed };
    let k = if source == TestSource::Moving { 1.0 } else { 2.0 };
    let (direction, turn) = if stream.uniform() < 0.5 {
        (ReadingsIncrease::AwayFromMirror, 1.0)
    } else {
        (ReadingsIncrease::TowardMirror, -1.0)
    };
    let exact: Vec<f64> = openings
        .iter()
        .map(|o| {
            let shift = radius_sigma_mm * stream.normal();
            let outer = (o.outer_radius_mm + shift).min(surface.rim_mm);
            surface.crossing_mm(k, (o.inner_radius_mm + shift).max(0.0), outer)
        })
        .collect();
    let runs = 1 + (6.0 * stream.uniform()) as usize;
    let scale = log_span(stream, 0.3, 0.8);
    let sigma: Vec<f64> = openings
        .iter()
        .map(|o| {
            let middle = f64::midpoint(o.inner_radius_mm, o.outer_radius_mm);
            let airy = 1.22 * 550e-6 * radius_mm / (4.0 * rim_mm) * k * radius_mm / middle;
            scale * airy * (0.2 * stream.normal()).exp()
        })
        .collect();
    let runs_mm = (0..runs)
        .map(|_| {
            let zero = span(stream, 0.0, 10.0);
            let read = |(y, sigma): (&f64, &f64)| {
                turn * ((y + zero + sigma * stream.normal()) * 100.0).round() / 100.0
            };
            exact.iter().zip(&sigma).map(read).collect()
        })
        .collect();
    let obstruction_ratio = span(stream, 0.0, 0.3);
    let radius = RadiusOfCurvatureMm(radius_mm);
    let readings =
        KnifeEdgeReadings::through_openings(2.0 * rim_mm, radius, source, direction, openings, runs_mm)
            .ok()?;
    Some(Case { surface, readings, radius_sigma_mm, obstruction_ratio })
}
