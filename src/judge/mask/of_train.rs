//! Masks before a train: each the exact pupil integral with all its parts.

use super::sweep::{Asked, Found, MaskRow, MaskValue};
use crate::error::Result;
use crate::judge::changed_train::{with_mask, with_paraboloid};
use crate::model::Train;
use crate::numeric::pool;
use crate::trace::Prepared;
use crate::units::{ARCSEC_PER_RADIAN, Field, NM_PER_MM, UM_PER_MM};
use crate::wave::{AIRY, Focus, MtfOptions, PsfSize, Wavefront};

/// Pixels and half-width, in units of lambda F, of the picture that a star's width is taken from.
const PIXELS: usize = 16;
const HALF_WIDTH: f64 = 2.0;

/// One for each diameter and for the open mirror, and two for the perfect figure.
pub(super) fn steps(diameters: usize) -> usize {
    diameters + 3
}

/// What one mask shows, before it is held against the open mirror.
struct Seen {
    strehl: f64,
    amplitude_mm2: f64,
    energy_mm2: f64,
    focus_shift_mm: f64,
    fwhm_arcsec: Option<f64>,
    contrast: Vec<f64>,
    airy: Option<[f64; 2]>,
    error_estimate: f64,
}

pub(super) fn rows<'a>(train: &'a Train, asked: &'a Asked<'a>) -> Result<Found<'a>> {
    let openings_mm = asked.openings_mm();
    let given = Prepared::new(train);
    let seen = pool::map_ordered(openings_mm.len(), true, |k| {
        let seen = look(&given, openings_mm[k], asked);
        asked.count();
        seen
    });
    let seen = seen.into_iter().collect::<Result<Vec<Seen>>>()?;
    let rows: Vec<MaskRow> =
        seen.iter().zip(&openings_mm).map(|(s, &d)| row(s, &seen[0], d, asked)).collect();
    Ok(Found {
        strehl: seen.iter().map(|s| vec![s.strehl]).collect(),
        perfect_contrast: Box::new(move |k| perfect_contrast(&given, openings_mm[k], asked)),
        rows,
        draws: 0,
        seed: None,
        remarks: vec!["Each number is the exact pupil integral of the train as it stands.".to_owned()],
    })
}

fn look(given: &Prepared, diameter_mm: f64, asked: &Asked<'_>) -> Result<Seen> {
    let (options, wavelength_nm) = (asked.options, asked.setting.wavelength_nm);
    let train = with_mask(given.train(), diameter_mm)?;
    let wavefront = given.changed(&train).wavefront(Field::AXIS, Focus::Peak, wavelength_nm)?;
    let focal_mm = train.primary().focal_length_mm;
    let unit_um = |diameter_mm: f64| wavelength_nm / NM_PER_MM * UM_PER_MM * focal_mm / diameter_mm;
    let (mut fwhm_arcsec, mut airy) = (None, None);
    if options.star_image {
        let size = PsfSize { pixels: PIXELS, half_width_um: Some(HALF_WIDTH * unit_um(diameter_mm)) };
        let star = wavefront.psf(size)?;
        fwhm_arcsec = Some(star.fwhm_um / UM_PER_MM / focal_mm * ARCSEC_PER_RADIAN);
        let disks = [asked.setting.clear_mm, diameter_mm].map(|d| AIRY * unit_um(d));
        let held = wavefront.encircled_energy(&disks)?;
        airy = Some([held[0], held[1]]);
    }
    let contrast = contrast(&wavefront, focal_mm, options.details_arcsec())?;
    let (amplitude_mm2, energy_mm2) = wavefront.light_mm2();
    Ok(Seen {
        strehl: wavefront.strehl,
        amplitude_mm2,
        energy_mm2,
        focus_shift_mm: wavefront.focus_shift_mm(),
        fwhm_arcsec,
        contrast,
        airy,
        error_estimate: wavefront.error_estimate,
    })
}

/// What a perfect paraboloid behind a mask shows of each detail.
fn perfect_contrast(given: &Prepared, diameter_mm: f64, asked: &Asked<'_>) -> Result<Vec<f64>> {
    let details = asked.options.details_arcsec();
    if details.is_empty() {
        return Ok(Vec::new());
    }
    let train = given.train();
    let perfect = given.changed(&with_paraboloid(&with_mask(train, diameter_mm)?)?);
    let wavefront = perfect.wavefront(Field::AXIS, Focus::Peak, asked.setting.wavelength_nm)?;
    asked.count();
    contrast(&wavefront, train.primary().focal_length_mm, details)
}

/// Mean contrast over the azimuths of details on the sky.
fn contrast(wavefront: &Wavefront, focal_mm: f64, detail_arcsec: &[f64]) -> Result<Vec<f64>> {
    if detail_arcsec.is_empty() {
        return Ok(Vec::new());
    }
    let frequency = detail_arcsec.iter().map(|detail| ARCSEC_PER_RADIAN / detail / focal_mm).collect();
    let options = MtfOptions { frequency_per_mm: Some(frequency), spectrum: None };
    Ok(wavefront.mtf(&options)?.contrast_mean)
}

fn row(seen: &Seen, open: &Seen, diameter_mm: f64, asked: &Asked<'_>) -> MaskRow {
    let light = seen.energy_mm2 / open.energy_mm2;
    let amplitude = seen.amplitude_mm2 / open.amplitude_mm2;
    let wavelength_nm = asked.setting.wavelength_nm;
    let seeing_contrast = asked.options.seeing.iter().flat_map(|air| {
        let details = asked.options.details_arcsec().iter().zip(&seen.contrast);
        details
            .map(|(detail, contrast)| MaskValue::plain(contrast * air.transfer(1.0 / detail, wavelength_nm)))
    });
    let gained = seen.contrast.iter().zip(&open.contrast);
    MaskRow {
        diameter_mm,
        strehl: MaskValue::plain(seen.strehl),
        light,
        peak_brightness: MaskValue::plain(seen.strehl * amplitude * amplitude),
        core_light: MaskValue::plain(seen.strehl * light),
        focus_shift_mm: seen.focus_shift_mm - open.focus_shift_mm,
        cutoff_arcsec: wavelength_nm / NM_PER_MM / diameter_mm * ARCSEC_PER_RADIAN,
        fwhm_arcsec: seen.fwhm_arcsec.map(MaskValue::plain),
        contrast: seen.contrast.iter().copied().map(MaskValue::plain).collect(),
        contrast_gain: gained.map(|(own, open)| MaskValue::plain(own - open)).collect(),
        seeing_contrast: seeing_contrast.collect(),
        airy_energy: seen.airy.map(|[fair, _]| MaskValue::plain(fair)),
        own_airy_energy: seen.airy.map(|[_, own]| MaskValue::plain(own)),
        probability_rises: None,
        probability_brighter: None,
        holds: 0.0,
        error_estimate: seen.error_estimate,
    }
}
