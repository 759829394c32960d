//! What a train is worth, exactly: Strehl, contrast, light, usable field. Trains of one shape are computed once.

use std::f64::consts::{PI, TAU};

use super::options::LadderOptions;
use super::state::State;
use crate::error::{Error, Result};
use crate::judge::changed_train::with_paraboloid;
use crate::model::{Coating, Train};
use crate::numeric::{pool, roots};
use crate::trace::{Prepared, QuickLight, no_light};
use crate::units::{ARCSEC_PER_RADIAN, Field};
use crate::wave::{Focus, MtfOptions};

/// Azimuths in which the field's end is looked for; the darkest of usual trains lie toward and away from the sky.
const AZIMUTHS: usize = 24;
/// The widest field that is looked at, in focal lengths, by its radius.
const WIDEST: f64 = 0.1;
/// The field's end is found to this, mm.
const FIELD_MM: f64 = 1e-4;

/// What one train is worth.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Exact {
    /// At the brightest focus.
    pub(super) strehl: f64,
    /// Of each detail there, the mean over azimuths, in still air; where the figure is drawn, that of a perfect
    /// paraboloid in its place.
    pub(super) contrast: Vec<f64>,
    /// Share of the power on the clear aperture that reaches the middle of the field.
    pub(super) light: f64,
    /// Diameter of the usable field, mm.
    pub(super) field_mm: f64,
    /// Whether anything ends it.
    pub(super) field_ends: bool,
}

/// What depends on the wavefront alone.
#[derive(Clone)]
struct Shape {
    strehl: f64,
    light: f64,
}

/// What all trains are worth, in their order; `is_drawn` says whose figures are drawn.
///
/// The exact contrast of a figure with kinks takes seconds; that of a drawn one is its round ring's, moved by what the
/// perfect train differs from the perfect ring (see `drawn`), and the perfect train of one mask and shadow serves all
/// figures.
pub(super) fn exact(states: &[State], is_drawn: &[bool], options: &LadderOptions) -> Vec<Result<Exact>> {
    let bare: Vec<(Train, f64)> = states.iter().map(|s| without_even_coats(&s.train)).collect();
    let (first_shape, shapes) = distinct(bare.iter().map(|(train, _)| train.clone()));
    let seen = |((train, _), drawn): (&(Train, f64), &bool)| {
        if *drawn { perfect(train) } else { train.clone() }
    };
    let (first_contrast, contrasts) = distinct(bare.iter().zip(is_drawn).map(seen));
    let (first_field, fields) = distinct(bare.iter().map(|(train, _)| without_figure(train)));
    // Most works leave the mirror as it is.
    let given = shapes.first().map(Prepared::new);
    let prepared = |train: &Train| given.as_ref().map_or_else(|| Prepared::new(train), |p| p.changed(train));
    let shapes = pool::map_ordered(shapes.len(), true, |i| shape(&prepared(&shapes[i]), options));
    let contrasts = pool::map_ordered(contrasts.len(), true, |i| contrast(&prepared(&contrasts[i]), options));
    // A field takes about 25 us.
    let fields = pool::map_ordered(fields.len(), fields.len() > 2, |i| {
        usable_field_mm(&Prepared::new(&fields[i]), options.field_loss_magnitudes)
    });
    let one = |i: usize| {
        let Shape { strehl, light } = shapes[first_shape[i]].clone()?;
        let contrast = contrasts[first_contrast[i]].clone()?;
        let (field_mm, field_ends) = fields[first_field[i]];
        Ok(Exact { strehl, contrast, light: light * bare[i].1, field_mm, field_ends })
    };
    (0..states.len()).map(one).collect()
}

/// For each train the number of its first twin, among the distinct ones.
fn distinct(trains: impl Iterator<Item = Train>) -> (Vec<usize>, Vec<Train>) {
    let (mut place, mut kept): (Vec<usize>, Vec<Train>) = (Vec::new(), Vec::new());
    for train in trains {
        let known = kept.iter().position(|other| *other == train);
        place.push(known.unwrap_or(kept.len()));
        if known.is_none() {
            kept.push(train);
        }
    }
    (place, kept)
}

