//! The coating made ready for a kernel: what dims at each place, how thick the metal is there, and what both do to
//! light of one colour.

use std::f64::consts::PI;
use std::sync::Arc;

use ndarray::Array2;

use super::detail::Detail;
use super::figure::Break;
use super::height_map::MapSurface;
use super::mirror::length;
use crate::film::{FilmTable, MetalFilm};
use crate::model::{
    Coating, CoatingRing, Primary, RingProfile, SquareNet, ThinRing, patch_share, ring_share,
};
use crate::numeric::bicubic::Bicubic;
use crate::units::NM_PER_MM;

/// So many softnesses beyond its rim nothing is left of a ring or a patch: exp(-22) is 3e-10.
pub(super) const REACH: f64 = 22.0;
/// Panels about a soft rim, in softnesses from it. The logistic function's poles lie pi softnesses beside the rim,
/// those of a film that fades with it 1.4 or more (the thickness at which its reflections resonate).
const RING_STEPS: [f64; 9] = [-REACH, -8.0, -5.0, -2.5, 0.0, 2.5, 5.0, 8.0, REACH];
const METAL_STEPS: [f64; 8] = [-8.0, -5.0, -2.5, 0.0, 2.5, 5.0, 8.0, REACH];
const HAZE_STEPS: [f64; 4] = [-8.0, 0.0, 8.0, REACH];
/// Panels of a smooth ring, in shares of its width: its curvature jumps at both rims, and in its middle the poles of
/// amplitude and film come closest (a film that is gone there, at a tenth of the width from it).
const SMOOTH_HAZE: [f64; 3] = [0.0, 0.5, 1.0];
const SMOOTH_METAL: [f64; 7] = [0.0, 0.25, 0.4, 0.5, 0.6, 0.75, 1.0];
/// Beyond the clear aperture by more than this share of its radius a map is held.
const BEYOND: f64 = 1e-9;

/// The coating of one mirror, whatever the colour.
#[derive(Clone, Debug)]
pub(crate) struct Coat {
    /// Share of the power that haze leaves, or that the coating returns where no metal is spoken of.
    haze: Layered,
    /// Thickness, nm.
    metal: Option<(MetalFilm, Layered)>,
    /// Share of the area that has its metal.
    clear: f64,
    /// The patches of both, those of the haze first.
    discs: Vec<Disc>,
}

/// A quantity over the mirror: one value or a map, and what lies over it.
#[derive(Clone, Debug)]
struct Layered {
    base: f64,
    map: Option<HeldMap>,
    rings: Vec<Ring>,
    discs: Vec<Disc>,
}

#[derive(Clone, Copy, Debug)]
struct Ring {
    radii_mm: [f64; 2],
    softness_mm: f64,
    profile: RingProfile,
    value: f64,
    /// It is thin metal, not haze.
    is_metal: bool,
}

/// A round patch.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Disc {
    pub(crate) x_mm: f64,
    pub(crate) y_mm: f64,
    pub(crate) radius_mm: f64,
    pub(crate) softness_mm: f64,
    value: f64,
    /// It is thin metal, not haze.
    pub(crate) is_metal: bool,
}

/// A smooth surface through a map, held within its least and its greatest number.
#[derive(Clone, Debug)]
struct HeldMap {
    surface: MapSurface,
    rim_mm: f64,
    ends: (f64, f64),
    /// How fine the map is: its pixel, or that of a coarser map that draws the same.
    detail_mm: f64,
}

/// Root mean square to which a thinned map must draw the same, of shares and of nm: what is left then averages out over
/// ten thousand nodes to some 1e-6.
const SAME_SHARE: f64 = 3e-4;
const SAME_NM: f64 = 0.03;

