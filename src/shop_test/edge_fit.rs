//! Which edges the readings of a knife edge allow: for each shape the drop as a function of the width.
//!
//! A reading is the height difference between the rims of its opening. An edge inside the last opening is therefore
//! seen as one number, and a curve of widths and drops gives that number. Each pair is tried with all smooth figures that
//! may lie inside it, weighed as in the reduction: -2 ln of the likelihood, whose rise over the best follows chi-square.

use serde::{Deserialize, Serialize};

use super::edge_search::Search;
use super::edge_shape::EdgeShape;
use super::estimate::FigureEstimate;
use super::noise::ZoneMeans;
use super::options::ReduceOptions;
use super::readings::KnifeEdgeReadings;
use super::unseen::Analysis;
use crate::error::{Error, Result};
use crate::model::{FigureLayer, RadialProfile};

/// Widths that are tried unless others are given, mm: usual edges.
const WIDTHS_MM: [f64; 18] =
    [1.0, 1.25, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 12.0, 14.0, 16.0, 20.0];
/// How edges are fitted.
///
/// ```
/// let options = catoptric::EdgeFitOptions::default();
/// assert_eq!((options.powers.as_slice(), options.share), ([2.0].as_slice(), 0.95));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeFitOptions {
    /// Powers of the turned edges that are tried; 2 unless given.
    pub powers: Vec<f64>,
    /// Whether a roll-off is tried.
    pub roll_off: bool,
    /// Whether a sharp step is tried.
    pub step: bool,
    /// Widths that are tried, rising, mm; a roll-off is tried with a third of each as its reach. None: 1 to 20 mm, none
    /// beyond half of the mirror's radius.
    pub widths_mm: Option<Vec<f64>>,
    /// The largest drop of either sign that is thought of, nm.
    pub largest_drop_nm: f64,
    /// The share of cases in which the allowed pairs should hold the truth.
    pub share: f64,
    /// Noise, radii, wavelength and obstruction, as in the reduction; its draws and seed do not count.
    pub reduce: ReduceOptions,
}

impl Default for EdgeFitOptions {
    fn default() -> Self {
        Self {
            powers: vec![2.0],
            roll_off: true,
            step: true,
            widths_mm: None,
            largest_drop_nm: 3000.0,
            share: 0.95,
            reduce: ReduceOptions::default(),
        }
    }
}

impl EdgeFitOptions {
    fn check(&self, rim_mm: f64) -> Result<()> {
        self.reduce.check()?;
        if self.powers.is_empty() && !self.roll_off && !self.step {
            return Err(Error::input("powers", "no shape at all", "one shape of edge or more", ""));
        }
        for &power in &self.powers {
            if !(1.0..=50.0).contains(&power) {
                return Err(Error::input("powers", power, "exponents from 1 to 50", ""));
            }
        }
        if !(1.0..=1e5).contains(&self.largest_drop_nm) {
            let cause = "millimetres written as nanometres?";
            return Err(Error::input("largest_drop_nm", self.largest_drop_nm, "1 to 100000 nm", cause));
        }
        if !(0.5..=0.999).contains(&self.share) {
            return Err(Error::input("share", self.share, "from 0.5 to 0.999", "per cent for a share?"));
        }
        let widths = self.widths_mm(rim_mm);
        if widths.is_empty() {
            return Err(Error::input("widths_mm", "an empty list", "one width or more", ""));
        }
        let most = 0.5 * rim_mm;
        if let Some(width) = widths.iter().find(|w| !(0.01..=most).contains(*w)) {
            let allowed = format!("widths from 0.01 mm to half of the mirror's radius, {most} mm");
            return Err(Error::input("widths_mm", width, allowed, "diameters given for widths?"));
        }
        if let Some(pair) = widths.windows(2).find(|pair| pair[1] <= pair[0]) {
            return Err(Error::input("widths_mm", pair[1], "rising widths, none twice", ""));
        }
        Ok(())
    }

    pub(super) fn widths_mm(&self, rim_mm: f64) -> Vec<f64> {
        let usual = || WIDTHS_MM.into_iter().filter(|w| *w <= 0.5 * rim_mm).collect();
        self.widths_mm.clone().unwrap_or_else(usual)
    }

    pub(super) fn shapes(&self) -> Vec<EdgeShape> {
        let others = [(self.roll_off, EdgeShape::RollOff), (self.step, EdgeShape::Step)];
        let powers = self.powers.iter().map(|p| EdgeShape::Power(*p));
        powers.chain(others.into_iter().filter(|(wanted, _)| *wanted).map(|(_, shape)| shape)).collect()
    }
}

