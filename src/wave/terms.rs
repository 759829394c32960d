//! Zernike terms: a wavefront given by coefficients, and coefficients fitted to a wavefront.

use std::collections::BTreeMap;
use std::f64::consts::TAU;

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::numeric::least_squares;
use crate::numeric::zernike::{self, Indexing};

/// Highest radial order that is accepted: beyond, ten thousand nodes would be needed.
const HIGHEST_ORDER: u32 = 40;

/// Coefficients beyond this are no wavefront of a telescope, nm.
const LARGEST_NM: f64 = 1e6;

/// A wavefront given by Zernike coefficients on a pupil of unit radius.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Terms {
    /// Order, azimuthal order (positive: cosine) and coefficient, nm.
    terms: Vec<(u32, i32, f64)>,
    pub(crate) obstruction_ratio: f64,
    pub(crate) focal_ratio: Option<f64>,
}

impl Terms {
    pub(crate) fn new(
        coefficients_nm: &BTreeMap<u32, f64>,
        indexing: Indexing,
        obstruction_ratio: f64,
        focal_ratio: Option<f64>,
    ) -> Result<Self> {
        if !(0.0..0.95).contains(&obstruction_ratio) {
            let allowed = "from 0 to less than 0.95, by diameter";
            return Err(Error::input(
                "obstruction_ratio",
                obstruction_ratio,
                allowed,
                "per cent, or by area?",
            ));
        }
        if let Some(ratio) = focal_ratio.filter(|f| !(f.is_finite() && *f >= 1.0)) {
            return Err(Error::input("focal_ratio", ratio, "1 or more", ""));
        }
        let mut terms = Vec::with_capacity(coefficients_nm.len());
        for (&j, &value) in coefficients_nm {
            let field = format!("coefficients[{j}]");
            if value.is_nan() || value.abs() > LARGEST_NM {
                let allowed = "a finite number of nanometres within +-1000000 (1 mm)";
                return Err(Error::input(field, value, allowed, "another unit?"));
            }
            match indexing.order(j) {
                Some((n, m)) if n <= HIGHEST_ORDER => {
                    // A fringe coefficient counts at the rim, the others as RMS.
                    let rms = if indexing == Indexing::Fringe { value / zernike::norm(n, m) } else { value };
                    terms.push((n, m, rms));
                }
                _ => {
                    let allowed = format!("an index of radial order 0 to {HIGHEST_ORDER} ({indexing:?})");
                    return Err(Error::input(field, j, allowed, "another indexing?"));
                }
            }
        }
        Ok(Self { terms, obstruction_ratio, focal_ratio })
    }

    /// Whether the wavefront depends on the radius alone.
    pub(crate) fn are_round(&self) -> bool {
        self.terms.iter().all(|&(_, m, value)| m == 0 || value == 0.0)
    }

    /// The wavefront at a point of the pupil, nm.
    pub(crate) fn path_nm(&self, x: f64, y: f64) -> f64 {
        let (rho, theta) = (x.hypot(y), y.atan2(x));
        self.terms.iter().map(|&(n, m, value)| value * zernike::zernike(n, m, rho, theta)).sum()
    }

    /// Slopes of the wavefront, nm for each pupil radius; central differences, for node counts only.
    pub(crate) fn gradient_nm(&self, x: f64, y: f64) -> [f64; 2] {
        let step = 1e-5;
        [
            (self.path_nm(x + step, y) - self.path_nm(x - step, y)) / (2.0 * step),
            (self.path_nm(x, y + step) - self.path_nm(x, y - step)) / (2.0 * step),
        ]
    }

    /// Whether every term depends on the radius alone.
    pub(crate) fn is_round(&self) -> bool {
        self.terms.iter().all(|&(_, m, value)| m == 0 || value == 0.0)
    }

    /// Width of the narrowest bump in pupil radii; none where no term has one narrower than the pupil.
    pub(crate) fn finest(&self) -> Option<f64> {
        let highest = self.terms.iter().map(|&(n, _, _)| n).max().unwrap_or(0);
        (highest > 2).then(|| 2.0 / f64::from(highest))
    }

    pub(crate) fn edge_points(&self) -> Vec<[f64; 2]> {
        let circles: &[f64] =
            if self.obstruction_ratio > 0.0 { &[self.obstruction_ratio, 1.0] } else { &[1.0] };
        let around = |r: f64| {
            (0..96).map(move |i| (TAU * f64::from(i) / 96.0).sin_cos()).map(move |(s, c)| [r * c, r * s])
        };
        circles.iter().flat_map(|&r| around(r)).collect()
    }
}

/// Where a wavefront is known, and how much each place counts.
pub(crate) struct FitNodes<'a> {
    pub(crate) x: &'a [f64],
    pub(crate) y: &'a [f64],
    pub(crate) weight: &'a [f64],
}

/// Coefficients of the first `count` terms that come closest to a wavefront, in the least-squares sense
/// over the lit pupil.
///
/// Every term is fitted at once, so that on an annulus each coefficient depends a little on how many are
/// asked for, and their squares do not add up to the variance.
pub(crate) fn fit(
    nodes: &FitNodes<'_>,
    path_nm: &[f64],
    rim: f64,
    indexing: Indexing,
    count: u32,
) -> Result<BTreeMap<u32, f64>> {
    let first = u32::from(indexing != Indexing::Osa);
    let orders: Vec<(u32, u32, i32)> =
        (first..first + count).filter_map(|j| indexing.order(j).map(|(n, m)| (j, n, m))).collect();
    if count == 0 || count > 400 {
        return Err(Error::input("terms", count, "from 1 to 400 terms", ""));
    }
    let polar: Vec<(f64, f64)> =
        nodes.x.iter().zip(nodes.y).map(|(x, y)| ((x / rim).hypot(y / rim), y.atan2(*x))).collect();
    let columns: Vec<Vec<f64>> = orders
        .iter()
        .map(|&(_, n, m)| polar.iter().map(|&(rho, theta)| zernike::zernike(n, m, rho, theta)).collect())
        .collect();
    let rms_nm = least_squares::weighted(nodes.x.len(), &columns, nodes.weight, path_nm).ok_or(
        Error::NotConverged { what: "the Zernike fit over this pupil", reached: f64::EPSILON, wanted: 1e-9 },
    )?;
    let at_rim = |n, m| if indexing == Indexing::Fringe { zernike::norm(n, m) } else { 1.0 };
    Ok(orders.iter().zip(rms_nm).map(|(&(j, n, m), rms)| (j, rms * at_rim(n, m))).collect())
}
