//! Masks before a mirror of which readings are known: each number for figures that the readings allow.

use super::options::MaskOptions;
use super::sweep::{Asked, Found, MaskRow, MaskValue};
use crate::error::{Error, Result};
use crate::judge::changed_train::{with_mask, with_paraboloid};
use crate::model::Train;
use crate::numeric::{pool, stats};
use crate::shop_test::{FigureEstimate, ReduceOptions, figures_at, looked_through, pieces_of_draws};
use crate::trace::Prepared;
use crate::units::{ARCSEC_PER_RADIAN, Field, NM_PER_MM};
use crate::wave::{
    AIRY, Focus, NestedPeak, NestedPupils, NestedScratch, RIM_BREAKS_MM, RadialGrid, RadialPupil,
    RadialSight, RadialStar, RadialStarSight, RadialView, Resampled, Scratch,
};

/// Figures whose brightest focus is searched in one piece by one thread.
const CHUNK: usize = 50;

/// What the Strehl of a figure is good to with the nodes that it is drawn at: steep edges of 450 nm; worse ones are
/// rare.
const QUADRATURE_ERROR: f64 = 1e-4;

/// Pieces of draws, of their Strehl, and one for each diameter and the open mirror where more is computed.
pub(super) fn steps(draws: usize, diameters: usize, options: &MaskOptions) -> usize {
    pieces_of_draws(draws) + draws.div_ceil(CHUNK) + if needs_sights(options) { diameters + 1 } else { 0 }
}

fn needs_sights(options: &MaskOptions) -> bool {
    options.star_image || options.detail_arcsec.as_ref().is_none_or(|details| !details.is_empty())
}

pub(super) fn rows<'a>(
    figure: &FigureEstimate,
    train: Option<&Train>,
    asked: &Asked<'_>,
) -> Result<Found<'a>> {
    let setting = asked.setting;
    check_train(figure, train)?;
    let options = ReduceOptions {
        obstruction_ratio: setting.shadow_mm / setting.clear_mm,
        wavelength_nm: setting.wavelength_nm,
        ..figure.options.clone()
    };
    let openings_mm = asked.openings_mm();
    let radii_mm: Vec<f64> = openings_mm.iter().map(|d| 0.5 * d).collect();
    let inner_mm = 0.5 * setting.shadow_mm;
    let near_the_rim = RIM_BREAKS_MM.iter().map(|back| radii_mm[0] - back).filter(|r| *r > inner_mm);
    let breaks_mm: Vec<f64> = radii_mm.iter().copied().chain(near_the_rim).collect();
    let (analysis, figures) = figures_at(figure, &options, &breaks_mm, || asked.count())?;
    let radius_of_curvature_mm = figure.readings.radius_of_curvature().0;
    let grid = &analysis.model.grid;
    let nested = NestedPupils::new(grid, inner_mm, &radii_mm, radius_of_curvature_mm, setting.wavelength_nm);
    let drawn: Vec<&[f64]> = figures.rows().collect();
    let peaks = pool::map_ordered(drawn.len().div_ceil(CHUNK), true, |piece| {
        let first = piece * CHUNK;
        let mut scratch = NestedScratch::default();
        let found: Vec<Vec<NestedPeak>> = drawn[first..drawn.len().min(first + CHUNK)]
            .iter()
            .map(|height_nm| {
                let mut peaks = Vec::new();
                nested.peaks(height_nm, &mut scratch, &mut peaks);
                peaks
            })
            .collect();
        asked.count();
        found
    });
    let peaks: Vec<Vec<NestedPeak>> = peaks.into_iter().flatten().collect();
    let light = light(train, &openings_mm, inner_mm, asked)?;
    let chosen: Vec<&[f64]> = looked_through(drawn.len()).map(|k| drawn[k]).collect();
    let bench = Bench { grid, rims_mm: &break_radii(figure), inner_mm, radius_of_curvature_mm };
    let sights = if needs_sights(asked.options) {
        pool::map_ordered(radii_mm.len(), true, |k| {
            let sight = Sights::new(&bench, radii_mm[k], &chosen, asked);
            asked.count();
            sight
        })
    } else {
        radii_mm.iter().map(|_| Sights::default()).collect()
    };
    let strehl: Vec<Vec<f64>> =
        (0..openings_mm.len()).map(|k| peaks.iter().map(|row| row[k].strehl).collect()).collect();
    let mut remarks = vec![format!(
        "Each number is the median of figures that the readings allow, unseen edges among them, with the interval \
         that holds 95 % of {}.",
        drawn.len()
    )];
    if sights.iter().any(|s| s.star.iter().any(|star| star.fwhm_arcsec.is_none())) {
        let scattered =
            "Some figures scatter their light so far that their star has no width: none is given.";
        remarks.push(scattered.to_owned());
    }
    if train.is_some_and(|t| t.spider().is_some()) {
        remarks.push("Vanes count in the light, not in Strehl and contrast.".to_owned());
    }
    let rows = (0..openings_mm.len())
        .map(|k| row(k, openings_mm[k], &light, &strehl, &peaks, &sights, asked))
        .collect();
    let perfect: Vec<Vec<f64>> = sights.into_iter().map(|s| s.perfect).collect();
    Ok(Found {
        rows,
        perfect_contrast: Box::new(move |k| Ok(perfect[k].clone())),
        strehl,
        draws: drawn.len(),
        seed: Some(options.seed),
        remarks,
    })
}

