//! A zone, a central hill or an edge fitted to heights that are known: least squares.

use serde::{Deserialize, Serialize};

use super::layer_shape::{LayerKind, Shape};
use crate::error::{Error, Result};
use crate::model::{FigureLayer, HeightMap, Primary, RadialProfile, Train};
use crate::numeric::least_squares::weighted;
use crate::trace::Prepared;
use crate::units::FocalLengthMm;
use nalgebra::{DMatrix, DVector};

/// More points than this are gathered in rings before the start is looked for.
const MANY: usize = 2000;
const RINGS: usize = 600;
/// Points at which a layer of Zernike terms or ripple is looked at.
const SAMPLES: usize = 6000;
const STEPS: usize = 200;
/// A step that changes each number by less than this share of its scale is the last.
const SETTLED: f64 = 1e-11;

/// What is fitted beside the layer, because nothing measures it or nobody asks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Background {
    /// A level.
    Level,
    /// A level and a focus: heights that grow as the square of the radius.
    #[default]
    Focus,
    /// These and a conic: heights that grow as the fourth power as well.
    Conic,
}

impl Background {
    /// The background of a name: `level`, `focus` or `conic`.
    ///
    /// ```
    /// assert_eq!(catoptric::Background::from_name("focus"), Some(catoptric::Background::Focus));
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        [Self::Level, Self::Focus, Self::Conic].into_iter().find(|b| b.name() == name)
    }

    /// The background's name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Level => "level",
            Self::Focus => "focus",
            Self::Conic => "conic",
        }
    }

    fn columns(self) -> i32 {
        match self {
            Self::Level => 1,
            Self::Focus => 2,
            Self::Conic => 3,
        }
    }
}

/// A layer fitted to heights.
///
/// Units: mm; nm of glass height.
/// Shapes: one entry of `values` and `sigmas` for each of `names`; `covariance` has so many rows and columns, 0 where a
/// number was not free. `radius_mm`, `height_nm` and `fitted_nm` are the points, or the means of 600 rings where there are
/// more than 2000.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LayerFit {
    /// The layer.
    pub layer: FigureLayer,
    /// What the numbers are: those of the layer, then `level_nm`, `focus_nm`, `conic_nm` (height at the rim).
    pub names: Vec<String>,
    /// The numbers.
    pub values: Vec<f64>,
    /// Their standard errors; none for a number that lies at the end of its range, and for the place of a step.
    pub sigmas: Vec<Option<f64>>,
    /// Their covariance.
    pub covariance: Vec<Vec<f64>>,
    /// RMS of what the fit leaves, nm.
    pub residual_rms_nm: f64,
    /// RMS of what the background alone would leave, nm.
    pub background_rms_nm: f64,
    /// How many heights there were.
    pub points: usize,
    /// Radii, from the centre outward.
    pub radius_mm: Vec<f64>,
    /// Heights there, as given.
    pub height_nm: Vec<f64>,
    /// Heights there, as fitted.
    pub fitted_nm: Vec<f64>,
}

/// Fits one layer, and a background, to a figure layer that is known: a profile's points, a map's pixels, or samples of
/// terms.
///
/// Units: mm; nm of glass height; `clear_aperture_mm` is the mirror's, to which edges are tied; `sigma_nm` the noise of one
/// height, taken from what the fit leaves if none is given.
/// Errors: [`Error::Input`] for sizes that cannot be, and for fewer points than numbers.
/// Method: least squares; the numbers in which heights are not linear are looked for on a net, then all of them move together
/// (Levenberg 1944 and Marquardt 1963, from memory). The covariance is sigma^2 times the inverse of J'J.
/// Leaves out: that neighbouring heights of a map err together, which makes the errors larger than stated; a second layer,
/// which is to be fitted to what the first one leaves.
///
/// ```
/// use catoptric::{Background, FigureLayer, LayerKind, RadialProfile, Zone, fit_zone};
/// let radius_mm: Vec<f64> = (0..=150).map(f64::from).collect();
/// let hill = |r: &f64| 28.0 * (-((r - 95.0) / 13.0).powi(2)).exp() + 5.0;
/// let profile = RadialProfile::new(radius_mm.clone(), radius_mm.iter().map(hill).collect());
/// let fit = fit_zone(&profile.into(), 318.0, LayerKind::Zone, Background::Focus, None)?;
/// let FigureLayer::Zone(zone) = fit.layer else { panic!("a zone") };
/// assert!((zone.radius_mm - 95.0).abs() < 1e-6 && (zone.height_nm - 28.0).abs() < 1e-6);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn fit_zone(
    figure: &FigureLayer,
    clear_aperture_mm: f64,
    kind: LayerKind,
    background: Background,
    sigma_nm: Option<f64>,
) -> Result<LayerFit> {
    // The mirror's own check sees to the figure and to the size.
    Train::builder(
        Primary::new(clear_aperture_mm, FocalLengthMm(8.0 * clear_aperture_mm)).layer(figure.clone()),
    )
    .build()?;
    if let Some(sigma) = sigma_nm.filter(|sigma| !(1e-6..=1e5).contains(sigma)) {
        return Err(Error::input("sigma_nm", sigma, "0.000001 to 100000 nm", "other units?"));
    }
    kind.check()?;
    let mut points = points(figure, clear_aperture_mm)?;
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let fit = Fit { points, rim_mm: clear_aperture_mm / 2.0, kind, background };
    let least = fit.width() + 1;
    if fit.points.len() < least {
        let allowed = format!("{least} heights or more for {} numbers", least - 1);
        return Err(Error::input("figure", format!("{} heights", fit.points.len()), allowed, ""));
    }
    fit.solve(sigma_nm)
}