/// Which way an edge goes, as far as the readings tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EdgeDirection {
    /// Every allowed drop is above 0.
    TurnedDown,
    /// Every allowed drop is below 0.
    Raised,
    /// Both signs, or no edge, are allowed.
    Open,
}

impl EdgeDirection {
    /// The direction's name: `turned_down`, `raised` or `open`.
    ///
    /// ```
    /// assert_eq!(catoptric::EdgeDirection::TurnedDown.name(), "turned_down");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::TurnedDown => "turned_down",
            Self::Raised => "raised",
            Self::Open => "open",
        }
    }
}

/// One width of a shape: the drops that the readings allow there, and what the mirror is then worth.
///
/// Units: mm; nm of glass height, of wavefront for the RMS.
/// Leaves out: Strehl and RMS are those of the mean smooth figure inside each edge, at the drops between the ends; the
/// uncertainty of that figure is in [`KnifeEdgeReadings::reduce`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgePoint {
    /// Width; of a roll-off its reach.
    pub width_mm: f64,
    /// The drop that gives the mean readings back with the openings where they are said to stand; negative: raised.
    pub drop_nm: f64,
    /// The ends of the allowed drops; both the best one where this width is ruled out.
    pub drop_low_nm: f64,
    /// See `drop_low_nm`.
    pub drop_high_nm: f64,
    /// Chi-square of this width's most likely drop above that of the shape's best pair; uncertain places of the openings
    /// put it a little below the drop that gives the readings back.
    pub chi_square_above_best: f64,
    /// Whether any drop is allowed at this width.
    pub allowed: bool,
    /// Whether the readings bound the drop: not where the edge lies beyond the last opening.
    pub bounded: bool,
    /// Strehl at the focus of the brightest peak, at the best drop and between the ends.
    pub strehl: f64,
    /// The lowest of these.
    pub strehl_low: f64,
    /// The highest of these.
    pub strehl_high: f64,
    /// RMS of the wavefront at its own best focus, in the same way.
    pub rms_nm: f64,
    /// The least of these.
    pub rms_low_nm: f64,
    /// The greatest of these.
    pub rms_high_nm: f64,
    /// Mean height of the smooth figure inside the edge at the radii of [`EdgeFits::inner_radius_mm`], at best focus of
    /// the whole: with the best drop, the lowest and the highest allowed one.
    pub inner_height_nm: [Vec<f64>; 3],
}

impl EdgePoint {
    fn drops_nm(&self) -> [f64; 3] {
        [self.drop_nm, self.drop_low_nm, self.drop_high_nm]
    }
}

/// One shape of edge: the curve of widths and drops that give the same readings.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeFit {
    /// The shape.
    pub shape: EdgeShape,
    /// The curve, width by width, rising.
    pub points: Vec<EdgePoint>,
    /// Where on it the readings are explained best: an index.
    pub best: usize,
    /// Chi-square of that pair above that of the best pair of all shapes.
    pub chi_square_above_best_shape: f64,
    /// The chance of so large a difference by chi-square with two degrees of freedom, the two numbers of an edge: below
    /// 1 less the stated share the shape is ruled out.
    pub p_value: f64,
}

impl EdgeFit {
    /// The points of the curve that the readings allow.
    pub fn allowed(&self) -> impl Iterator<Item = &EdgePoint> {
        self.points.iter().filter(|point| point.allowed)
    }

    /// Whether a pair lies within the allowed ones; between two widths their ends are joined by straight lines of the
    /// logarithms of width. Beyond the widths that were tried nothing is allowed.
    pub fn allows(&self, width_mm: f64, drop_nm: f64) -> bool {
        let within = |p: &EdgePoint, low: f64, high: f64| p.allowed && low <= drop_nm && drop_nm <= high;
        let next = self.points.partition_point(|p| p.width_mm < width_mm);
        let Some(after) = self.points.get(next) else { return false };
        if (after.width_mm - width_mm).abs() <= 1e-9 * width_mm {
            return within(after, after.drop_low_nm, after.drop_high_nm);
        }
        let Some(before) = next.checked_sub(1).map(|k| &self.points[k]) else { return false };
        let share = (width_mm / before.width_mm).ln() / (after.width_mm / before.width_mm).ln();
        let between = |a: f64, b: f64| a + share * (b - a);
        let low = between(before.drop_low_nm, after.drop_low_nm);
        let high = between(before.drop_high_nm, after.drop_high_nm);
        (before.allowed || after.allowed) && low <= drop_nm && drop_nm <= high
    }