fn check_train(figure: &FigureEstimate, train: Option<&Train>) -> Result<()> {
    let Some(train) = train else { return Ok(()) };
    let (tested, own) = (figure.readings.clear_aperture_mm(), train.primary().clear_aperture_mm);
    if (tested - own).abs() > 0.01 * own {
        let found = format!("a primary of {own} mm");
        let allowed = format!("a primary of the {tested} mm that were tested");
        return Err(Error::input("train", found, allowed, "another telescope?"));
    }
    let (tested, own) = (figure.readings.radius_of_curvature().0, 2.0 * train.primary().focal_length_mm);
    if (tested - own).abs() > 0.01 * own {
        let found = format!("a primary of radius of curvature {own} mm");
        return Err(Error::input(
            "train",
            found,
            format!("that of the {tested} mm tested"),
            "another telescope?",
        ));
    }
    Ok(())
}

/// Amplitude and light of each opening over those of the open mirror.
fn light(
    train: Option<&Train>,
    openings_mm: &[f64],
    inner_mm: f64,
    asked: &Asked<'_>,
) -> Result<Vec<(f64, f64)>> {
    let Some(train) = train else {
        let area = |d: &f64| 0.25 * d * d - inner_mm * inner_mm;
        let share = |d| area(d) / area(&openings_mm[0]);
        return Ok(openings_mm.iter().map(|d| (share(d), share(d))).collect());
    };
    let given = Prepared::new(&with_paraboloid(train)?);
    let sums = pool::map_ordered(openings_mm.len(), true, |k| {
        // The tested size may differ by a little from the train's.
        let ratio = train.primary().clear_aperture_mm / asked.setting.clear_mm;
        let masked = with_mask(given.train(), openings_mm[k] * ratio)?;
        let wavelength_nm = asked.setting.wavelength_nm;
        Ok(given.changed(&masked).wavefront(Field::AXIS, Focus::Paraxial, wavelength_nm)?.light_mm2())
    });
    let sums = sums.into_iter().collect::<Result<Vec<(f64, f64)>>>()?;
    Ok(sums.iter().map(|(a, e)| (a / sums[0].0, e / sums[0].1)).collect())
}

/// Radii at which quadratures stop whatever the masks: rims of openings.
fn break_radii(figure: &FigureEstimate) -> Vec<f64> {
    let rings = figure.readings.openings().iter();
    rings.flat_map(|o| [o.inner_radius_mm, o.outer_radius_mm]).collect()
}

/// What all masks share.
struct Bench<'a> {
    grid: &'a RadialGrid,
    rims_mm: &'a [f64],
    inner_mm: f64,
    radius_of_curvature_mm: f64,
}

/// What is seen through one mask.
#[derive(Default)]
struct Sights {
    seen: Vec<RadialSight>,
    star: Vec<RadialStarSight>,
    perfect: Vec<f64>,
}

