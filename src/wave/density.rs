//! How many nodes a diffraction integral needs: counts that follow the steepest phase.

use std::f64::consts::{PI, TAU};

use super::path::{dot, ideal_line, line_of_sight};
use super::terms::Terms;
use crate::trace::{Density, Detail, Prepared, Star, StarBeam, SurfacePoint};
use crate::units::NM_PER_MM;

/// Angles and radii (for each panel) at which the slope of the wavefront is looked at.
const LOOK_ANGLES: usize = 24;
const LOOK_RADII: usize = 9;

/// Longest lists that are tried: beyond, an answer would not come to its accuracy in any case.
const MOST_RADIAL: f64 = 1000.0;
const MOST_AROUND: f64 = 1000.0;

/// The steepest slopes of the wavefront, panel by panel, nm for each unit of radius, and around.
#[derive(Clone, Debug)]
pub(crate) struct SlopeTable {
    /// From, to, the steepest radial slope between them, and whether a fractional power begins there.
    panels: Vec<(f64, f64, f64, bool)>,
    /// Steepest slope in angle, nm for each radian.
    around_nm: f64,
    rim: f64,
    /// How fine the wavefront is beyond what its slopes tell; all 0 for a round figure.
    detail: Detail,
    /// The same for wavefront and amplitude together: what nodes must resolve.
    light_detail: Detail,
}

impl SlopeTable {
    pub(crate) fn of_terms(terms: &Terms, reference_mm: [f64; 3]) -> Self {
        let mut table = Self {
            panels: Vec::new(),
            around_nm: 0.0,
            rim: 1.0,
            detail: Detail::default(),
            light_detail: Detail::default(),
        };
        // What moving the reference point takes off: the straight lines' product with it, by central differences.
        let focal_ratio = terms.focal_ratio.unwrap_or(10.0);
        let moved = |x: f64, y: f64| NM_PER_MM * dot(&ideal_line(x, y, focal_ratio), &reference_mm);
        let step = 1e-4;
        let from_to = (terms.obstruction_ratio, 1.0);
        let slopes = places(from_to, table.rim, table.detail).map(|(r, (sin, cos))| {
            let (x, y) = (r * cos, r * sin);
            let [gx, gy] = terms.gradient_nm(x, y);
            let gx = gx - (moved(x + step, y) - moved(x - step, y)) / (2.0 * step);
            let gy = gy - (moved(x, y + step) - moved(x, y - step)) / (2.0 * step);
            (gx * cos + gy * sin, r * (gy * cos - gx * sin))
        });
        table.note(from_to, false, slopes);
        table
    }

    /// Adds a panel with the radial slopes in it and those around.
    fn note(&mut self, (from, to): (f64, f64), fractional: bool, slopes: impl Iterator<Item = (f64, f64)>) {
        let steepest = slopes.fold((0.0_f64, self.around_nm), |(most, most_around), (radial, around)| {
            (most.max(radial.abs()), most_around.max(around.abs()))
        });
        self.around_nm = steepest.1;
        self.panels.push((from, to, steepest.0, fractional));
    }

    /// The steeper of two at each place, for nodes that serve two reference points.
    pub(crate) fn steeper(mut self, other: &Self) -> Self {
        for (mine, its) in self.panels.iter_mut().zip(&other.panels) {
            mine.2 = mine.2.max(its.2);
        }
        self.around_nm = self.around_nm.max(other.around_nm);
        self
    }

    /// Upper radius of each panel, ascending, with the steepest slope inside it, radial and around together: nm for each
    /// unit of radius.
    pub(crate) fn steepest_by_radius(&self) -> Vec<(f64, f64)> {
        let around = 2.0 * self.around_nm / self.rim;
        self.panels.iter().map(|&(_, to, steepest, _)| (to, steepest + around)).collect()
    }

    fn steepest_between(&self, from: f64, to: f64) -> (f64, bool) {
        let touching = self.panels.iter().filter(|p| p.0 < to && p.1 > from);
        touching.fold((0.0, false), |(slope, fractional), p| (p.2.max(slope), p.3 || fractional))
    }
}

