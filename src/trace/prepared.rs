//! A train made ready for the kernels: immutable, made once, shared by all threads.

use std::sync::{Arc, OnceLock};

use super::cone::Envelope;
use super::detail::Detail;
use super::figure::Break;
use super::fold::Fold;
use super::kernel::Compiled;
use super::mirror::{Mirror, SurfacePoint};
use super::stops::{self, Part, Stop};
use super::strips::{self, Strip};
use crate::model::Train;

/// A train compiled for tracing: cheap to clone, `Send + Sync`.
///
/// ```
/// use catoptric::{FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let prepared = Prepared::new(&train);
/// assert_eq!(prepared.focal_ratio(), 6.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Prepared(Arc<Parts>);

#[derive(Debug)]
struct Parts {
    train: Train,
    mirror: Mirror,
    fold: Option<Fold>,
    stops: Vec<Stop>,
    strips: Vec<Strip>,
    parts: Vec<Part>,
    breaks: Vec<Break>,
    /// How far the figure throws light aside on its way to the focus, at most, mm.
    thrown_mm: f64,
    /// For many rays at once, made when first needed.
    compiled: OnceLock<Compiled>,
}

impl Prepared {
    /// Compiles a train. A train has passed its checks, so this cannot fail.
    pub fn new(train: &Train) -> Self {
        let mirror = Mirror::new(train.primary());
        let fold = Fold::of(train);
        let (stops, breaks) = (stops::stops(train, fold), breaks(train, &mirror));
        let strips = strips::strips(train, fold.map(|f| f.height_mm));
        let parts = in_order(&stops, &strips);
        let thrown_mm = thrown_mm(train, &mirror);
        Self(Arc::new(Parts {
            train: train.clone(),
            mirror,
            fold,
            stops,
            strips,
            parts,
            breaks,
            thrown_mm,
            compiled: OnceLock::new(),
        }))
    }

    /// The description this was compiled from.
    pub fn train(&self) -> &Train {
        &self.0.train
    }

    /// Focal length over the diameter that gathers light.
    pub fn focal_ratio(&self) -> f64 {
        self.focal_length_mm() / (2.0 * self.open_radius_mm())
    }

    /// Diameter of the diagonal's shadow on the axis (of its holder's, where that is larger) over the diameter that gathers
    /// light; 0 without either. The bevel counts, the thickness of the glass does not.
    pub fn obstruction_ratio(&self) -> f64 {
        let shadows = self.stops().iter().filter(|s| s.is_shadow());
        shadows.map(Stop::radius_mm).fold(0.0, f64::max) / self.open_radius_mm()
    }

    /// The diagonal's offset in use, mm: the stated one, or that of the largest lit circle it serves.
    pub fn diagonal_offset_mm(&self) -> Option<f64> {
        self.fold().map(|f| f.offset_mm)
    }

    /// Diameter of the largest lit circle that the diagonal serves when offset for it, mm; negative
    /// when it is too small even for the axis. `None` without a diagonal.
    ///
    /// Leaves out the drawtube and the front opening: see [`Prepared::light`].
    pub fn fully_lit_diameter_mm(&self) -> Option<f64> {
        let fold = self.fold()?;
        let plane = self.train().focal_plane()?;
        Some(
            Envelope::new(self.train().primary(), plane.axis_to_focus_mm).lit_diameter_mm(fold.minor_axis_mm),
        )
    }

    /// The mirror's surface above (x, y), with its slopes.
    pub(crate) fn surface(&self, x_mm: f64, y_mm: f64) -> SurfacePoint {
        self.mirror().at(x_mm, y_mm)
    }

    /// How fine the part of the figure is that is not round; none where everything depends on the radius alone.
    pub(crate) fn detail(&self) -> Option<Detail> {
        self.mirror().detail()
    }

    /// How far the figure throws light aside on its way to the focus, at most, mm: looked at within each of its zones.
    pub(crate) fn thrown_mm(&self) -> f64 {
        self.0.thrown_mm
    }

    /// The train as the loops over many rays see it.
    pub(crate) fn compiled(&self) -> &Compiled {
        self.0.compiled.get_or_init(|| Compiled::new(self))
    }

    pub(crate) fn mirror(&self) -> &Mirror {
        &self.0.mirror
    }

    pub(crate) fn fold(&self) -> Option<Fold> {
        self.0.fold
    }

    pub(crate) fn stops(&self) -> &[Stop] {
        &self.0.stops
    }