/// Radius and height of what a layer tells.
fn points(figure: &FigureLayer, clear_aperture_mm: f64) -> Result<Vec<(f64, f64)>> {
    let rim_mm = clear_aperture_mm / 2.0;
    match figure {
        FigureLayer::RadialProfile(RadialProfile { radius_mm, height_nm, .. }) => {
            Ok(radius_mm.iter().copied().zip(height_nm.iter().copied()).collect())
        }
        FigureLayer::HeightMap(map) => Ok(pixels(map, rim_mm)),
        other => {
            let primary = Primary::new(clear_aperture_mm, FocalLengthMm(8.0 * clear_aperture_mm));
            let bare = Prepared::new(&Train::builder(primary.clone()).build()?);
            let with = Prepared::new(&Train::builder(primary.layer(other.clone())).build()?);
            // Points that stand for equal areas, each turned by the golden angle from the one before.
            let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
            let sample = |k: usize| {
                let r = rim_mm * ((k as f64 + 0.5) / SAMPLES as f64).sqrt();
                let (sin, cos) = (golden * k as f64).sin_cos();
                let height = |p: &Prepared| p.surface(r * cos, r * sin).position_mm[2];
                (r, (height(&with) - height(&bare)) * crate::units::NM_PER_MM)
            };
            Ok((0..SAMPLES).map(sample).collect())
        }
    }
}

fn pixels(map: &HeightMap, rim_mm: f64) -> Vec<(f64, f64)> {
    let measured = map.height_nm.indexed_iter().filter(|(_, h)| h.is_finite());
    let placed = measured.map(|((row, column), h)| {
        let [x, y] = map.place_mm(row, column);
        (x.hypot(y), *h)
    });
    placed.filter(|(r, _)| *r <= rim_mm).collect()
}

struct Fit {
    points: Vec<(f64, f64)>,
    rim_mm: f64,
    kind: LayerKind,
    background: Background,
}

impl Fit {
    fn width(&self) -> usize {
        self.kind.names().len() + self.background.columns() as usize
    }

    fn background(&self, r: f64) -> impl Iterator<Item = f64> + use<> {
        let square = (r / self.rim_mm).powi(2);
        (0..self.background.columns()).map(move |k| square.powi(k))
    }