/// Where the slopes of a panel are looked at: radius, sine and cosine of the angle.
fn places(
    (from, to): (f64, f64),
    rim: f64,
    detail: Detail,
) -> impl Iterator<Item = (f64, (f64, f64))> + use<> {
    // Five looks a period of the finest term, one a pixel.
    let angles = LOOK_ANGLES + (5 * detail.azimuthal_order as usize).max(detail.pixels_around(rim) as usize);
    let radii = LOOK_RADII + (2 * detail.radial_order as usize).max(detail.pixels_along(to - from) as usize);
    (0..angles).flat_map(move |i| {
        let sin_cos = (TAU * (i as f64 + 0.25) / angles as f64).sin_cos();
        (0..radii).map(move |j| {
            let r = from + (to - from) * j as f64 / (radii - 1) as f64;
            // A hair inside the panel: at its very start the neighbour's slope would count.
            (r.clamp(from + 1e-9 * (to - from), to), sin_cos)
        })
    })
}

/// What the mirror is where slopes are looked at: the same from every reference point.
pub(crate) struct Looks {
    /// From, to, whether a fractional power begins there, and the looks between.
    panels: Vec<((f64, f64), bool, Vec<Look>)>,
    rim: f64,
    detail: Detail,
    light_detail: Detail,
}

struct Look {
    r: f64,
    sin_cos: (f64, f64),
    point: SurfacePoint,
    /// Toward the star.
    towards: [f64; 3],
}

impl Looks {
    pub(crate) fn new(prepared: &Prepared, star: Star) -> Self {
        let (rim, detail) = (prepared.open_radius_mm(), prepared.detail().unwrap_or_default());
        let beam = StarBeam::new(star);
        let look = |(r, sin_cos): (f64, (f64, f64))| {
            // Patches of metal have nodes of their own, counted by the width of their rims.
            let point = prepared.surface_under(0, r * sin_cos.1, r * sin_cos.0);
            Look { r, sin_cos, point, towards: beam.seen_from(point.position_mm).0 }
        };
        let panels = prepared.panels_of_open_mirror().map(|panel| {
            let from_to = (panel.from_mm, panel.to_mm);
            (from_to, panel.fractional, places(from_to, rim, detail).map(look).collect())
        });
        let light_detail = prepared.light_detail().unwrap_or_default();
        Self { panels: panels.collect(), rim, detail, light_detail }
    }

    /// The steepest slopes as seen from a reference point.
    pub(crate) fn seen_from(&self, reference_mm: [f64; 3]) -> SlopeTable {
        let Self { rim, detail, light_detail, .. } = *self;
        let mut table = SlopeTable { panels: Vec::new(), around_nm: 0.0, rim, detail, light_detail };
        for (from_to, fractional, looks) in &self.panels {
            let slopes = looks.iter().map(|look| {
                let ([gx, gy], (sin, cos)) = (look.gradient(reference_mm), look.sin_cos);
                (NM_PER_MM * (gx * cos + gy * sin), NM_PER_MM * look.r * (gy * cos - gx * sin))
            });
            table.note(*from_to, *fractional, slopes);
        }
        table
    }
}

impl Look {
    /// Slopes of the wavefront along x and y, mm/mm: both legs of the path, by Fermat.
    fn gradient(&self, reference_mm: [f64; 3]) -> [f64; 2] {
        let (_, line) = line_of_sight(self.point.position_mm, reference_mm);
        let both = [0, 1, 2].map(|i| self.towards[i] + line[i]);
        [0, 1].map(|i| both[i] + both[2] * self.point.slope[i])
    }
}