/// Side of the largest pixels that draw the same map, mm.
fn detail_mm(net: &SquareNet<'_>, rim_mm: f64, tolerance: f64) -> f64 {
    let (rows, columns) = net.values.dim();
    let differs = |step: usize| {
        let thinned = ((rows - 1) / step + 1, (columns - 1) / step + 1);
        let thin =
            Bicubic::through(&Array2::from_shape_fn(thinned, |(i, j)| net.values[[i * step, j * step]]));
        let (mut sum, mut count) = (0.0, 0.0);
        // Every third pixel tells, as far as the thinned map reaches.
        for i in (0..=(thinned.0 - 1) * step).step_by(3) {
            for j in (0..=(thinned.1 - 1) * step).step_by(3) {
                let [x, y] = net.place_mm(i, j);
                if length(x, y) <= rim_mm {
                    let drawn = thin.value_and_slopes(i as f64 / step as f64, j as f64 / step as f64).0;
                    sum += (drawn - net.values[[i, j]]).powi(2);
                    count += 1.0;
                }
            }
        }
        // Also where a hole beyond the mirror spoils the sum.
        sum.is_nan() || sum > tolerance * tolerance * count
    };
    let mut step = 1;
    while rows.min(columns) >= 16 * step && step < 32 && !differs(2 * step) {
        step *= 2;
    }
    net.pixel_mm * step as f64
}

impl HeldMap {
    fn new(net: SquareNet<'_>, rim_mm: f64, tolerance: f64) -> Self {
        let detail_mm = detail_mm(&net, rim_mm, tolerance);
        let numbers = net.values.iter().copied().filter(|v| v.is_finite());
        let ends = numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
        Self { surface: MapSurface::new(net, |v| v, rim_mm), rim_mm, ends, detail_mm }
    }

    fn value_and_slopes(&self, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let r_mm = length(x_mm, y_mm);
        let inward = if r_mm <= self.rim_mm * (1.0 + BEYOND) { 1.0 } else { self.rim_mm / r_mm };
        let (value, slopes) = self.surface.height_and_slopes(inward * x_mm, inward * y_mm);
        let is_held = inward < 1.0 || value < self.ends.0 || value > self.ends.1;
        (value.clamp(self.ends.0, self.ends.1), if is_held { [0.0; 2] } else { slopes })
    }
}

impl Ring {
    fn share(&self, r_mm: f64) -> f64 {
        ring_share(self.profile, self.radii_mm, self.softness_mm, r_mm)
    }

    fn width_mm(&self) -> f64 {
        self.radii_mm[1] - self.radii_mm[0]
    }

    fn is_hard(&self) -> bool {
        self.profile == RingProfile::Flat && self.softness_mm == 0.0
    }

    /// Radii between which the ring is smooth.
    fn cuts_mm(&self) -> Vec<f64> {
        let from_mm = self.radii_mm[0];
        if self.profile == RingProfile::Smooth {
            let shares: &[f64] = if self.is_metal { &SMOOTH_METAL } else { &SMOOTH_HAZE };
            return shares.iter().map(|share| from_mm + share * self.width_mm()).collect();
        }
        if self.softness_mm == 0.0 {
            return self.radii_mm.to_vec();
        }
        // A ring that begins in the centre has no inner rim.
        let rims = self.radii_mm.into_iter().skip(usize::from(from_mm == 0.0));
        rims.flat_map(|rim| RING_STEPS.map(|k| rim + k * self.softness_mm)).collect()
    }

    /// How fine its smooth parts are, mm: a rim as its softness, sin^2 as the half of its width at half depth, and half
    /// of that where a film makes more of it.
    fn finest_mm(&self) -> Option<f64> {
        match self.profile {
            RingProfile::Smooth => Some(self.width_mm() / if self.is_metal { 8.0 } else { 4.0 }),
            RingProfile::Flat => (self.softness_mm > 0.0).then_some(self.softness_mm),
        }
    }

