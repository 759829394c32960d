//! What the works make of the train, and which figure the mirror then has.

use super::work::{RefigureAfter, Work, WorkChange};
use crate::error::{Error, Problem, Result, Severity};
use crate::judge::changed_train::with_primary;
use crate::judge::evidence::Evidence;
use crate::model::{Coating, Diagonal, Primary, Train};
use crate::shop_test::RoundRing;
use crate::trace::obstruction_ratio;
use crate::units::NM_PER_MM;
use crate::wave::RadialGrid;

/// Apertures nearer than this, relative, are one; radii of curvature within 1 %.
const SAME_APERTURE: f64 = 1e-6;
const SAME_RADIUS: f64 = 0.01;

/// Which figure the mirror has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FigureOf {
    /// That of the evidence, or of the train as it is.
    Now,
    /// That of a train that came with a work.
    Own,
    /// That which a refigure leaves, by the number of the work.
    Work(usize),
}

/// The train after some works.
#[derive(Clone, Debug)]
pub(super) struct State {
    pub(super) train: Train,
    pub(super) figure: FigureOf,
}

/// The train as it is, with a figure that stands for what is known of it.
#[derive(Clone, Debug)]
pub(super) struct Ground<'a> {
    pub(super) given: &'a Train,
    pub(super) now: Train,
    pub(super) evidence: Option<&'a Evidence>,
    pub(super) works: &'a [Work],
}

/// A shape of spherical aberration on the mirror's own circle: height at the rim for each nm of wavefront RMS.
pub(super) fn rim_nm_per_rms(train: &Train, wavelength_nm: f64) -> f64 {
    let rim_mm = train.primary().clear_aperture_mm / 2.0;
    let grid = RadialGrid::new(rim_mm, &[]);
    let shadow_mm = shadow_radius_mm(train);
    let radius_mm = 2.0 * train.primary().focal_length_mm;
    let ring = RoundRing::new(&grid, (shadow_mm, rim_mm), radius_mm, wavelength_nm, &[]);
    1.0 / ring.rms_nm(&grid, |r| (r / rim_mm).powi(4))
}

/// Radius of the shadow in the middle of the mirror, mm.
pub(super) fn shadow_radius_mm(train: &Train) -> f64 {
    obstruction_ratio(train) * open_radius_mm(train)
}

/// Half of the diameter that gathers light, mm.
pub(super) fn open_radius_mm(train: &Train) -> f64 {
    train.primary().open_diameter_mm() / 2.0
}

/// The primary as a paraboloid but for a conic whose fourth order stands so high at the rim, nm of glass.
fn off_paraboloid(primary: &Primary, rim_nm: f64) -> Primary {
    // The sagitta's fourth order is (1 + K) r^4/(8 R^3).
    let (rim_mm, radius_mm) = (primary.clear_aperture_mm / 2.0, 2.0 * primary.focal_length_mm);
    let conic = -1.0 + rim_nm / NM_PER_MM * 8.0 * radius_mm.powi(3) / rim_mm.powi(4);
    Primary { conic, figure: Vec::new(), ..primary.clone() }
}

/// The primary with the figure that stands for a piece of evidence.
fn with_evidence(primary: &Primary, evidence: &Evidence, rim_nm_per_rms: f64) -> Primary {
    match evidence {
        Evidence::Readings(figure) => {
            Primary { conic: -1.0, figure: vec![figure.as_layer().into()], ..primary.clone() }
        }
        paper => off_paraboloid(primary, paper.rms_nm().value * rim_nm_per_rms),
    }
}

impl<'a> Ground<'a> {
    /// Errors: [`Error::Input`] for evidence of another mirror, for works that cannot be, and names that stand twice.
    pub(super) fn new(
        train: &'a Train,
        evidence: Option<&'a Evidence>,
        works: &'a [Work],
        wavelength_nm: f64,
    ) -> Result<Self> {
        let now = match evidence {
            Some(evidence) => {
                check_mirror(train, evidence, "evidence")?;
                let per_rms = rim_nm_per_rms(train, wavelength_nm);
                with_primary(train, with_evidence(train.primary(), evidence, per_rms))?
            }
            None => train.clone(),
        };
        for (i, work) in works.iter().enumerate() {
            work.check_within(&format!("works[{i}]."))?;
            if let Some(first) = works[..i].iter().position(|other| other.name == work.name) {
                let (found, allowed) = (&work.name, format!("another name than that of works[{first}]"));
                return Err(Error::input(
                    format!("works[{i}].name"),
                    found,
                    allowed,
                    "one work given twice?",
                ));
            }
            if let WorkChange::Refigure { after: RefigureAfter::Measured(after), .. } = &work.change {
                check_mirror(train, after, &format!("works[{i}].after"))?;
            }
        }
        Ok(Self { given: train, now, evidence, works })
    }

    /// The train after some of the works, by their numbers.
    pub(super) fn after(&self, works: &[usize], wavelength_nm: f64) -> Result<State> {
        let mut state = State { train: self.now.clone(), figure: FigureOf::Now };
        let mut order = works.to_vec();
        order.sort_by_key(|&i| place(&self.works[i].change));
        for i in order {
            state = self.changed(&state, i, wavelength_nm).map_err(|error| of_work(error, i))?;
        }
        Ok(state)
    }