/// Node counts for one wavelength and one reach in the image.
///
/// Source: measured on random trains (turned edges 1 to 15 mm, zones, coma, astigmatism, cut rims): at
/// `STATISTICS` the Strehl is good to 2e-9 in the median and 6e-8 at worst, at `IMAGES` the picture
/// to 7e-9 and 7e-7 of the peak.
#[derive(Clone, Debug)]
pub(crate) struct PhaseDensity {
    slopes: SlopeTable,
    wavelength_nm: f64,
    /// Distance in the image that must be right, in units of wavelength times focal ratio.
    reach: f64,
    fineness: Fineness,
}

/// How generously nodes are dealt out.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fineness {
    growth: f64,
    floor: f64,
    turn_growth: f64,
    /// Factor on all radial counts: below 1 for the companion list of the error estimate.
    radial_share: f64,
    turn_share: f64,
    /// Factor on what fine detail asks for; 1 is one node a pixel.
    detail: f64,
}

impl Fineness {
    /// For Strehl and statistics.
    pub(crate) const STATISTICS: Self =
        Self { growth: 3.3, floor: 10.0, turn_growth: 9.0, radial_share: 1.0, turn_share: 1.0, detail: 1.0 };
    /// For pictures.
    pub(crate) const IMAGES: Self = Self { growth: 2.0, floor: 7.0, turn_growth: 6.0, ..Self::STATISTICS };

    /// For a first look at where the light is brightest: good to 1e-4.
    pub(crate) const LOOKS: Self =
        Self { growth: 1.2, floor: 5.0, turn_growth: 4.0, detail: 0.5, ..Self::STATISTICS };

    /// The next finer one.
    pub(crate) fn finer(self) -> Self {
        Self {
            growth: self.growth * 1.3,
            floor: self.floor * 1.3,
            turn_growth: self.turn_growth * 1.3,
            detail: self.detail * 1.3,
            ..self
        }
    }

    /// That of a coarser companion.
    fn companion(self) -> Self {
        Self { radial_share: 0.85, turn_share: 0.9, ..self }
    }
}

impl PhaseDensity {
    /// For the Strehl and the statistics of a wavefront with such slopes.
    pub(crate) fn of_statistics(slopes: SlopeTable, wavelength_nm: f64) -> Self {
        Self::new(slopes, wavelength_nm, 0.0, Fineness::STATISTICS)
    }

    pub(crate) fn new(slopes: SlopeTable, wavelength_nm: f64, reach: f64, fineness: Fineness) -> Self {
        Self { slopes, wavelength_nm, reach, fineness }
    }

    /// The same with another fineness.
    pub(crate) fn with(&self, fineness: Fineness) -> Self {
        Self { fineness, ..self.clone() }
    }

    /// The same for the coarser companion whose difference tells the error.
    pub(crate) fn companion(&self) -> Self {
        self.with(self.fineness.companion())
    }

    pub(crate) fn wavelength_nm(&self) -> f64 {
        self.wavelength_nm
    }

    /// The steepest slopes that the counts follow.
    pub(crate) fn slopes(&self) -> &SlopeTable {
        &self.slopes
    }

    pub(crate) fn fineness(&self) -> Fineness {
        self.fineness
    }

    /// Phase, in radians, of a path in nm.
    fn radians(&self, nm: f64) -> f64 {
        TAU * nm / self.wavelength_nm
    }

    /// Largest phase range on a stretch of radius.
    fn range(&self, from: f64, to: f64) -> f64 {
        let (slope, fractional) = self.slopes.steepest_between(from, to);
        let stretched = if fractional { 2.0 } else { 1.0 };
        stretched * (PI * self.reach / self.slopes.rim + self.radians(slope)) * (to - from)
    }

    /// Nodes for a phase range, no fewer than `pixels` and with `beyond` more for fine terms of small phase.
    fn count(&self, range: f64, beyond: f64, pixels: f64) -> usize {
        let full = (range / 4.0 + self.fineness.growth * range.cbrt() + 1.0).max(self.fineness.floor);
        let full = (full + self.fineness.detail * beyond).max(self.fineness.detail * pixels);
        // The share comes last: a companion must be coarser even where both are as long as they may be.
        (full.min(MOST_RADIAL) * self.fineness.radial_share).max(2.0) as usize
    }