    /// Change of the share for a mm more of radius.
    fn steepness(&self, r_mm: f64) -> f64 {
        if self.profile == RingProfile::Smooth {
            let (per_mm, beyond_mm) = (PI / self.width_mm(), r_mm - self.radii_mm[0]);
            let is_within = beyond_mm > 0.0 && r_mm < self.radii_mm[1];
            return if is_within { per_mm * (2.0 * per_mm * beyond_mm).sin() } else { 0.0 };
        }
        if self.softness_mm <= 0.0 {
            return 0.0;
        }
        let [inner_mm, outer_mm] = self.radii_mm;
        let beyond = |d_mm: f64| 1.0 / (1.0 + (d_mm / self.softness_mm).exp());
        let inner = if inner_mm > 0.0 { beyond(inner_mm - r_mm) } else { 1.0 };
        let outer = beyond(r_mm - outer_mm);
        inner * outer * ((1.0 - inner) - (1.0 - outer)) / self.softness_mm
    }
}

impl Disc {
    fn share(&self, distance_mm: f64) -> f64 {
        patch_share(self.radius_mm, self.softness_mm, distance_mm)
    }

    /// Radii between which the patch changes its character, the middle of its rim among them.
    pub(crate) fn circles(&self) -> impl Iterator<Item = f64> {
        let steps: &[f64] = match (self.softness_mm > 0.0, self.is_metal) {
            (false, _) => &[0.0],
            (true, false) => &HAZE_STEPS,
            (true, true) => &METAL_STEPS,
        };
        let (radius_mm, softness_mm) = (self.radius_mm, self.softness_mm);
        steps.iter().map(move |k| radius_mm + k * softness_mm).filter(|r| *r > 0.0)
    }
}

impl Layered {
    /// The rings over what lies under them.
    #[inline]
    fn over_rings(&self, base: f64, x_mm: f64, y_mm: f64) -> f64 {
        if self.rings.is_empty() {
            return base;
        }
        let r_mm = x_mm.hypot(y_mm);
        self.rings.iter().fold(base, |under, ring| {
            let share = ring.share(r_mm);
            if share >= 1.0 { ring.value } else { under + share * (ring.value - under) }
        })
    }

    /// The value with so many of the patches, the first ones.
    #[inline]
    fn value(&self, patches: usize, x_mm: f64, y_mm: f64) -> f64 {
        let base = self.map.as_ref().map_or(self.base, |map| map.value_and_slopes(x_mm, y_mm).0);
        let rings = self.over_rings(base, x_mm, y_mm);
        self.discs.iter().take(patches).fold(rings, |under, patch| {
            let share = patch.share((x_mm - patch.x_mm).hypot(y_mm - patch.y_mm));
            under + share * (patch.value - under)
        })
    }

    /// The same with its slopes along x and y.
    fn value_and_slopes(&self, patches: usize, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let base = self.map.as_ref().map_or((self.base, [0.0; 2]), |map| map.value_and_slopes(x_mm, y_mm));
        let r_mm = length(x_mm, y_mm);
        let outward = if r_mm > 0.0 { [x_mm / r_mm, y_mm / r_mm] } else { [0.0; 2] };
        let laid_over =
            |(under, slopes): (f64, [f64; 2]), share: f64, steepness: f64, value, toward: [f64; 2]| {
                let slope = |i: usize| (1.0 - share) * slopes[i] + steepness * toward[i] * (value - under);
                (if share >= 1.0 { value } else { under + share * (value - under) }, [slope(0), slope(1)])
            };
        let rings = self.rings.iter().fold(base, |under, ring| {
            laid_over(under, ring.share(r_mm), ring.steepness(r_mm), ring.value, outward)
        });
        self.discs.iter().take(patches).fold(rings, |under, patch| {
            let (dx, dy) = (x_mm - patch.x_mm, y_mm - patch.y_mm);
            let distance_mm = length(dx, dy);
            let share = patch.share(distance_mm);
            let soft = patch.softness_mm > 0.0 && distance_mm > 0.0;
            let steepness = if soft { -share * (1.0 - share) / patch.softness_mm } else { 0.0 };
            let toward = if soft { [dx / distance_mm, dy / distance_mm] } else { [0.0; 2] };
            laid_over(under, share, steepness, patch.value, toward)
        })
    }

