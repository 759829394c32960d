//! A scene through a train: which wavefronts, which net, and the finished view.

use ndarray::Array2;
use serde::{Deserialize, Serialize};

use super::disc::{BandedDisc, Streaks};
use super::eye::Eyepiece;
use super::net::{Beyond, Drawn, Layout, filter};
use super::picture::{BrightnessUnit, View, left_of, star_gap};
use super::scene::Scene;
use super::sensor::Sensor;
use super::stars::FieldStar;
use crate::error::{Error, Findings, Result};
use crate::numeric::periodic::Filter;
use crate::numeric::sums;
use crate::trace::Prepared;
use crate::units::{ARCSEC_PER_RADIAN, DEFAULT_WAVELENGTH_NM, Field, UM_PER_MM};
use crate::wave::{Focus, Seeing, Spectrum, Wavefront};

/// Half width of a view, in reaches of its scene, where none is given; and how much of the star image belongs to it.
const ROOM: f64 = 1.3;
const STAR_ROOM: f64 = 6.0;

/// What the light enters behind the focal plane.
///
/// In a file a table with a key `kind`: `eyepiece` or `sensor`.
///
/// ```
/// use catoptric::{Eyepiece, Through};
/// assert!(matches!(Through::from(Eyepiece::new(10.0, 12.0)), Through::Eyepiece(_)));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Through {
    /// An eyepiece with an eye behind it.
    Eyepiece(Eyepiece),
    /// A sensor.
    Sensor(Sensor),
}

impl From<Eyepiece> for Through {
    fn from(eyepiece: Eyepiece) -> Self {
        Self::Eyepiece(eyepiece)
    }
}

impl From<Sensor> for Through {
    fn from(sensor: Sensor) -> Self {
        Self::Sensor(sensor)
    }
}

/// How a scene is looked at.
///
/// Units: arcmin for the field, arcsec from the middle to the edge of the view; `half_width_arcsec` and `pixels` count
/// at an eyepiece, a sensor has its own.
///
/// ```
/// assert_eq!(catoptric::ViewOptions::default().pixels, 257);
/// ```
#[derive(Clone, Debug)]
pub struct ViewOptions {
    /// Where the middle of the scene stands in the telescope's field.
    pub field: Field,
    /// The focus, found for a star in the middle at the spectrum's mean wavelength.
    pub focus: Focus,
    /// Colours of the light; one line at 550 nm where not given.
    pub spectrum: Option<Spectrum>,
    /// The air; none: outside of it.
    pub seeing: Option<Seeing>,
    /// From the middle to the edge of the view at an eyepiece, arcsec; not given: what the scene needs, within the
    /// field.
    pub half_width_arcsec: Option<f64>,
    /// Pixels on a side of the view at an eyepiece.
    pub pixels: usize,
}

impl Default for ViewOptions {
    fn default() -> Self {
        Self {
            field: Field::AXIS,
            focus: Focus::Peak,
            spectrum: None,
            seeing: None,
            half_width_arcsec: None,
            pixels: 257,
        }
    }
}