    fn changed(&self, state: &State, i: usize, wavelength_nm: f64) -> Result<State> {
        let mut parts = state.train.to_parts();
        let mut figure = state.figure;
        match &self.works[i].change {
            WorkChange::Other { train } => {
                parts = train.to_parts();
                let (theirs, ours) = (train.primary(), self.given.primary());
                let is_same_glass = theirs.clear_aperture_mm.to_bits() == ours.clear_aperture_mm.to_bits()
                    && theirs.figure == ours.figure
                    && theirs.conic.to_bits() == ours.conic.to_bits();
                if is_same_glass {
                    let now = self.now.primary();
                    parts.primary.conic = now.conic;
                    parts.primary.figure.clone_from(&now.figure);
                } else {
                    figure = FigureOf::Own;
                }
            }
            WorkChange::Refigure { after, recoat_reflectance } => {
                let per_rms = || rim_nm_per_rms(self.given, wavelength_nm);
                let mut primary = match after {
                    RefigureAfter::PerfectParaboloid => off_paraboloid(&parts.primary, 0.0),
                    RefigureAfter::PromisedRmsNm { least, greatest } => {
                        off_paraboloid(&parts.primary, 0.5 * (least + greatest) * per_rms())
                    }
                    RefigureAfter::Measured(after) => with_evidence(&parts.primary, after, per_rms()),
                };
                if let Some(reflectance) = recoat_reflectance {
                    primary.coating = Coating::new(*reflectance);
                }
                parts.primary = primary;
                figure = FigureOf::Work(i);
            }
            WorkChange::Recoat { primary_reflectance, diagonal_reflectance } => {
                if let Some(reflectance) = primary_reflectance {
                    parts.primary.coating = Coating::new(*reflectance);
                }
                if let Some(reflectance) = diagonal_reflectance {
                    let diagonal = parts.diagonal.as_mut().ok_or_else(no_diagonal)?;
                    (diagonal.reflectance, diagonal.film) = (*reflectance, None);
                }
            }
            WorkChange::ChangeDiagonal { minor_axis_mm, reflectance } => {
                let old = parts.diagonal.ok_or_else(no_diagonal)?;
                let new = Diagonal::new(*minor_axis_mm);
                parts.diagonal = Some(match reflectance {
                    Some(reflectance) => new.reflectance(*reflectance),
                    None => Diagonal { film: old.film, ..new.reflectance(old.reflectance) },
                });
            }
            WorkChange::Mask { diameter_mm } => parts.primary.mask_diameter_mm = Some(*diameter_mm),
        }
        Ok(State { train: parts.build()?, figure })
    }

    /// Why a work does nothing at all, if it does.
    pub(super) fn is_idle(&self, i: usize) -> Option<String> {
        let open_mm = self.now.primary().clear_aperture_mm;
        match &self.works[i].change {
            WorkChange::Mask { diameter_mm } if *diameter_mm >= open_mm => {
                Some(format!("it is no smaller than the clear aperture of {open_mm} mm and hides nothing"))
            }
            _ => None,
        }
    }
}

/// Whole trains first, then what is changed in them.
fn place(change: &WorkChange) -> u8 {
    match change {
        WorkChange::Other { .. } => 0,
        WorkChange::Refigure { .. } => 1,
        WorkChange::ChangeDiagonal { .. } => 2,
        WorkChange::Recoat { .. } => 3,
        WorkChange::Mask { .. } => 4,
    }
}

fn no_diagonal() -> Error {
    Error::input("diagonal", "nothing", "a train with a diagonal", "")
}

/// The same error with the work before the names of its fields.
pub(super) fn of_work(error: Error, i: usize) -> Error {
    match error {
        Error::Input(problems) => Error::Input(
            problems
                .into_iter()
                .map(|p| Problem { severity: Severity::Fault, field: format!("works[{i}].{}", p.field), ..p })
                .collect(),
        ),
        other => other,
    }
}

fn check_mirror(train: &Train, evidence: &Evidence, field: &str) -> Result<()> {
    let (tested, own) = (evidence.clear_aperture_mm(), train.primary().clear_aperture_mm);
    if (tested - own).abs() > SAME_APERTURE * own {
        let allowed = format!("the {own} mm of the train's primary");
        let cause = "another mirror, or its glass diameter for its clear aperture?";
        return Err(Error::input(format!("{field}.clear_aperture_mm"), tested, allowed, cause));
    }
    let own_mm = 2.0 * train.primary().focal_length_mm;
    if let Some(tested_mm) = evidence.radius_of_curvature_mm()
        && (tested_mm - own_mm).abs() > SAME_RADIUS * own_mm
    {
        let allowed = format!("within 1 % of the {own_mm} mm of the train's primary");
        let cause = "evidence of another mirror?";
        return Err(Error::input(format!("{field}.radius_of_curvature_mm"), tested_mm, allowed, cause));
    }
    Ok(())
}