    /// Narrowest and widest width that the readings allow, mm.
    pub fn width_range_mm(&self) -> (f64, f64) {
        let widths = || self.allowed().map(|p| p.width_mm);
        (widths().fold(f64::INFINITY, f64::min), widths().fold(0.0, f64::max))
    }

    /// Lowest and highest Strehl along the allowed curve.
    pub fn strehl_range(&self) -> (f64, f64) {
        let low = self.allowed().map(|p| p.strehl_low).fold(f64::INFINITY, f64::min);
        (low, self.allowed().map(|p| p.strehl_high).fold(0.0, f64::max))
    }

    /// Lowest and highest RMS of the wavefront along the allowed curve, nm.
    pub fn rms_range_nm(&self) -> (f64, f64) {
        let low = self.allowed().map(|p| p.rms_low_nm).fold(f64::INFINITY, f64::min);
        (low, self.allowed().map(|p| p.rms_high_nm).fold(0.0, f64::max))
    }

    /// Least and greatest product of drop and width along the best drops of the allowed curve, nm mm.
    pub fn drop_times_width_nm_mm(&self) -> (f64, f64) {
        let products = || self.allowed().map(|p| p.drop_nm * p.width_mm);
        (products().fold(f64::INFINITY, f64::min), products().fold(f64::NEG_INFINITY, f64::max))
    }

    /// Which way the edge goes.
    pub fn direction(&self) -> EdgeDirection {
        if self.allowed().all(|p| p.drop_low_nm > 0.0) {
            EdgeDirection::TurnedDown
        } else if self.allowed().all(|p| p.drop_high_nm < 0.0) {
            EdgeDirection::Raised
        } else {
            EdgeDirection::Open
        }
    }
}

/// The edges that readings allow, shape by shape.
///
/// Units: mm; nm of glass height.
/// Method: see [`KnifeEdgeReadings::fit_edges`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct EdgeFits {
    /// One for each shape, in the order of the options.
    pub shapes: Vec<EdgeFit>,
    /// The shape that explains the readings best: an index.
    pub best: usize,
    /// Chi-square without any edge above that of the best pair.
    pub no_edge_above_best: f64,
    /// The chance of so large a difference with two degrees of freedom.
    pub no_edge_p_value: f64,
    /// Radii of the smooth figures, mm.
    pub inner_radius_mm: Vec<f64>,
    /// Outer radius of the last opening, mm: what lies beyond is not seen.
    pub seen_to_mm: f64,
    /// The mirror's clear aperture, mm.
    pub clear_aperture_mm: f64,
    /// How it was done.
    pub options: EdgeFitOptions,
}

impl KnifeEdgeReadings {
    /// The edges that these readings allow: for each shape and width the interval of drops, and what the mirror is worth.
    ///
    /// Units: mm; nm of glass height, negative drops are raised edges.
    /// Errors: [`Error::Input`] for options that cannot be, and those of [`KnifeEdgeReadings::reduce`].
    /// Method: each pair of width and drop is taken from the mean readings (all orders of its slope) and what is left is
    /// judged against every smooth figure of the reduction's assumptions (a conic, broad and narrow zones, with their weights),
    /// with the reduction's noise, its uncertain scale, and the radii of the openings. A pair is allowed where -2 ln of that
    /// likelihood lies within the chi-square point of two degrees of freedom (5.99 for 95 %) of the shape's best pair.
    /// Coverage: of 300 invented mirrors with an edge of power 2 (widths 1.5 to 14 mm, either sign, a conic and two zones; seven
    /// openings, three runs) 287 had their true pair among the allowed ones at 95 %, and 4 another shape named in its stead.
    /// Leaves out: edges of two shapes at once; what is not rotationally symmetric. A step counts with the whole of its
    /// height, as a mean over the opening has it: an eye that matches two greys and passes over the thin line between them
    /// sees nothing of it. Widths are those of a list, drops continuous.
    ///
    /// ```
    /// use catoptric::{EdgeFitOptions, EdgeShape, KnifeEdgeReadings, MaskOpening, RadiusOfCurvatureMm,
    ///     ReadingsIncrease, TestSource};
    /// # let rims = [14.0, 52.0, 77.0, 96.0, 112.0, 126.0, 138.5, 149.5, 158.0];
    /// # let openings: Vec<MaskOpening> = rims
    /// #     .windows(2)
    /// #     .map(|r| MaskOpening { inner_radius_mm: r[0], outer_radius_mm: r[1] })
    /// #     .collect();
    /// # let radius = RadiusOfCurvatureMm(3116.0);
    /// // A paraboloid whose last opening reads 2 mm too long: its glass falls.
    /// let mut run: Vec<f64> = openings.iter().map(|o| o.ideal_reading_mm(TestSource::Moving, radius)).collect();
    /// run[7] += 2.0;
    /// let readings = KnifeEdgeReadings::through_openings(
    ///     318.0, radius, TestSource::Moving, ReadingsIncrease::AwayFromMirror, openings, vec![run; 3],
    /// )?;
    /// let options = EdgeFitOptions { widths_mm: Some(vec![2.0, 4.0, 8.0]), ..Default::default() };
    /// let fits = readings.fit_edges(&options)?;
    /// assert_eq!(fits.shapes[0].shape, EdgeShape::Power(2.0));
    /// assert!(fits.shapes[0].points[1].drop_nm > 100.0, "turned down");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn fit_edges(&self, options: &EdgeFitOptions) -> Result<EdgeFits> {
        let rim_mm = self.clear_aperture_mm() / 2.0;
        options.check(rim_mm)?;
        let means = ZoneMeans::new(self, &options.reduce)?;
        let analysis = Analysis::new(self, &means, &options.reduce)?;
        Ok(Search::new(&analysis, options, rim_mm).fits())
    }
}

