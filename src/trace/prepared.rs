//! A train made ready for the kernels: immutable, made once, shared by all threads.

use std::sync::{Arc, OnceLock};

use super::coat::Coat;
use super::cone::Envelope;
use super::detail::Detail;
use super::figure::Break;
use super::fold::Fold;
use super::glass::Glass;
use super::kernel::{Compiled, Table};
use super::mirror::{Mirror, SurfacePoint};
use super::stops::{self, Part, Stop};
use super::strips::{self, Strip};
use crate::error::Result;
use crate::film::MetalFilm;
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

#[derive(Clone, Debug)]
struct Parts {
    train: Train,
    glass: Arc<Glass>,
    fold: Option<Fold>,
    stops: Vec<Stop>,
    strips: Vec<Strip>,
    parts: Vec<Part>,
    /// Share of the power that the flat returns in that colour.
    flat_share: f64,
    /// For many rays at once, made when first needed.
    compiled: OnceLock<Compiled>,
}

impl Prepared {
    /// Compiles a train. A train has passed its checks, so this cannot fail.
    pub fn new(train: &Train) -> Self {
        Self::around(train, Arc::new(Glass::new(train.primary())))
    }

    /// Another train, compiled anew only in what differs from this one: the figure, the coating, its films of metal and the
    /// tables made of them are shared where they are the same.
    ///
    /// Every answer has the same bits as with [`Prepared::new`]. Films are those of 550 nm, whatever the colour of this one.
    /// Cost: some microseconds where the primaries are equal, or differ in their mask alone; maps of one origin are told by
    /// their place in memory, others number by number.
    ///
    /// ```
    /// use catoptric::{Diagonal, Field, FocalLengthMm, FocalPlane, Prepared, Primary, Ripple, Train};
    /// let mirror = Primary::new(318.0, FocalLengthMm(1558.0)).layer(Ripple::new(5.0, 100.0, 20.0, 1));
    /// let train = Train::builder(mirror).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)).build()?;
    /// let mut parts = train.to_parts();
    /// parts.diagonal = Some(Diagonal::new(80.0));
    /// let larger = parts.build()?;
    /// let shared = Prepared::new(&train).changed(&larger);
    /// assert_eq!(shared.light(Field::AXIS), Prepared::new(&larger).light(Field::AXIS));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    #[must_use]
    pub fn changed(&self, train: &Train) -> Self {
        Self::around(train, self.0.glass.changed(self.train().primary(), train.primary()))
    }

    fn around(train: &Train, glass: Arc<Glass>) -> Self {
        let fold = Fold::of(train);
        let stops = stops::stops(train, fold);
        let strips = strips::strips(train, fold.map(|f| f.height_mm));
        let parts = in_order(&stops, &strips);
        let flat_share = flat_share(train, glass.wavelength_nm);
        let (train, compiled) = (train.clone(), OnceLock::new());
        Self(Arc::new(Parts { train, glass, fold, stops, strips, parts, flat_share, compiled }))
    }

