//! The search for the allowed edges: the most likely drop of each shape and width, the ends of the allowed ones, their worth.

use super::edge_fit::{EdgeFit, EdgeFitOptions, EdgeFits, EdgePoint};
use super::edge_shape::{EdgeShape, UnitEdge};
use super::unseen::{Analysis, EdgeCurve, EdgeHeight, Places, SeenEdge};
use crate::numeric::spline::{CubicSpline, End};
use crate::numeric::{pool, roots};
use crate::wave::{RadialGrid, RadialPupil, Scratch};

/// Drops looked at on either side of none, and the scale on which their steps begin to grow, nm.
const LOOKS: i32 = 20;
const FIRST_STEP_NM: f64 = 5.0;
/// A drop is found to this share of itself.
const DROP_ACCURACY: f64 = 1e-4;

/// One shape and width, searched for its best drop.
struct Found {
    edge: UnitEdge,
    seen: SeenEdge,
    /// The most likely drop.
    drop_nm: f64,
    deviance: f64,
    /// The drop that gives the mean readings back.
    given_back_nm: f64,
}

pub(super) struct Search<'a> {
    analysis: &'a Analysis,
    curve: EdgeCurve<'a>,
    options: &'a EdgeFitOptions,
    rim_mm: f64,
    drops_nm: Vec<f64>,
    /// Points of the model's grid at which the smooth figures are kept.
    kept: Vec<usize>,
}

impl<'a> Search<'a> {
    pub(super) fn new(analysis: &'a Analysis, options: &'a EdgeFitOptions, rim_mm: f64) -> Self {
        let most = (options.largest_drop_nm / FIRST_STEP_NM).asinh();
        let drops_nm = (-LOOKS..=LOOKS)
            .map(|k| FIRST_STEP_NM * (most * f64::from(k) / f64::from(LOOKS)).sinh())
            .collect();
        let grid = &analysis.model.grid;
        let centre = grid.point_at(0.0).unwrap_or(0);
        let last = grid.radius_mm.len() - 1;
        let kept = std::iter::once(centre).chain((1..grid.nodes).step_by(2)).chain([last]).collect();
        Self { analysis, curve: EdgeCurve::new(analysis), options, rim_mm, drops_nm, kept }
    }

    pub(super) fn fits(&self) -> EdgeFits {
        let widths = self.options.widths_mm(self.rim_mm);
        let shapes = self.options.shapes();
        let edge = |k: usize| {
            let (shape, width_mm) = (shapes[k / widths.len()], widths[k % widths.len()]);
            // As far in as the others: a third of the width is the reach.
            let width_mm = if shape == EdgeShape::RollOff { width_mm / 3.0 } else { width_mm };
            UnitEdge { shape, width_mm, rim_mm: self.rim_mm }
        };
        let found = pool::map_ordered(shapes.len() * widths.len(), true, |k| self.best_drop(edge(k)));
        let least = |list: &[Found]| list.iter().map(|f| f.deviance).fold(f64::INFINITY, f64::min);
        let best_of_all = least(&found);
        let points = pool::map_ordered(found.len(), true, |k| {
            let of_shape = &found[k / widths.len() * widths.len()..][..widths.len()];
            self.point(&found[k], least(of_shape))
        });
        let mut shapes_fitted = Vec::new();
        for ((shape, points), found) in
            shapes.iter().zip(points.chunks_exact(widths.len())).zip(found.chunks_exact(widths.len()))
        {
            let above = least(found) - best_of_all;
            let best = points.iter().position(|p| p.chi_square_above_best == 0.0).unwrap_or(0);
            shapes_fitted.push(EdgeFit {
                shape: *shape,
                points: points.to_vec(),
                best,
                chi_square_above_best_shape: above,
                // Chi-square with two degrees of freedom, closed form.
                p_value: (-0.5 * above).exp(),
            });
        }
        let best = shapes_fitted.iter().position(|f| f.chi_square_above_best_shape == 0.0).unwrap_or(0);
        let none = self.curve.deviance(&found[0].seen, 0.0, Places::AsUncertain) - best_of_all;
        let grid = &self.analysis.model.grid;
        let rings = &self.analysis.model.bench.rings;
        EdgeFits {
            shapes: shapes_fitted,
            best,
            no_edge_above_best: none.max(0.0),
            no_edge_p_value: (-0.5 * none.max(0.0)).exp(),
            inner_radius_mm: self.kept.iter().map(|&k| grid.radius_mm[k]).collect(),
            seen_to_mm: rings.last().map_or(self.rim_mm, |o| o.outer_radius_mm),
            clear_aperture_mm: 2.0 * self.rim_mm,
            options: self.options.clone(),
        }
    }