impl Prepared {
    /// What one would see of a scene.
    ///
    /// The scene is drawn on a fine net, blurred by the exact image of a star in its middle (and that of every line of
    /// the spectrum, all from one focus), by the air, and at an eyepiece by what the eye takes beyond diffraction;
    /// every pixel of the picture is the mean over its square.
    ///
    /// Units: see [`View`].
    /// Errors: [`Error::Input`] for scenes, eyepieces, sensors and sizes that cannot be, a view wider than the field
    /// stop, a pixel larger than what is looked at, and pictures that would take more than about 1 GiB;
    /// [`Error::NoLight`]; [`Error::NotConverged`].
    /// Method: products of Fourier transforms; stars lie where they are to 1e-6 of a pixel, rims are drawn in grey,
    /// areas to 1e-4 for a disc of 36 fine pixels and as their power 1.5 better. A star is summed within 64 wavelengths
    /// times focal ratio (less where the pixels are finer than a twelfth of that unit); the light beyond, stated as
    /// `tail_share`, is added as rings falling off as 1/r^3: contrasts of a perfect annulus come out within 5e-5, those
    /// of a pupil with vanes, whose far light lies in spikes, within that share.
    /// Leaves out: that the star image changes over the view: for coma it grows in proportion to the distance from the
    /// axis; what the dark adaptation and the noise of an eye make of it; noise of the sensor.
    ///
    /// ```
    /// use catoptric::{BandedDisc, Eyepiece, FocalLengthMm, Prepared, Primary, Train, ViewOptions};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let (planet, eyepiece) = (BandedDisc::new(20.0).into(), Eyepiece::new(6.0, 8.0).into());
    /// let options = ViewOptions { pixels: 65, ..ViewOptions::default() };
    /// let seen = Prepared::new(&train).view(&planet, &eyepiece, &options)?;
    /// assert_eq!((seen.exit_pupil_mm, seen.magnification), (Some(1.0), Some(200.0)));
    /// assert!(seen.bands_left.is_some_and(|left| left > 0.5 && left < 1.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn view(&self, scene: &Scene, through: &Through, options: &ViewOptions) -> Result<View> {
        scene.check()?;
        let (focal_mm, focal_ratio) = (self.focal_length_mm(), self.focal_ratio());
        let mut findings = Findings::default();
        match through {
            Through::Eyepiece(eyepiece) => {
                findings.within("eyepiece", |f| eyepiece.note_problems(focal_ratio, f));
            }
            Through::Sensor(sensor) => findings.within("sensor", |f| sensor.note_problems(f)),
        }
        findings.refuse()?;
        let spectrum = options.spectrum.clone().map_or_else(|| Spectrum::line(DEFAULT_WAVELENGTH_NM), Ok)?;
        let layout = self.layout(scene, through, options, &spectrum)?;
        let waves = self.waves(options, &spectrum)?;
        let eye = match through {
            Through::Eyepiece(e) => Some([e.exit_pupil_mm(focal_ratio), e.magnification(focal_mm)]),
            Through::Sensor(_) => None,
        };
        let beyond = Beyond { seeing: options.seeing.as_ref(), eye };
        let throughput = self.throughput(&waves[0].0, options.field);
        let drawn = if matches!(scene, Scene::BandedDisc(_)) { Drawn::Means } else { Drawn::Bells };
        let (filter, tail_share) = filter(&layout, &waves, beyond, drawn)?;
        let Developed { mut image, unit, bands_left, spots_left } = if let Scene::BandedDisc(disc) = scene {
            Developed::disc(&layout, &filter, disc)
        } else {
            Developed::stars(&layout, &filter, &scene.stars())
        };
        image *= throughput;
        let [y_arcsec, x_arcsec] = layout.axes_arcsec();
        let star_gap = match scene {
            Scene::DoubleStar(pair) => star_gap(&image, [&y_arcsec, &x_arcsec], pair.stars()),
            _ => None,
        };
        let true_field_arcmin = match through {
            Through::Eyepiece(e) => Some(e.true_field_arcmin(focal_mm)),
            Through::Sensor(_) => None,
        };
        if let Some(field) = true_field_arcmin {
            for ((i, j), value) in image.indexed_iter_mut() {
                if x_arcsec[j].hypot(y_arcsec[i]) > field * 30.0 {
                    *value = 0.0;
                }
            }
        }
        let pixel_um = layout.pixel_arcsec / ARCSEC_PER_RADIAN * focal_mm * UM_PER_MM;
        let strehls: Vec<f64> = waves.iter().map(|(w, share)| share * w.strehl).collect();
        Ok(View {
            image,
            x_arcsec,
            y_arcsec,
            pixel_arcsec: layout.pixel_arcsec,
            pixel_um,
            unit,
            throughput,
            strehl: sums::pairwise(&strehls),
            bands_left,
            spots_left,
            star_gap,
            magnification: eye.map(|e| e[1]),
            exit_pupil_mm: eye.map(|e| e[0]),
            true_field_arcmin,
            pixels_per_lambda_f: spectrum.mean_nm() / 1000.0 * focal_ratio / pixel_um,
            tail_share,
            field: options.field,
            seeing: options.seeing,
            spectrum,
            scene: scene.clone(),
            through: *through,
        })
    }

    /// The wavefronts of all lines from one point of the image, each with its share.
    fn waves(&self, options: &ViewOptions, spectrum: &Spectrum) -> Result<Vec<(Wavefront, f64)>> {
        let middle = self.wavefront(options.field, options.focus, spectrum.mean_nm())?;
        let seen = |&(nm, share): &(f64, f64)| {
            if nm.to_bits() == middle.wavelength_nm.to_bits() {
                return Ok((middle.clone(), share));
            }
            Wavefront::seen_from(middle.source.clone(), middle.reference_mm, nm).map(|w| (w, share))
        };
        spectrum.lines().iter().filter(|line| line.1 > 0.0).map(seen).collect()
    }

    /// Light that arrives over what a perfect mirror of the full clear aperture would send, without anything in its
    /// way.
    fn throughput(&self, wave: &Wavefront, field: Field) -> f64 {
        let pupil = &wave.pupil;
        let returned: Vec<f64> =
            (0..pupil.len()).map(|i| pupil.weight[i] * pupil.amplitude[i] * pupil.amplitude[i]).collect();
        self.light(field).lit_fraction * sums::pairwise(&returned) / sums::pairwise(&pupil.weight)
    }

    fn layout(
        &self,
        scene: &Scene,
        through: &Through,
        options: &ViewOptions,
        spectrum: &Spectrum,
    ) -> Result<Layout> {
        let (focal_mm, focal_ratio) = (self.focal_length_mm(), self.focal_ratio());
        let lines = spectrum.lines();
        let colours = (lines[0].0, lines[lines.len() - 1].0);
        let arcsec_per_um = ARCSEC_PER_RADIAN / (focal_mm * UM_PER_MM);
        let (size, pixel_arcsec, name) = match through {
            Through::Sensor(sensor) => {
                let size = (sensor.rows, sensor.columns);
                (size, sensor.pixel_um * arcsec_per_um, "sensor")
            }
            Through::Eyepiece(eyepiece) => {
                let stop = eyepiece.true_field_arcmin(focal_mm) * 30.0;
                // That of the whole mirror, so that a mask does not change the field.
                let whole = focal_mm / (2.0 * self.clear_radius_mm());
                let unit = spectrum.mean_nm() / 1000.0 * whole * arcsec_per_um;
                let air = options.seeing.map_or(0.0, |s| s.fwhm_arcsec(spectrum.mean_nm()));
                let wanted = ROOM * scene.reach_arcsec() + STAR_ROOM * unit.max(0.5 * air);
                let half_width = options.half_width_arcsec.unwrap_or(wanted.min(stop));
                if !(half_width > 0.0 && half_width <= stop * (1.0 + 1e-9)) {
                    let allowed = format!("above 0 and up to {stop:.1} arcsec, half of the true field");
                    return Err(Error::input("half_width_arcsec", half_width, allowed, "arcminutes?"));
                }
                let size = (options.pixels, options.pixels);
                (size, 2.0 * half_width / options.pixels.max(1) as f64, "pixels")
            }
        };
        if size.0.min(size.1) < 4 {
            let found = format!("{} x {}", size.0, size.1);
            return Err(Error::input(name, found, "4 pixels or more on a side", ""));
        }
        if let Scene::BandedDisc(disc) = scene
            && pixel_arcsec > disc.diameter_arcsec
        {
            let found = format!("a pixel of {pixel_arcsec:.3} arcsec");
            let allowed = format!("pixels smaller than the disc, {:.3} arcsec", disc.diameter_arcsec);
            return Err(Error::input(name, found, allowed, "a smaller field, or more pixels?"));
        }
        Layout::new(size, pixel_arcsec, colours, (focal_mm, focal_ratio), name)
    }
}