    /// Vanes and clips, vanes first.
    pub(crate) fn strips(&self) -> &[Strip] {
        &self.0.strips
    }

    /// All parts that may stop light, in the order in which light meets them.
    pub(crate) fn parts(&self) -> &[Part] {
        &self.0.parts
    }

    /// Where a part of this train stands in the order in which light meets them.
    pub(crate) fn place_of(&self, part: Part) -> usize {
        self.parts().iter().position(|p| *p == part).unwrap_or(self.parts().len())
    }

    /// Radii on the open mirror at which a quadrature must stop, ascending, ends left out.
    pub(crate) fn breaks(&self) -> &[Break] {
        &self.0.breaks
    }

    pub(crate) fn focal_length_mm(&self) -> f64 {
        self.train().primary().focal_length_mm
    }

    pub(crate) fn clear_radius_mm(&self) -> f64 {
        self.train().primary().clear_aperture_mm / 2.0
    }

    pub(crate) fn open_radius_mm(&self) -> f64 {
        self.train().primary().open_diameter_mm() / 2.0
    }

    /// Share of the power that mirror and flat return for light that met the mirror above (x, y).
    pub(crate) fn reflectance(&self, x_mm: f64, y_mm: f64) -> f64 {
        self.reflectance_under(usize::MAX, x_mm, y_mm)
    }

    /// The same with so many of the coating's patches, the first ones.
    pub(crate) fn reflectance_under(&self, patches: usize, x_mm: f64, y_mm: f64) -> f64 {
        let coating = &self.train().primary().coating;
        let r_mm = x_mm.hypot(y_mm);
        let covers =
            |ring: &&crate::model::CoatingRing| (ring.inner_radius_mm..ring.outer_radius_mm).contains(&r_mm);
        let rings = coating.rings.iter().rev().find(covers).map_or(coating.reflectance, |r| r.reflectance);
        let laid_over = |under: f64, patch: &crate::model::CoatingPatch| {
            let share = patch.share((x_mm - patch.x_mm).hypot(y_mm - patch.y_mm));
            under + share * (patch.reflectance - under)
        };
        let mirror = coating.patches.iter().take(patches).fold(rings, laid_over);
        mirror * self.train().diagonal().map_or(1.0, |d| d.reflectance)
    }
}

/// The parts in the order in which light meets them: up to the diagonal that of `Part`, beyond it that of their stops.
fn in_order(stops: &[Stop], strips: &[Strip]) -> Vec<Part> {
    let all = stops.iter().map(|s| s.part).chain(strips.iter().map(|s| s.part));
    let (mut parts, beyond): (Vec<Part>, Vec<Part>) = all.partition(|part| !part.is_beyond_the_flat());
    parts.sort_unstable();
    parts.dedup();
    parts.extend(beyond);
    parts
}

fn thrown_mm(train: &Train, mirror: &Mirror) -> f64 {
    const LOOKS: u32 = 8;
    if mirror.bare_conic().is_some() {
        return 0.0;
    }
    let primary = train.primary();
    let ends = mirror.breaks().into_iter().map(|b| b.radius_mm).chain([primary.clear_aperture_mm / 2.0]);
    let (mut from, mut steepest) = (0.0, 0.0_f64);
    for to in ends {
        for k in 0..LOOKS {
            let r = from + (to - from) * (f64::from(k) + 0.5) / f64::from(LOOKS);
            let slope = mirror.height_and_slope(r).1 - mirror.conic_height_and_slope(r).1;
            steepest = steepest.max(slope.abs());
        }
        from = to;
    }
    2.0 * steepest * primary.focal_length_mm
}

fn breaks(train: &Train, mirror: &Mirror) -> Vec<Break> {
    let primary = train.primary();
    let rim_mm = primary.open_diameter_mm() / 2.0;
    let mut breaks = mirror.breaks();
    for ring in &primary.coating.rings {
        for radius_mm in [ring.inner_radius_mm, ring.outer_radius_mm] {
            breaks.push(Break { radius_mm, fractional: false });
        }
    }
    // Closer than this two breaks are one: a panel so short holds no light.
    let shortest_mm = 1e-9 * rim_mm;
    breaks.retain(|b| b.radius_mm > shortest_mm && b.radius_mm < rim_mm - shortest_mm);
    breaks.sort_by(|a, b| a.radius_mm.total_cmp(&b.radius_mm));
    breaks.dedup_by(|later, kept| {
        let same = later.radius_mm - kept.radius_mm < shortest_mm;
        kept.fractional |= same && later.fractional;
        same
    });
    breaks
}