    fn best_drop(&self, edge: UnitEdge) -> Found {
        let seen = self.curve.seen(&edge);
        // Nothing of it is seen: any drop does as well as none.
        if seen.strength_mm() == 0.0 {
            let deviance = self.curve.deviance(&seen, 0.0, Places::AsUncertain);
            return Found { edge, seen, drop_nm: 0.0, deviance, given_back_nm: 0.0 };
        }
        let (drop_nm, deviance) = self.likeliest(&seen, Places::AsUncertain);
        let (given_back_nm, _) = self.likeliest(&seen, Places::AsStated);
        Found { edge, seen, drop_nm, deviance, given_back_nm }
    }

    /// The drop of least deviance, and that.
    fn likeliest(&self, seen: &SeenEdge, places: Places) -> (f64, f64) {
        let worth = |drop_nm: f64| -self.curve.deviance(seen, drop_nm, places);
        let looks: Vec<f64> = self.drops_nm.iter().map(|d| worth(*d)).collect();
        let top = (0..looks.len()).fold(0, |top, k| if looks[k] > looks[top] { k } else { top });
        let (low, high) = (top.saturating_sub(1), (top + 1).min(looks.len() - 1));
        let accuracy = DROP_ACCURACY * self.drops_nm[top].abs().max(FIRST_STEP_NM);
        // Rays that do not come back are worth nothing, which a search by parabolas must not meet.
        let bounded = |drop_nm: f64| worth(drop_nm).max(looks[top] - 1e6);
        let (drop_nm, best) = roots::maximum(bounded, self.drops_nm[low], self.drops_nm[high], accuracy);
        if best >= looks[top] { (drop_nm, -best) } else { (self.drops_nm[top], -looks[top]) }
    }

    /// The allowed drops about a best one, and what they are worth.
    fn point(&self, found: &Found, best_of_shape: f64) -> EdgePoint {
        let limit = best_of_shape - 2.0 * (1.0 - self.options.share).ln();
        let allowed = found.deviance <= limit;
        let (low, high) = if allowed {
            self.ends(found, limit)
        } else {
            ((found.given_back_nm, true), (found.given_back_nm, true))
        };
        let best_nm = found.given_back_nm.clamp(low.0, high.0);
        let drops = [best_nm, low.0, high.0];
        let places = [Places::AsStated, Places::AsUncertain, Places::AsUncertain];
        let inner = [0, 1, 2].map(|k| self.inner_nm(found, drops[k], places[k]));
        let worth = Worth::new(self, &found.edge);
        let mut seen: Vec<(f64, f64)> =
            drops.iter().zip(&inner).map(|(drop, inner)| worth.of(self, inner, *drop)).collect();
        let best = seen[0];
        // Between the ends: the smooth figure changes in proportion.
        for share in [0.25, 0.5, 0.75] {
            let between = |a: f64, b: f64| a + share * (b - a);
            let figure: Vec<f64> = inner[1].iter().zip(&inner[2]).map(|(a, b)| between(*a, *b)).collect();
            seen.push(worth.of(self, &figure, between(drops[1], drops[2])));
        }
        let ends = |of: fn(&(f64, f64)) -> f64| {
            seen.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
        };
        let (strehl, rms) = (ends(|q| q.0), ends(|q| q.1));
        EdgePoint {
            width_mm: found.edge.width_mm,
            drop_nm: best_nm,
            drop_low_nm: low.0,
            drop_high_nm: high.0,
            chi_square_above_best: found.deviance - best_of_shape,
            allowed,
            bounded: low.1 && high.1,
            strehl: best.0,
            strehl_low: strehl.0,
            strehl_high: strehl.1,
            rms_nm: best.1,
            rms_low_nm: rms.0,
            rms_high_nm: rms.1,
            inner_height_nm: inner,
        }
    }