    /// Nodes on a full turn that terms of some azimuthal order m ask for beyond those of m = 1.
    fn beyond_first_order(&self) -> f64 {
        3.0 * f64::from(self.azimuthal_order() - 1)
    }

    fn azimuthal_order(&self) -> u32 {
        self.slopes.light_detail.azimuthal_order.max(1)
    }
}

impl Density for PhaseDensity {
    fn radial(&self, from_mm: f64, to_mm: f64) -> usize {
        let (detail, length) = (&self.slopes.light_detail, to_mm - from_mm);
        // A polynomial of order n in the radius, squared, is one of order n in r^2: n/2 nodes, and as many again.
        let beyond = f64::from(detail.radial_order) * length / self.slopes.rim;
        // Gauss nodes lie pi/2 times further apart in the middle of a panel than on average.
        self.count(self.range(from_mm, to_mm), beyond, PI / 2.0 * detail.pixels_along(length))
    }

    fn around(&self) -> usize {
        let range = PI * self.reach + self.radians(self.slopes.around_nm);
        // exp(i a cos(m t)) holds the multiples of m up to a + c a^(1/3): with a m = range, this many.
        let widened = (range * f64::from(self.azimuthal_order()).powi(2)).cbrt();
        let full = range + self.fineness.turn_growth * widened + 2.0;
        let full = full + self.fineness.detail * self.beyond_first_order();
        let pixels = self.fineness.detail * self.slopes.light_detail.pixels_around(self.slopes.rim);
        // Never below what a fit of low terms needs.
        let full = full.max(32.0).max(pixels).min(2.0 * MOST_AROUND);
        2 * (full * self.fineness.turn_share / 2.0).ceil() as usize
    }

    fn along_cut(&self, from_mm: f64, to_mm: f64, turn: f64) -> usize {
        let (low, high) = (from_mm.min(to_mm), from_mm.max(to_mm));
        let (slope, _) = self.slopes.steepest_between(low, self.slopes.rim);
        let around = (PI * self.reach + self.radians(self.slopes.around_nm)) * turn;
        let beyond = self.beyond_first_order() * turn / TAU;
        let pixels = self.slopes.light_detail.pixels_along(turn * self.slopes.rim);
        self.count(around + self.radians(slope) * (high - low), beyond, pixels)
    }

    fn across(&self, width_mm: f64) -> usize {
        let (slope, _) = self.slopes.steepest_between(0.0, self.slopes.rim);
        let range = (PI * self.reach / self.slopes.rim + self.radians(slope)) * width_mm;
        let pixels = PI / 2.0 * self.slopes.light_detail.pixels_along(width_mm);
        let full = (range / 4.0 + 3.0).max(self.fineness.detail * pixels).min(MOST_RADIAL);
        (full * self.fineness.radial_share).max(2.0) as usize
    }

    fn patch(&self, length_mm: f64, (low_mm, high_mm): (f64, f64)) -> (usize, usize) {
        let (slope, fractional) = self.slopes.steepest_between(low_mm, high_mm);
        // No path across a ring changes more than the slope times the ring's width lets it.
        let steep_mm = length_mm.min(high_mm - low_mm) * if fractional { 2.0 } else { 1.0 };
        let range = PI * self.reach / self.slopes.rim * length_mm
            + self.radians(slope) * steep_mm
            + self.radians(self.slopes.around_nm) * (length_mm / self.slopes.rim).min(1.0);
        let pixels = PI / 2.0 * self.slopes.light_detail.pixels_along(length_mm);
        let orders = self.beyond_first_order() * (length_mm / self.slopes.rim).min(1.0);
        let around = range + self.fineness.turn_growth * range.cbrt() + orders + 2.0;
        let around = around.max(2.0 * pixels).clamp(16.0, 2.0 * MOST_AROUND) * self.fineness.turn_share;
        (self.count(range, orders, pixels), 2 * (around / 2.0).ceil() as usize)
    }
}