/// The train with coats that return all light wherever they are even, and the share that those return.
fn without_even_coats(train: &Train) -> (Train, f64) {
    let (mut parts, mut share) = (train.to_parts(), 1.0);
    let coating = &parts.primary.coating;
    if *coating == Coating::new(coating.reflectance) {
        share *= coating.reflectance;
        parts.primary.coating = Coating::default();
    }
    if let Some(diagonal) = &mut parts.diagonal {
        share *= diagonal.reflectance;
        diagonal.reflectance = 1.0;
    }
    (rebuilt(parts, train), share)
}

/// The train with a perfect paraboloid, which builds wherever a checked train does.
fn perfect(train: &Train) -> Train {
    with_paraboloid(train).unwrap_or_else(|_| train.clone())
}

/// The same that returns all light: its field is geometry.
fn without_figure(train: &Train) -> Train {
    let mut parts = perfect(train).to_parts();
    parts.primary.coating = Coating::default();
    rebuilt(parts, train)
}

/// Less was put in than a checked train had, so this builds.
fn rebuilt(parts: crate::model::TrainBuilder, otherwise: &Train) -> Train {
    parts.build_after(otherwise).unwrap_or_else(|_| otherwise.clone())
}

fn shape(prepared: &Prepared, options: &LadderOptions) -> Result<Shape> {
    let light = prepared.light(Field::AXIS);
    if light.lit_fraction <= 0.0 {
        return Err(no_light(Field::AXIS, &light));
    }
    let wave = prepared.wavefront(Field::AXIS, Focus::Peak, options.wavelength_nm)?;
    Ok(Shape { strehl: wave.strehl, light: light.lit_fraction * wave.mean_reflectance() })
}

/// Contrast of the details at the brightest focus, the mean over azimuths.
fn contrast(prepared: &Prepared, options: &LadderOptions) -> Result<Vec<f64>> {
    let wave = prepared.wavefront(Field::AXIS, Focus::Peak, options.wavelength_nm)?;
    let distance_mm = wave.image_distance_mm()?;
    let frequency = |detail: &f64| ARCSEC_PER_RADIAN / detail / distance_mm;
    let frequency_per_mm = Some(options.details_arcsec.iter().map(frequency).collect());
    Ok(wave.mtf(&MtfOptions { frequency_per_mm, spectrum: None })?.contrast_mean)
}

/// Diameter within which the darkest azimuth has lost less than this against the middle of the field, mm, and whether
/// it ends within a fifth of the focal length.
fn usable_field_mm(prepared: &Prepared, loss_magnitudes: f64) -> (f64, bool) {
    let quick = QuickLight::new(prepared);
    let lit = |radius_mm: f64, azimuth: f64| {
        let (along_mm, across_mm) = (radius_mm * azimuth.cos(), radius_mm * azimuth.sin());
        let answer = quick.and_then(|q| q.light_at(along_mm, across_mm));
        answer.map_or_else(
            || prepared.light(prepared.field_of_image(along_mm, across_mm)).lit_fraction,
            |a| a.lit_fraction,
        )
    };
    let least = lit(0.0, 0.0) * 10.0_f64.powf(-0.4 * loss_magnitudes);
    let widest_mm = WIDEST * prepared.focal_length_mm();
    let (mut radius_mm, mut ends) = (widest_mm, false);
    // Along the tube first: where these two end the field the others need one look each.
    let step = TAU / AZIMUTHS as f64;
    let others = (1..AZIMUTHS).filter(|i| 2 * i != AZIMUTHS).map(|i| step * i as f64);
    for azimuth in [0.0, PI].into_iter().chain(others) {
        if lit(radius_mm, azimuth) < least {
            let excess = |r: f64| lit(r, azimuth) - least;
            radius_mm = roots::bracketed(excess, 0.0, radius_mm, FIELD_MM).unwrap_or(radius_mm);
            ends = true;
        }
    }
    (2.0 * radius_mm, ends)
}

/// The error of a work whose train is dark, said of the work.
pub(super) fn dark_is_input(error: Error, field: String, name: &str) -> Error {
    match error {
        Error::NoLight { stopped_by, .. } => {
            Error::input(field, name, "a work that leaves light in the middle of the field", stopped_by)
        }
        other => other,
    }
}