    /// Lowest and highest allowed drop, each with whether the readings bound it.
    fn ends(&self, found: &Found, limit: f64) -> ((f64, bool), (f64, bool)) {
        let most = self.options.largest_drop_nm;
        if found.seen.strength_mm() == 0.0 {
            return ((-most, false), (most, false));
        }
        let over =
            |drop_nm: f64| (self.curve.deviance(&found.seen, drop_nm, Places::AsUncertain) - limit).min(1e6);
        let accuracy = DROP_ACCURACY * found.drop_nm.abs().max(FIRST_STEP_NM);
        let outward = |looks: Vec<f64>| {
            let mut inside = found.drop_nm;
            for look in looks {
                if over(look) > 0.0 {
                    let end = roots::bracketed(over, inside.min(look), inside.max(look), accuracy);
                    return (end.unwrap_or(inside), true);
                }
                inside = look;
            }
            (inside, false)
        };
        let below = self.drops_nm.iter().rev().copied().filter(|d| *d < found.drop_nm).collect();
        let above = self.drops_nm.iter().copied().filter(|d| *d > found.drop_nm).collect();
        (outward(below), outward(above))
    }

    /// The smooth figure inside an edge, at the kept points, level and focus of the whole taken off, nm.
    fn inner_nm(&self, found: &Found, drop_nm: f64, places: Places) -> Vec<f64> {
        let grid = &self.analysis.model.grid;
        let Some(smooth) = self.curve.smooth_nm(&found.seen, drop_nm, places) else {
            return vec![0.0; self.kept.len()];
        };
        let radii = grid.radius_mm.iter();
        let whole: Vec<f64> = radii.zip(&smooth).map(|(r, h)| h + drop_nm * found.edge.height(*r)).collect();
        let (level, gain) = self.analysis.lit.level_and_focus(grid, &whole);
        self.kept.iter().map(|&k| smooth[k] - level - gain * grid.radius_mm[k].powi(2)).collect()
    }
}

/// Quadrature of its own for one edge: its panels end where the edge begins.
struct Worth {
    grid: RadialGrid,
    pupil: RadialPupil,
    /// Height of the edge at the grid's points for 1 nm of drop.
    unit: Vec<f64>,
}

impl Worth {
    fn new(search: &Search<'_>, edge: &UnitEdge) -> Self {
        let options = &search.options.reduce;
        let inner_mm = options.obstruction_ratio * search.rim_mm;
        let mut breaks_mm = edge.breaks_mm();
        breaks_mm.push(inner_mm);
        let grid = RadialGrid::new(search.rim_mm, &breaks_mm);
        let radius_mm = search.analysis.model.bench.radius_of_curvature_mm;
        let pupil = RadialPupil::new(&grid, inner_mm, search.rim_mm, radius_mm, options.wavelength_nm);
        let unit = grid.radius_mm.iter().map(|r| edge.height(*r)).collect();
        Self { grid, pupil, unit }
    }

    /// Strehl at the brightest focus, and RMS at its own, of a smooth figure with the edge on it.
    fn of(&self, search: &Search<'_>, inner_nm: &[f64], drop_nm: f64) -> (f64, f64) {
        let radii: Vec<f64> = search.kept.iter().map(|&k| search.analysis.model.grid.radius_mm[k]).collect();
        let spline = CubicSpline::new(&radii, inner_nm, End::Slope(0.0), End::Natural);
        let spline = spline.unwrap_or_else(|_| unreachable!("the grid's radii rise"));
        let points = self.grid.radius_mm.iter().zip(&self.unit);
        let height_nm: Vec<f64> = points.map(|(r, unit)| spline.value(*r) + drop_nm * unit).collect();
        let quality = self.pupil.quality(&height_nm, &mut Scratch::default());
        (quality.strehl, quality.rms_nm)
    }
}