impl Sights {
    fn new(bench: &Bench<'_>, outer_mm: f64, chosen: &[&[f64]], asked: &Asked<'_>) -> Self {
        let (options, setting) = (asked.options, asked.setting);
        // The overlap costs the square of the nodes: a grid without the other masks has few.
        let own: Vec<f64> = bench.rims_mm.iter().copied().chain([bench.inner_mm, outer_mm]).collect();
        let coarse = RadialGrid::new(0.5 * setting.clear_mm, &own);
        let resampled = Resampled::new(bench.grid, &coarse);
        let (ends, wavelength_nm) = ((bench.inner_mm, outer_mm), setting.wavelength_nm);
        let pupil = RadialPupil::new(&coarse, ends.0, ends.1, bench.radius_of_curvature_mm, wavelength_nm);
        let view = RadialView::new(&coarse, &pupil, ends, wavelength_nm, options.details_arcsec());
        let circles = [AIRY / setting.clear_mm, AIRY / (2.0 * outer_mm)];
        let star = options.star_image.then(|| RadialStar::new(&coarse, &pupil, ends, wavelength_nm, circles));
        let (mut scratch, mut height_nm) = (Scratch::default(), Vec::new());
        let mut found = Self::default();
        for fine in chosen {
            resampled.heights(fine, &mut height_nm);
            let defocus = pupil.quality(&height_nm, &mut scratch).peak_defocus_rad;
            found.seen.push(view.sight(&pupil, &height_nm, defocus, &mut scratch));
            found.star.extend(star.as_ref().map(|s| s.sight(&pupil, &height_nm, defocus, &mut scratch)));
        }
        height_nm.fill(0.0);
        found.perfect = view.sight(&pupil, &height_nm, 0.0, &mut scratch).contrast;
        found
    }
}

fn row(
    k: usize,
    diameter_mm: f64,
    light: &[(f64, f64)],
    strehl: &[Vec<f64>],
    peaks: &[Vec<NestedPeak>],
    all_sights: &[Sights],
    asked: &Asked<'_>,
) -> MaskRow {
    let (amplitude, light) = light[k];
    let (own, open) = (&strehl[k], &strehl[0]);
    let sights = &all_sights[k];
    let share = |of: &dyn Fn(f64, f64) -> bool| {
        own.iter().zip(open).filter(|(own, open)| of(**own, **open)).count() as f64 / own.len() as f64
    };
    let strehl = MaskValue::of(own);
    let shifts: Vec<f64> = peaks.iter().map(|row| row[k].focus_mm - row[0].focus_mm).collect();
    let wavelength_nm = asked.setting.wavelength_nm;
    let details = asked.options.details_arcsec().iter().enumerate();
    let contrast: Vec<MaskValue> = details
        .clone()
        .map(|(i, _)| MaskValue::of(&sights.seen.iter().map(|s| s.contrast[i]).collect::<Vec<f64>>()))
        .collect();
    let contrast_gain = details.clone().map(|(i, _)| {
        let pairs = sights.seen.iter().zip(&all_sights[0].seen);
        MaskValue::of(&pairs.map(|(own, open)| own.contrast[i] - open.contrast[i]).collect::<Vec<f64>>())
    });
    let contrast_gain = contrast_gain.collect();
    let seeing_contrast = asked.options.seeing.iter().flat_map(|air| {
        let left = |detail: &f64| air.transfer(1.0 / detail, wavelength_nm);
        details.clone().map(|(i, d)| contrast[i].times(left(d))).collect::<Vec<MaskValue>>()
    });
    let held = |i: usize| {
        let list: Vec<f64> = sights.star.iter().map(|s| s.held[i]).collect();
        (!list.is_empty()).then(|| MaskValue::of(&list))
    };
    let widths: Option<Vec<f64>> = sights.star.iter().map(|s| s.fwhm_arcsec).collect();
    MaskRow {
        diameter_mm,
        strehl,
        light,
        peak_brightness: strehl.times(amplitude * amplitude),
        core_light: strehl.times(light),
        focus_shift_mm: stats::quantile_weighted(&shifts, &vec![1.0; shifts.len()], 0.5).unwrap_or(0.0),
        cutoff_arcsec: wavelength_nm / NM_PER_MM / diameter_mm * ARCSEC_PER_RADIAN,
        fwhm_arcsec: widths.filter(|w| !w.is_empty()).map(|w| MaskValue::of(&w)),
        seeing_contrast: seeing_contrast.collect(),
        contrast_gain,
        contrast,
        airy_energy: held(0),
        own_airy_energy: held(1),
        probability_rises: Some(share(&|own, open| own >= open + asked.options.rise)),
        probability_brighter: Some(share(&|own, open| own * amplitude * amplitude > open)),
        holds: 0.0,
        error_estimate: QUADRATURE_ERROR,
    }
}