    /// What is round: value and slope at a radius; none where a map lies.
    fn round(&self, r_mm: f64) -> Option<(f64, f64)> {
        if self.map.is_some() {
            return None;
        }
        Some(self.rings.iter().fold((self.base, 0.0), |(under, slope), ring| {
            let share = ring.share(r_mm);
            let value = if share >= 1.0 { ring.value } else { under + share * (ring.value - under) };
            (value, (1.0 - share) * slope + ring.steepness(r_mm) * (ring.value - under))
        }))
    }

    /// The least and the greatest value anywhere.
    fn ends(&self) -> (f64, f64) {
        let base = self.map.as_ref().map_or((self.base, self.base), |map| map.ends);
        let over = self.rings.iter().map(|r| r.value).chain(self.discs.iter().map(|d| d.value));
        over.fold(base, |(low, high), v| (low.min(v), high.max(v)))
    }

    fn is_even(&self) -> bool {
        self.map.is_none() && self.rings.is_empty() && self.discs.is_empty()
    }
}

impl Coat {
    pub(super) fn new(coating: &Coating, rim_mm: f64) -> Self {
        let map = |net: Option<SquareNet<'_>>, tolerance| net.map(|net| HeldMap::new(net, rim_mm, tolerance));
        let disc = |at: [f64; 2], radius_mm, softness_mm, value, is_metal| Disc {
            x_mm: at[0],
            y_mm: at[1],
            radius_mm,
            softness_mm,
            value,
            is_metal,
        };
        let hazy = |r: &CoatingRing| Ring {
            radii_mm: [r.inner_radius_mm, r.outer_radius_mm],
            softness_mm: r.softness_mm,
            profile: r.profile,
            value: r.reflectance,
            is_metal: false,
        };
        let thin = |r: &ThinRing| Ring {
            radii_mm: [r.inner_radius_mm, r.outer_radius_mm],
            softness_mm: r.softness_mm,
            profile: r.profile,
            value: r.thickness_nm,
            is_metal: true,
        };
        let rings = coating.rings.iter();
        let patches = coating.patches.iter();
        let haze = Layered {
            base: coating.reflectance,
            map: map(coating.map.as_ref().map(|m| m.net()), SAME_SHARE),
            rings: rings.map(hazy).collect(),
            discs: patches
                .map(|p| disc([p.x_mm, p.y_mm], p.radius_mm, p.softness_mm, p.reflectance, false))
                .collect(),
        };
        let metal = coating.metal.as_ref().map(|coat| {
            let (rings, patches) = (coat.rings.iter(), coat.patches.iter());
            let layered = Layered {
                base: coat.film.thickness_nm,
                map: map(coat.map.as_ref().map(|m| m.net()), SAME_NM),
                rings: rings.map(thin).collect(),
                discs: patches
                    .map(|p| disc([p.x_mm, p.y_mm], p.radius_mm, p.softness_mm, p.thickness_nm, true))
                    .collect(),
            };
            (coat.film, layered)
        });
        let thin = metal.iter().flat_map(|(_, layered)| &layered.discs);
        let discs = haze.discs.iter().chain(thin).copied().collect();
        Self { haze, metal, clear: 1.0 - coating.pinhole_share, discs }
    }

    /// All patches; nodes that count so many of them count the first ones.
    pub(crate) fn discs(&self) -> &[Disc] {
        &self.discs
    }

    /// Whether every place of the mirror returns the same, but for the angle.
    pub(crate) fn is_even(&self) -> bool {
        self.haze.is_even() && self.metal.as_ref().is_none_or(|(_, layered)| layered.is_even())
    }

    /// Whether everything depends on the radius alone.
    pub(crate) fn is_round(&self) -> bool {
        let has_map = |layered: &Layered| layered.map.is_some();
        self.discs.is_empty() && !has_map(&self.haze) && !self.metal.as_ref().is_some_and(|(_, m)| has_map(m))
    }