impl FigureEstimate {
    /// The edges that the estimate's readings allow; noise, radii, wavelength and obstruction are the estimate's.
    ///
    /// Errors: those of [`KnifeEdgeReadings::fit_edges`].
    pub fn fit_edges(&self, options: &EdgeFitOptions) -> Result<EdgeFits> {
        self.readings.fit_edges(&EdgeFitOptions { reduce: self.options.clone(), ..options.clone() })
    }
}

impl EdgeFits {
    /// Figures along the allowed curve of the best shape, as layers for a paraboloid of the tested size: the smooth figure inside
    /// and the edge on it. Evenly spread over the allowed widths at their best drops; when more are asked for, also at the
    /// lowest and highest allowed drops.
    ///
    /// Errors: [`Error::Input`] for no figures, or more than there are.
    /// Leaves out: how sure one is of each; the readings allow all of them.
    pub fn family(&self, figures: usize) -> Result<Vec<Vec<FigureLayer>>> {
        self.family_of(self.best, figures)
    }

    /// The same along the curve of another shape, by its place in `shapes`.
    ///
    /// Errors: those of [`EdgeFits::family`], and for a place that is none.
    pub fn family_of(&self, shape: usize, figures: usize) -> Result<Vec<Vec<FigureLayer>>> {
        let Some(fit) = self.shapes.get(shape) else {
            let allowed = format!("0 to {}", self.shapes.len() - 1);
            return Err(Error::input("shape", shape, allowed, ""));
        };
        let points: Vec<&EdgePoint> = fit.allowed().collect();
        let most = 3 * points.len();
        if !(1..=most).contains(&figures) {
            let allowed = format!("1 to {most}: three drops for each allowed width");
            return Err(Error::input("figures", figures, allowed, "more widths to be tried?"));
        }
        let figure = |point: &EdgePoint, which: usize| {
            let inner =
                RadialProfile::new(self.inner_radius_mm.clone(), point.inner_height_nm[which].clone());
            vec![inner.into(), fit.shape.layer(point.width_mm, point.drops_nm()[which])]
        };
        if figures <= points.len() {
            // The best pair is allowed: what is allowed before it comes before it.
            let best = fit.points[..fit.best].iter().filter(|p| p.allowed).count();
            let last = points.len() - 1;
            let place = |k: usize| match figures {
                1 => best,
                _ => (k * last + (figures - 1) / 2) / (figures - 1),
            };
            return Ok((0..figures).map(|k| figure(points[place(k)], 0)).collect());
        }
        let all = [0, 1, 2].into_iter().flat_map(|which| points.iter().map(move |p| (*p, which)));
        Ok(all.take(figures).map(|(point, which)| figure(point, which)).collect())
    }

    /// Lowest and highest Strehl along the curves of all shapes that are not ruled out.
    pub fn strehl_range(&self) -> (f64, f64) {
        let ranges = self.not_ruled_out().map(EdgeFit::strehl_range);
        ranges.fold((f64::INFINITY, 0.0), |(low, high), (l, h)| (low.min(l), high.max(h)))
    }

    /// The shapes that the readings allow.
    pub fn not_ruled_out(&self) -> impl Iterator<Item = &EdgeFit> {
        self.shapes.iter().filter(|fit| fit.p_value >= 1.0 - self.options.share)
    }

    /// Whether the readings leave one shape only, of several.
    pub fn shape_is_told(&self) -> bool {
        self.shapes.len() > 1 && self.not_ruled_out().count() == 1
    }
}