/// The picture of a scene without what the telescope loses, and what is measured while it is made.
struct Developed {
    image: Array2<f64>,
    unit: BrightnessUnit,
    bands_left: Option<f64>,
    spots_left: Option<f64>,
}

impl Developed {
    fn disc(layout: &Layout, filter: &Filter, disc: &BandedDisc) -> Self {
        let seen = |net: &Array2<f64>| layout.sampled(&filter.applied(net));
        let rims = disc.rims();
        let reach = disc.diameter_arcsec / 2.0;
        let streaks = Streaks::of(disc);
        let fine = |x: f64, y: f64| 1.0 + streaks.as_ref().map_or(0.0, |s| s.at(x, y));
        let banded = |x: f64, y: f64, soft: f64| {
            let bare = disc.bare(x, y, soft);
            if bare == 0.0 { 0.0 } else { bare * disc.bands(x, y) }
        };
        let whole = layout.drawn(
            |x, y, soft| {
                let banded = banded(x, y, soft);
                if banded == 0.0 { 0.0 } else { banded * disc.spotted(x, y, soft) * fine(x, y) }
            },
            &rims,
            reach,
        );
        let bands =
            || layout.drawn(|x, y, soft| banded(x, y, soft) - disc.bare(x, y, soft), &rims[..1], reach);
        let spots = || {
            let added = |x: f64, y: f64, soft: f64| banded(x, y, soft) * (disc.spotted(x, y, soft) - 1.0);
            layout.drawn(added, &rims, reach)
        };
        let left = |net: Array2<f64>| left_of(&layout.mean(&net), &seen(&net));
        let has_bands = disc.band_count > 0 && disc.band_contrast > 0.0;
        let has_spots = disc.spots.iter().any(|s| s.contrast != 0.0);
        Self {
            image: seen(&whole),
            unit: BrightnessUnit::DiscCentre,
            bands_left: if has_bands { left(bands()) } else { None },
            spots_left: if has_spots { left(spots()) } else { None },
        }
    }

    fn stars(layout: &Layout, filter: &Filter, stars: &[FieldStar]) -> Self {
        // Light of a star for each fine pixel of its image: by the area, light for each square arcsecond.
        let image = layout.sampled(&filter.applied(&layout.spread(stars))) / layout.fine_area_arcsec2();
        Self { image, unit: BrightnessUnit::MagnitudeZeroPerArcsec2, bands_left: None, spots_left: None }
    }
}