    /// Radii between which a coating that is round is smooth.
    pub(crate) fn cuts_mm(&self) -> Vec<f64> {
        self.breaks().into_iter().map(|b| b.radius_mm).collect()
    }

    /// How fine the map of reflectance is, mm.
    pub(super) fn haze_pixel_mm(&self) -> Option<f64> {
        self.haze.map.as_ref().map(|map| map.detail_mm)
    }

    /// The narrowest soft rim or smooth ring, mm.
    pub(crate) fn finest_mm(&self) -> Option<f64> {
        let rims = self.discs.iter().map(|d| d.softness_mm).filter(|width| *width > 0.0);
        self.rings().filter_map(Ring::finest_mm).chain(rims).reduce(f64::min)
    }

    fn rings(&self) -> impl Iterator<Item = &Ring> {
        self.haze.rings.iter().chain(self.metal.iter().flat_map(|(_, layered)| &layered.rings))
    }

    /// Radii at which the coating steps, or bends as sin^2 begins.
    pub(crate) fn joints_mm(&self) -> impl Iterator<Item = f64> {
        let has_joints = |r: &&Ring| r.is_hard() || r.profile == RingProfile::Smooth;
        self.rings().filter(has_joints).flat_map(|r| r.radii_mm)
    }

    /// Radii at which a quadrature must stop.
    pub(super) fn breaks(&self) -> Vec<Break> {
        let smooth = |radius_mm| Break { radius_mm, fractional: false };
        self.rings().flat_map(Ring::cuts_mm).map(smooth).collect()
    }
}

/// What the metal does to light of one wavelength.
#[derive(Clone, Debug)]
pub(crate) struct FilmSurface {
    coat: Arc<Coat>,
    table: FilmTable,
    curvature_per_mm: f64,
    /// 1 + conic constant.
    shape: f64,
    /// Height of the even film in the mirror's centre, nm.
    datum_nm: f64,
}

impl FilmSurface {
    /// None where the coating says nothing of its metal. The wavelength has passed its check.
    pub(super) fn new(coat: &Arc<Coat>, primary: &Primary, wavelength_nm: f64) -> Option<Self> {
        let (film, layered) = coat.metal.as_ref()?;
        let (low, high) = layered.ends();
        let ends = (low.min(film.thickness_nm), high.max(film.thickness_nm));
        let (curvature_per_mm, shape) = (0.5 / primary.focal_length_mm, 1.0 + primary.conic);
        let (sine2, _) = incidence(curvature_per_mm, shape, primary.clear_aperture_mm / 2.0);
        let table = FilmTable::new(film, wavelength_nm, ends, sine2);
        let datum_nm = table.height_nm(film.thickness_nm, 0.0);
        Some(Self { coat: Arc::clone(coat), table, curvature_per_mm, shape, datum_nm })
    }

    fn thickness(&self) -> &Layered {
        match &self.coat.metal {
            Some((_, layered)) => layered,
            None => unreachable!("a film surface is made of metal"),
        }
    }

    /// Whether height and reflectance depend on the radius alone.
    pub(super) fn is_round(&self) -> bool {
        let layered = self.thickness();
        layered.map.is_none() && layered.discs.is_empty()
    }

    /// How fine the part is that is not round.
    pub(super) fn detail(&self) -> Detail {
        Detail { pixel_mm: self.thickness().map.as_ref().map(|m| m.detail_mm), ..Detail::default() }
    }

    /// Whether the film lies evenly: no height but what the angle makes.
    pub(super) fn is_even(&self) -> bool {
        self.thickness().is_even()
    }

    /// How many of the metal's own patches are among the first of all.
    fn patches(&self, level: usize) -> usize {
        level.saturating_sub(self.coat.haze.discs.len())
    }