    /// The same train in the light of another wavelength, for which its films of metal are made ready; without one it
    /// is the same in every colour.
    ///
    /// Wavefronts and pictures ask this themselves, each at its own wavelength. Rays, spots and whatever else knows no
    /// wavelength see the films at 550 nm.
    ///
    /// Units: nm.
    /// Errors: [`Error::Input`](crate::Error::Input) for wavelengths for which the metal's index is not known (250 to
    /// 3000 nm).
    ///
    /// ```
    /// use catoptric::{Coating, FocalLengthMm, Metal, MetalCoat, MetalFilm, Prepared, Primary, Train};
    /// let coating = Coating::default().metal(MetalCoat::new(MetalFilm::new(Metal::Aluminium, 90.0)));
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).coating(coating)).build()?;
    /// let prepared = Prepared::new(&train);
    /// let (green, infrared) = (prepared.reflectance(0.0, 0.0), prepared.in_colour(800.0)?.reflectance(0.0, 0.0));
    /// assert!(green > 0.9 && infrared < 0.88, "aluminium is darkest near 800 nm");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn in_colour(&self, wavelength_nm: f64) -> Result<Self> {
        self.check_colours(&[wavelength_nm])?;
        if self.is_of_colour(wavelength_nm) || self.films().next().is_none() {
            return Ok(self.clone());
        }
        Ok(Self(Arc::new(Parts {
            glass: Arc::new(self.0.glass.in_colour(self.train().primary(), wavelength_nm)),
            flat_share: flat_share(self.train(), wavelength_nm),
            compiled: OnceLock::new(),
            ..Parts::clone(&self.0)
        })))
    }

    /// Whether films of metal are made ready for this wavelength already.
    pub(crate) fn is_of_colour(&self, wavelength_nm: f64) -> bool {
        wavelength_nm.to_bits() == self.0.glass.wavelength_nm.to_bits()
    }

    /// Refuses wavelengths for which a metal's index is not known.
    pub(crate) fn check_colours(&self, wavelengths_nm: &[f64]) -> Result<()> {
        for film in self.films() {
            for wavelength_nm in wavelengths_nm {
                film.metal.index(*wavelength_nm)?;
            }
        }
        Ok(())
    }

    /// The films of metal on mirror and flat.
    fn films(&self) -> impl Iterator<Item = MetalFilm> {
        let metal = self.train().primary().coating.metal.as_ref().map(|coat| coat.film);
        let flat = self.train().diagonal().and_then(|d| d.film);
        metal.into_iter().chain(flat)
    }

    /// Whether the mirror's own wavefront hangs on the colour: it has metal whose thickness counts.
    pub(crate) fn has_film(&self) -> bool {
        self.mirror().film().is_some()
    }

    pub(crate) fn coat(&self) -> &Coat {
        &self.0.glass.coat
    }

    /// The description this was compiled from.
    pub fn train(&self) -> &Train {
        &self.0.train
    }

    /// Focal length over the diameter that gathers light.
    pub fn focal_ratio(&self) -> f64 {
        self.focal_length_mm() / (2.0 * self.open_radius_mm())
    }

    /// Diameter of the diagonal's shadow on the axis (of its holder's, where that is larger) over the diameter that
    /// gathers light; 0 without either. The bevel counts, the thickness of the glass does not.
    pub fn obstruction_ratio(&self) -> f64 {
        largest_shadow_mm(self.stops()) / self.open_radius_mm()
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

    /// The same with so many of the coating's patches, the first ones.
    pub(crate) fn surface_under(&self, level: usize, x_mm: f64, y_mm: f64) -> SurfacePoint {
        self.mirror().at_level(level, x_mm, y_mm)
    }

    /// The same, and the share of the power that mirror and flat return for light that meets it there.
    pub(crate) fn surface_and_share(&self, level: usize, x_mm: f64, y_mm: f64) -> (SurfacePoint, f64) {
        let (point, of_film) = self.mirror().at_level_with_share(level, x_mm, y_mm);
        (point, self.coat().share(level, x_mm, y_mm) * of_film * self.0.flat_share)
    }

    /// How fine the part of the surface is that is not round; none where everything depends on the radius alone.
    pub(crate) fn detail(&self) -> Option<Detail> {
        self.mirror().detail()
    }

    /// How fine surface and reflectance together are: what the nodes of an integral must resolve.
    pub(crate) fn light_detail(&self) -> Option<Detail> {
        let haze =
            self.coat().haze_pixel_mm().map(|pixel| Detail { pixel_mm: Some(pixel), ..Detail::default() });
        self.detail().into_iter().chain(haze).reduce(Detail::finer)
    }

    /// How far the figure throws light aside on its way to the focus, at most, mm: looked at within each of its zones.
    pub(crate) fn thrown_mm(&self) -> f64 {
        self.0.glass.thrown_mm
    }

    /// The train as the loops over many rays see it.
    pub(crate) fn compiled(&self) -> &Compiled {
        self.0.compiled.get_or_init(|| Compiled::new(self))
    }

    /// The table of the round figure for these loops, shared by all trains of this mirror.
    pub(crate) fn figure_table(&self, make: impl FnOnce() -> Option<Table>) -> Option<Arc<Table>> {
        self.0.glass.table(make)
    }

    pub(crate) fn mirror(&self) -> &Mirror {
        &self.0.glass.mirror
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
        &self.0.glass.breaks
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

    /// Share of the power that mirror and flat return for light that met the mirror above (x, y), mm.
    ///
    /// Units: a share of unpolarised light, in the colour of [`Prepared::in_colour`]: 550 nm unless asked otherwise.
    /// Leaves out: the star's field angle (below 1e-5 within half a degree).
    ///
    /// ```
    /// use catoptric::{Coating, Diagonal, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
    /// let mirror = Primary::new(200.0, FocalLengthMm(1200.0)).coating(Coating::new(0.9));
    /// let flat = Diagonal::new(50.0).reflectance(0.8);
    /// let train = Train::builder(mirror).diagonal(flat).focal_plane(FocalPlane::new(150.0)).build()?;
    /// assert!((Prepared::new(&train).reflectance(30.0, 0.0) - 0.72).abs() < 1e-15);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reflectance(&self, x_mm: f64, y_mm: f64) -> f64 {
        self.coat().reflectance(self.mirror().film(), x_mm, y_mm) * self.0.flat_share
    }

    /// The same where it is everywhere the same, at every angle.
    pub(crate) fn even_share(&self) -> Option<f64> {
        (self.coat().is_even() && !self.has_film()).then(|| self.reflectance(0.0, 0.0))
    }
}

/// [`Prepared::obstruction_ratio`] of a train that need not be compiled for it.
pub(crate) fn obstruction_ratio(train: &Train) -> f64 {
    let open_radius_mm = train.primary().open_diameter_mm() / 2.0;
    largest_shadow_mm(&stops::stops(train, Fold::of(train))) / open_radius_mm
}

fn largest_shadow_mm(stops: &[Stop]) -> f64 {
    stops.iter().filter(|s| s.is_shadow()).map(Stop::radius_mm).fold(0.0, f64::max)
}

/// Share of the power that the flat returns at a wavelength; 1 without a flat.
fn flat_share(train: &Train, wavelength_nm: f64) -> f64 {
    train.diagonal().map_or(1.0, |flat| {
        // A checked film has an answer at every wavelength that its metal has one.
        let film = flat.film.and_then(|film| film.response(wavelength_nm, 45.0).ok());
        film.map_or(flat.reflectance, |response| response.reflectance())
    })
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