    fn shape<'a>(&self, sizes: &'a [f64]) -> Shape<'a> {
        Shape { kind: self.kind, rim_mm: self.rim_mm, sizes }
    }

    /// Amplitude and background for sizes, and the sum of squares that they leave; none where they cannot be told apart.
    fn linear(&self, sizes: &[f64], points: &[(f64, f64)], weights: &[f64]) -> Option<(Vec<f64>, f64)> {
        let shape = self.shape(sizes);
        let mut columns = vec![points.iter().map(|(r, _)| shape.value(*r)).collect::<Vec<f64>>()];
        for k in 0..self.background.columns() as usize {
            columns.push(points.iter().filter_map(|(r, _)| self.background(*r).nth(k)).collect());
        }
        let heights: Vec<f64> = points.iter().map(|p| p.1).collect();
        let found = weighted(points.len(), &columns, weights, &heights)?;
        let left = (0..points.len()).map(|i| {
            let fitted: f64 = columns.iter().zip(&found).map(|(c, f)| c[i] * f).sum();
            weights[i] * (heights[i] - fitted).powi(2)
        });
        let left = left.sum();
        Some((found, left))
    }

    /// Means of rings and how many points each has, where there are many.
    fn gathered(&self) -> (Vec<(f64, f64)>, Vec<f64>) {
        if self.points.len() <= MANY {
            return (self.points.clone(), vec![1.0; self.points.len()]);
        }
        let mut sums = vec![(0.0, 0.0, 0.0); RINGS];
        for (r, h) in &self.points {
            let sum = &mut sums[((r / self.rim_mm * RINGS as f64) as usize).min(RINGS - 1)];
            *sum = (sum.0 + r, sum.1 + h, sum.2 + 1.0);
        }
        sums.iter().filter(|s| s.2 > 0.0).map(|s| ((s.0 / s.2, s.1 / s.2), s.2)).unzip()
    }

    fn solve(&self, sigma_nm: Option<f64>) -> Result<LayerFit> {
        let (rings, counts) = self.gathered();
        let mut start: Option<(Vec<f64>, Vec<f64>, f64)> = None;
        let spacing_mm =
            rings.windows(2).map(|p| p[1].0 - p[0].0).fold(0.0, f64::max).max(1e-3 * self.rim_mm);
        for sizes in self.kind.net(self.rim_mm, spacing_mm) {
            let Some((found, left)) = self.linear(&sizes, &rings, &counts) else { continue };
            if start.as_ref().is_none_or(|s| left < s.2) {
                start = Some((sizes, found, left));
            }
        }
        let nothing = || {
            let allowed = "heights in which such a layer can be told from the background";
            Error::input(
                "figure",
                "nothing to fit",
                allowed,
                "all heights equal, or too few beside the edge?",
            )
        };
        let (sizes, linear, _) = start.ok_or_else(nothing)?;
        // Sizes, amplitude, background.
        let values = self.descend(sizes.into_iter().chain(linear).collect());
        let free = self.free(&values);
        let (normal, _, left) = self.normal(&values);
        let kept: Vec<usize> = (0..values.len()).filter(|k| free[*k]).collect();
        let part = DMatrix::from_fn(kept.len(), kept.len(), |i, j| normal[(kept[i], kept[j])]);
        let count = self.points.len();
        let square = sigma_nm.map_or(left / (count - kept.len()).max(1) as f64, |s| s * s);
        // Of a layer without height nothing tells the sizes.
        let inverse = part.cholesky().map(|f| f.inverse() * square);
        let inverse = inverse.filter(|m| m.iter().all(|v| v.is_finite()));
        let mut covariance = vec![vec![0.0; values.len()]; values.len()];
        for (i, a) in kept.iter().enumerate() {
            for (j, b) in kept.iter().enumerate() {
                covariance[*a][*b] = inverse.as_ref().map_or(0.0, |m| m[(i, j)]);
            }
        }
        let told = inverse.is_some();
        let sigmas = (0..values.len()).map(|k| (free[k] && told).then(|| covariance[k][k].sqrt())).collect();
        let names = self.kind.names().iter().map(|n| (*n).to_owned());
        let names = names.chain(["level_nm", "focus_nm", "conic_nm"].map(str::to_owned)).take(values.len());
        let fitted = |r: f64| self.height(&values, r);
        Ok(LayerFit {
            layer: self.kind.layer(&values),
            names: names.collect(),
            sigmas,
            covariance,
            residual_rms_nm: (left / count as f64).sqrt(),
            background_rms_nm: self.background_rms_nm(),
            points: count,
            fitted_nm: rings.iter().map(|p| fitted(p.0)).collect(),
            radius_mm: rings.iter().map(|p| p.0).collect(),
            height_nm: rings.iter().map(|p| p.1).collect(),
            values,
        })
    }

    fn background_rms_nm(&self) -> f64 {
        let columns: Vec<Vec<f64>> = (0..self.background.columns() as usize)
            .map(|k| self.points.iter().filter_map(|(r, _)| self.background(*r).nth(k)).collect())
            .collect();
        let heights: Vec<f64> = self.points.iter().map(|p| p.1).collect();
        let found = weighted(heights.len(), &columns, &vec![1.0; heights.len()], &heights);
        let left = |i: usize| {
            let fitted = found.as_ref().map_or(0.0, |f| columns.iter().zip(f).map(|(c, f)| c[i] * f).sum());
            (heights[i] - fitted).powi(2)
        };
        ((0..heights.len()).map(left).sum::<f64>() / heights.len() as f64).sqrt()
    }

    fn height(&self, values: &[f64], r: f64) -> f64 {
        let sizes = self.kind.sizes();
        let background = self.background(r).zip(&values[sizes + 1..]).map(|(c, v)| c * v).sum::<f64>();
        values[sizes] * self.shape(&values[..sizes]).value(r) + background
    }

    /// Which numbers may move: not a size at the end of its range, nor the place of a step.
    fn free(&self, values: &[f64]) -> Vec<bool> {
        let sizes = self.kind.sizes();
        let of_size = |k: usize| {
            let (low, high) = self.kind.range(k, self.rim_mm);
            self.kind != LayerKind::Step && values[k] > low && values[k] < high
        };
        (0..values.len()).map(|k| k >= sizes || of_size(k)).collect()
    }

    /// J'J, J' times what is left, and its sum of squares.
    fn normal(&self, values: &[f64]) -> (DMatrix<f64>, DVector<f64>, f64) {
        let (sizes, width) = (self.kind.sizes(), values.len());
        let shape = self.shape(&values[..sizes]);
        let (mut normal, mut right, mut left) = (DMatrix::zeros(width, width), DVector::zeros(width), 0.0);
        let mut row = vec![0.0; width];
        for (r, h) in &self.points {
            for (k, slot) in row[..sizes].iter_mut().enumerate() {
                *slot = values[sizes] * shape.derivative(k, *r);
            }
            row[sizes] = shape.value(*r);
            for (slot, column) in row[sizes + 1..].iter_mut().zip(self.background(*r)) {
                *slot = column;
            }
            let linear: f64 = row[sizes..].iter().zip(&values[sizes..]).map(|(a, b)| a * b).sum();
            let off = h - linear;
            left += off * off;
            for i in 0..width {
                right[i] += row[i] * off;
                for j in 0..=i {
                    normal[(i, j)] += row[i] * row[j];
                }
            }
        }
        for i in 0..width {
            for j in 0..i {
                normal[(j, i)] = normal[(i, j)];
            }
        }
        (normal, right, left)
    }

    /// Damped Gauss-Newton steps until nothing moves.
    fn descend(&self, mut values: Vec<f64>) -> Vec<f64> {
        let sizes = self.kind.sizes();
        let (mut normal, mut right, mut left) = self.normal(&values);
        let mut damping = 1e-4;
        for _ in 0..STEPS {
            let free = self.free_to_move(&values, &right);
            let kept: Vec<usize> = (0..values.len()).filter(|k| free[*k]).collect();
            let damped = DMatrix::from_fn(kept.len(), kept.len(), |i, j| {
                let element = normal[(kept[i], kept[j])];
                if i == j { element * (1.0 + damping) + f64::MIN_POSITIVE } else { element }
            });
            let Some(factor) = damped.cholesky() else {
                damping = (damping * 10.0).max(1e-12);
                if damping > 1e12 {
                    break;
                }
                continue;
            };
            let step = factor.solve(&DVector::from_iterator(kept.len(), kept.iter().map(|k| right[*k])));
            let mut next = values.clone();
            for (i, k) in kept.iter().enumerate() {
                next[*k] += step[i];
                if *k < sizes {
                    let (low, high) = self.kind.range(*k, self.rim_mm);
                    next[*k] = next[*k].clamp(low, high);
                }
            }
            let after = self.normal(&next);
            if after.2 <= left {
                let moved = kept.iter().all(|k| {
                    let scale = if *k < sizes { self.rim_mm } else { values[*k].abs().max(1e-3) };
                    (next[*k] - values[*k]).abs() <= SETTLED * scale
                });
                values = next;
                (normal, right, left) = after;
                damping = (damping * 0.1).max(1e-15);
                if moved {
                    break;
                }
            } else {
                damping *= 10.0;
                if damping > 1e12 {
                    break;
                }
            }
        }
        values
    }

    /// Which numbers may take part in a step: a size at an end of its range only if it is pulled inward.
    fn free_to_move(&self, values: &[f64], right: &DVector<f64>) -> Vec<bool> {
        let sizes = self.kind.sizes();
        let of_size = |k: usize| {
            let (low, high) = self.kind.range(k, self.rim_mm);
            let outward = (values[k] <= low && right[k] <= 0.0) || (values[k] >= high && right[k] >= 0.0);
            self.kind != LayerKind::Step && !outward
        };
        (0..values.len()).map(|k| k >= sizes || of_size(k)).collect()
    }
}