    /// Share of the power that the film returns.
    fn share(&self, x_mm: f64, y_mm: f64) -> f64 {
        let (sine2, _) = incidence(self.curvature_per_mm, self.shape, length(x_mm, y_mm));
        self.table.reflectance(self.thickness_nm(x_mm, y_mm), sine2)
    }

    /// Thickness of the metal, nm.
    pub(super) fn thickness_nm(&self, x_mm: f64, y_mm: f64) -> f64 {
        self.thickness().value(usize::MAX, x_mm, y_mm)
    }

    /// Height along the normal, nm, counted from that of the even film in the mirror's centre.
    pub(super) fn height_nm(&self, x_mm: f64, y_mm: f64) -> f64 {
        let (sine2, _) = incidence(self.curvature_per_mm, self.shape, length(x_mm, y_mm));
        self.table.height_nm(self.thickness_nm(x_mm, y_mm), sine2) - self.datum_nm
    }

    /// What the film adds to the glass along z: height, mm, and slopes along x and y.
    pub(super) fn lift(&self, level: usize, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let (sine2, stretch) = incidence(self.curvature_per_mm, self.shape, length(x_mm, y_mm));
        let (thickness_nm, slopes) = self.thickness().value_and_slopes(self.patches(level), x_mm, y_mm);
        self.along_z(self.table.height_and_rate(thickness_nm, sine2), slopes, stretch)
    }

    /// The same, and the share of the power that the film returns there.
    pub(super) fn lift_and_share(&self, level: usize, x_mm: f64, y_mm: f64) -> ((f64, [f64; 2]), f64) {
        let (sine2, stretch) = incidence(self.curvature_per_mm, self.shape, length(x_mm, y_mm));
        let (thickness_nm, slopes) = self.thickness().value_and_slopes(self.patches(level), x_mm, y_mm);
        let (height_nm, rate, share) = self.table.height_rate_and_reflectance(thickness_nm, sine2);
        (self.along_z((height_nm, rate), slopes, stretch), share)
    }

    /// A height and its rate, nm, where the thickness has these slopes: height along z, mm, and its slopes.
    fn along_z<const N: usize>(
        &self,
        (height_nm, rate): (f64, f64),
        slopes: [f64; N],
        stretch: f64,
    ) -> (f64, [f64; N]) {
        let along_z = stretch / NM_PER_MM;
        ((height_nm - self.datum_nm) * along_z, slopes.map(|s| s * rate * along_z))
    }

    /// The round part of it at a radius: height, mm, and slope.
    pub(super) fn round_lift(&self, r_mm: f64) -> (f64, f64) {
        let Some((thickness_nm, slope)) = self.thickness().round(r_mm) else { return (0.0, 0.0) };
        let (sine2, stretch) = incidence(self.curvature_per_mm, self.shape, r_mm);
        let (lift, [slope]) = self.along_z(self.table.height_and_rate(thickness_nm, sine2), [slope], stretch);
        (lift, slope)
    }
}

impl Coat {
    /// Share of the power that haze and pinholes leave above (x, y), with so many of the patches.
    #[inline]
    pub(super) fn share(&self, level: usize, x_mm: f64, y_mm: f64) -> f64 {
        self.clear * self.haze.value(level, x_mm, y_mm)
    }

    /// Share of the power that the mirror returns above (x, y).
    #[inline]
    pub(super) fn reflectance(&self, film: Option<&FilmSurface>, x_mm: f64, y_mm: f64) -> f64 {
        self.share(usize::MAX, x_mm, y_mm) * film.map_or(1.0, |film| film.share(x_mm, y_mm))
    }
}

/// Squared sine of the angle between the axis and the conic's normal, and how much longer along z a height is than
/// along the normal.
#[inline]
fn incidence(curvature_per_mm: f64, shape: f64, r_mm: f64) -> (f64, f64) {
    let rise = curvature_per_mm * r_mm;
    let slope2 = rise * rise / (1.0 - shape * rise * rise);
    (slope2 / (1.0 + slope2), (1.0 + slope2).sqrt())
}
