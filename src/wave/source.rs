//! Where a wavefront comes from, and how it looks from a point of the image.
//!
//! For a hit point Q on the mirror, light travelling along d and a reference point P in the image the
//! wavefront is W = -(d.Q + |P - Q|): positive where the wave is ahead. For a lamp at S in the place of the star, |Q - S| stands
//! for d.Q. Its conjugate coordinate in the
//! image is the transverse part of the straight line m = (P - Q)/|P - Q|, so that a small step of P
//! changes W by -m.step. No reference sphere and no reflection is needed (Fermat's principle; exact to
//! 6e-8 of the peak at 30' and f/4.9, own check against the full path at every pixel).

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::density::{Looks, SlopeTable};
use super::path::{dot, ideal_line, line_of_sight};
use super::places::rates_of_hits;
use super::spectrum::Spectrum;
use super::terms::Terms;
use crate::error::Result;
use crate::model::Train;
use crate::numeric::simd::Instructions;
use crate::trace::{Density, Detail, Nodes, Prepared, Star, StarBeam, SurfacePoint};
use crate::units::NM_PER_MM;

/// What makes the wavefront.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(from = "SourceRecipe", into = "SourceRecipe")]
pub(crate) enum Source {
    /// A star seen through a train.
    Star { prepared: Prepared, star: Star },
    /// Zernike terms on a pupil of unit radius.
    Terms(Terms),
}

/// A source as it is saved.
#[derive(Serialize, Deserialize)]
enum SourceRecipe {
    Star { train: Box<Train>, star: Star },
    Terms(Terms),
}

impl From<SourceRecipe> for Source {
    fn from(recipe: SourceRecipe) -> Self {
        match recipe {
            SourceRecipe::Star { train, star } => Self::Star { prepared: Prepared::new(&train), star },
            SourceRecipe::Terms(terms) => Self::Terms(terms),
        }
    }
}

impl From<Source> for SourceRecipe {
    fn from(source: Source) -> Self {
        match source {
            Source::Star { prepared, star } => Self::Star { train: Box::new(prepared.train().clone()), star },
            Source::Terms(terms) => Self::Terms(terms),
        }
    }
}

impl Source {
    /// The same in the light of a wavelength: films of metal made ready for it.
    pub(crate) fn in_colour(self, wavelength_nm: f64) -> Result<Self> {
        Ok(match self {
            Self::Star { prepared, star } => {
                Self::Star { prepared: prepared.in_colour(wavelength_nm)?, star }
            }
            terms @ Self::Terms(_) => terms,
        })
    }

    /// Refuses light in which a metal is not known.
    pub(crate) fn check_colours(&self, spectrum: &Spectrum) -> Result<()> {
        match self {
            Self::Star { prepared, .. } => {
                let lines: Vec<f64> = spectrum.lines().iter().map(|line| line.0).collect();
                prepared.check_colours(&lines)
            }
            Self::Terms(_) => Ok(()),
        }
    }

    /// Whether the wavefront is another one in every colour.
    pub(crate) fn has_film(&self) -> bool {
        matches!(self, Self::Star { prepared, .. } if prepared.has_film())
    }
    /// Radius of the pupil in the units of its nodes: mm for a star, 1 for terms.
    pub(crate) fn rim(&self) -> f64 {
        match self {
            Self::Star { prepared, .. } => prepared.open_radius_mm(),
            Self::Terms(_) => 1.0,
        }
    }

    /// Focal ratio of the light that makes the image; terms alone may have none.
    pub(crate) fn focal_ratio(&self) -> Option<f64> {
        match self {
            Self::Star { prepared, .. } => Some(prepared.focal_ratio()),
            Self::Terms(terms) => terms.focal_ratio,
        }
    }

    /// The distance that turns lengths in the image into angles on the sky, mm: the focal length, or how far from the vertex
    /// a lamp's image lies; none for terms.
    pub(crate) fn image_distance_mm(&self) -> Option<f64> {
        match self {
            Self::Star { .. } => Some(self.gaussian_mm()[2]),
            Self::Terms(_) => None,
        }
    }

    /// Distance of the image over the diameter that gathers light: larger than the focal ratio for a lamp nearby.
    pub(crate) fn working_focal_ratio(&self) -> Option<f64> {
        match self {
            Self::Star { prepared, .. } => Some(self.gaussian_mm()[2] / (2.0 * prepared.open_radius_mm())),
            Self::Terms(terms) => terms.focal_ratio,
        }
    }

    pub(crate) fn obstruction_ratio(&self) -> f64 {
        match self {
            Self::Star { prepared, .. } => prepared.obstruction_ratio(),
            Self::Terms(terms) => terms.obstruction_ratio,
        }
    }

    /// Whether light passes a point of the pupil, in the units of the nodes.
    pub(crate) fn is_lit(&self, x: f64, y: f64) -> bool {
        match self {
            Self::Star { prepared, star } => prepared.passes(*star, x, y),
            Self::Terms(terms) => (terms.obstruction_ratio..=1.0).contains(&x.hypot(y)),
        }
    }

    /// The image point of Gaussian optics, from which reference points are counted: mm.
    pub(crate) fn gaussian_mm(&self) -> [f64; 3] {
        match self {
            Self::Star { prepared, star } => star.gaussian_mm(prepared.focal_length_mm()),
            Self::Terms(_) => [0.0; 3],
        }
    }

    /// The pupil sampled at the nodes that `density` asks for.
    pub(crate) fn pupil(&self, density: &dyn Density) -> Pupil {
        match self {
            Self::Star { prepared, star } => {
                Pupil::of_star(prepared, *star, Nodes::new(prepared, *star, density))
            }
            Self::Terms(terms) => {
                Pupil::of_terms(terms, Nodes::annulus(terms.obstruction_ratio, 1.0, density))
            }
        }
    }

    /// The pupil along one radius, each node standing for its ring, where all is the same around the axis on which the reference
    /// point lies.
    pub(crate) fn meridian(&self, reference_mm: [f64; 3], density: &dyn Density) -> Option<Pupil> {
        // A ten-thousandth of a nanometre beside the axis is on it: the picture moves by as much.
        if reference_mm[0].hypot(reference_mm[1]) > 1e-10 {
            return None;
        }
        match self {
            Self::Star { prepared, star } => {
                Some(Pupil::of_star(prepared, *star, Nodes::meridian(prepared, *star, density)?))
            }
            Self::Terms(terms) => terms.are_round().then(|| {
                Pupil::of_terms(terms, Nodes::meridian_of_annulus(terms.obstruction_ratio, 1.0, density))
            }),
        }
    }

    /// The pupil at single points of the mirror, in the units of the nodes; weights are 0.
    pub(crate) fn pupil_at(&self, points: &[[f64; 2]]) -> Pupil {
        match self {
            Self::Star { prepared, star } => {
                let nodes = Nodes::at(points.iter().map(|[x, y]| prepared.surface(*x, *y)));
                Pupil::of_star(prepared, *star, nodes)
            }
            Self::Terms(terms) => {
                Pupil::of_terms(terms, Nodes::at(points.iter().copied().map(SurfacePoint::level)))
            }
        }
    }

    /// Points along the rim, the shadow's edge and every break, where extremes of the wavefront may lie.
    pub(crate) fn edge_points(&self) -> Vec<[f64; 2]> {
        match self {
            Self::Star { prepared, star } => prepared.edge_points(*star),
            Self::Terms(terms) => terms.edge_points(),
        }
    }

    /// How fine the wavefront is beyond what its slopes tell; all 0 for a round figure.
    pub(crate) fn detail(&self) -> Detail {
        match self {
            Self::Star { prepared, .. } => prepared.detail().unwrap_or_default(),
            Self::Terms(_) => Detail::default(),
        }
    }

    /// How fine wavefront and amplitude together are.
    pub(crate) fn light_detail(&self) -> Detail {
        match self {
            Self::Star { prepared, .. } => prepared.light_detail().unwrap_or_default(),
            Self::Terms(_) => Detail::default(),
        }
    }

    /// Whether heights differ between nodes of one place that count different patches.
    pub(crate) fn has_patches_of_metal(&self) -> bool {
        matches!(self, Self::Star { prepared, .. } if prepared.coat().discs().iter().any(|d| d.is_metal))
    }

    /// How well a Strehl or an intensity must come out, where `promised` is what smooth surfaces allow.
    pub(crate) fn tolerance(&self, promised: f64) -> Tolerance {
        if self.light_detail().pixel_mm.is_none() {
            return Tolerance { wanted: promised, accepted: promised };
        }
        Tolerance { wanted: 10.0 * promised, accepted: 1000.0 * promised }
    }

    /// The steepest phase slopes, panel by panel, as seen from any of some reference points.
    pub(crate) fn slopes(&self, references: &[[f64; 3]]) -> SlopeTable {
        let from = |seen_from: &dyn Fn([f64; 3]) -> SlopeTable| {
            let (first, others) = (seen_from(references[0]), &references[1..]);
            others.iter().fold(first, |steepest, reference| steepest.steeper(&seen_from(*reference)))
        };
        match self {
            Self::Star { prepared, star } => {
                let looks = Looks::new(prepared, *star);
                from(&|reference| looks.seen_from(reference))
            }
            Self::Terms(terms) => from(&|reference| SlopeTable::of_terms(terms, reference)),
        }
    }
}

/// Radii of the outline are good to 1e-11 of the rim's: where less than this share is left of the light, none is.
const DARK: f64 = 1e-9;

/// The estimated error that ends a refinement.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Tolerance {
    /// Good enough at once.
    pub(crate) wanted: f64,
    /// Good enough where nothing finer is tried. Larger for a map of heights: glass that is rough from pixel to pixel
    /// has no smooth integrand, and is not known any better.
    pub(crate) accepted: f64,
}

/// The lit pupil sampled at nodes, independent of the point from which it is seen.
#[derive(Clone, Debug)]
pub(crate) struct Pupil {
    /// Positions on the mirror, mm (unit radius for terms).
    pub(crate) x: Vec<f64>,
    pub(crate) y: Vec<f64>,
    /// The beam's cross-section at each node; crescents are negative.
    pub(crate) weight: Vec<f64>,
    /// Square root of the reflectance.
    pub(crate) amplitude: Vec<f64>,
    /// Relative error of kept or dropped samples; none for a quadrature.
    pub(crate) sampling_error: Option<f64>,
    body: Body,
    /// What the pupil is made again from in another colour; none where it is the same in all.
    recipe: Option<Box<Recipe>>,
}

/// A pupil behind metal whose thickness counts.
#[derive(Clone, Debug)]
struct Recipe {
    prepared: Prepared,
    star: Star,
    /// How many of the coating's patches each node counts.
    level: Vec<usize>,
}

#[derive(Clone, Debug)]
enum Body {
    /// Hit points, the path d.Q up to them, and the mirror's slopes there.
    Star { hits_mm: Vec<[f64; 3]>, down_mm: Vec<f64>, slopes: Vec<[f64; 2]>, beams: Vec<f64> },
    /// The wavefront as given, for an ideal image at this focal ratio.
    Terms { path_nm: Vec<f64>, focal_ratio: f64 },
}

/// A pupil seen from a reference point.
#[derive(Clone, Debug)]
pub(crate) struct View {
    /// The wavefront, nm, piston left in.
    pub(crate) path_nm: Vec<f64>,
    /// The unit vector from each node to the reference point.
    pub(crate) toward: Vec<[f64; 3]>,
}

impl Pupil {
    fn of_star(prepared: &Prepared, star: Star, nodes: Nodes) -> Self {
        let beam = StarBeam::new(star);
        let points = || nodes.points.iter();
        let body = Body::Star {
            hits_mm: points().map(|point| point.position_mm).collect(),
            down_mm: points().map(|point| beam.down_mm(point.position_mm)).collect(),
            slopes: points().map(|point| point.slope).collect(),
            beams: points().map(|point| beam.cross_section(point)).collect(),
        };
        let [x, y] = nodes.columns();
        let sampling_error = nodes.sampling_error();
        let recipe = prepared
            .has_film()
            .then(|| Box::new(Recipe { prepared: prepared.clone(), star, level: nodes.level }));
        Self { sampling_error, recipe, x, y, weight: nodes.weight_mm2, amplitude: nodes.amplitude, body }
    }

    fn of_terms(terms: &Terms, nodes: Nodes) -> Self {
        let [x, y] = nodes.columns();
        let path_nm = x.iter().zip(&y).map(|(&x, &y)| terms.path_nm(x, y)).collect();
        Self {
            amplitude: nodes.amplitude,
            x,
            y,
            weight: nodes.weight_mm2,
            sampling_error: None,
            recipe: None,
            // Without a focal ratio there is no image; the lines of sight are then never used.
            body: Body::Terms { path_nm, focal_ratio: terms.focal_ratio.unwrap_or(10.0) },
        }
    }

    /// The same nodes in the light of another wavelength, which has passed its check.
    pub(crate) fn in_colour(&self, wavelength_nm: f64) -> Cow<'_, Self> {
        let Some(Recipe { prepared, star, level }) = self.recipe.as_deref() else {
            return Cow::Borrowed(self);
        };
        if prepared.is_of_colour(wavelength_nm) {
            return Cow::Borrowed(self);
        }
        let Ok(coloured) = prepared.in_colour(wavelength_nm) else {
            unreachable!("the spectrum was checked against the metal")
        };
        let places = self.x.iter().zip(&self.y).map(|(x, y)| [*x, *y]);
        let nodes = Nodes::again(&coloured, places, &self.weight, level);
        Cow::Owned(Self { sampling_error: self.sampling_error, ..Self::of_star(&coloured, *star, nodes) })
    }

    /// Whether the pupil is another one in every colour.
    pub(crate) fn has_film(&self) -> bool {
        self.recipe.is_some()
    }

    pub(crate) fn len(&self) -> usize {
        self.x.len()
    }

    /// Whether no light is left: no nodes, or as much taken away as was laid down.
    pub(crate) fn is_dark(&self) -> bool {
        let (left, laid): (f64, f64) =
            self.weight.iter().fold((0.0, 0.0), |(left, laid), w| (left + w, laid + w.max(0.0)));
        left <= DARK * laid
    }

    /// The wavefront and the lines of sight from a reference point.
    pub(crate) fn seen_from(&self, reference_mm: [f64; 3]) -> View {
        match &self.body {
            Body::Star { hits_mm, down_mm, .. } => {
                let (mut path_nm, mut toward) =
                    (Vec::with_capacity(self.len()), Vec::with_capacity(self.len()));
                for (hit, down) in hits_mm.iter().zip(down_mm) {
                    let (distance, line) = line_of_sight(*hit, reference_mm);
                    path_nm.push(-(down + distance) * NM_PER_MM);
                    toward.push(line);
                }
                View { path_nm, toward }
            }
            Body::Terms { path_nm, focal_ratio } => {
                let toward: Vec<[f64; 3]> =
                    self.x.iter().zip(&self.y).map(|(&x, &y)| ideal_line(x, y, *focal_ratio)).collect();
                let moved = |line: &[f64; 3]| dot(line, &reference_mm) * NM_PER_MM;
                let path_nm = path_nm.iter().zip(&toward).map(|(w, line)| w - moved(line)).collect();
                View { path_nm, toward }
            }
        }
    }

    /// What [`Pupil::seen_from`] tells of the image, column by column: the rates along and across, which are the conjugate
    /// coordinate with the other sign, and the wavefront, nm.
    pub(crate) fn rates(&self, set: Instructions, reference_mm: [f64; 3]) -> [Vec<f64>; 3] {
        match &self.body {
            Body::Star { hits_mm, down_mm, .. } => {
                let [mut along, mut across, mut path_nm] = [0; 3].map(|_| vec![0.0; self.len()]);
                let found = [&mut along[..], &mut across[..], &mut path_nm[..]];
                rates_of_hits(set, hits_mm, down_mm, reference_mm, NM_PER_MM, found);
                [along, across, path_nm]
            }
            Body::Terms { .. } => {
                let View { path_nm, toward } = self.seen_from(reference_mm);
                [toward.iter().map(|m| -m[0]).collect(), toward.iter().map(|m| -m[1]).collect(), path_nm]
            }
        }
    }

    /// Area of the conjugate coordinate (the transverse part of the lines of sight) for a unit of weight.
    pub(crate) fn spread(&self, reference_mm: [f64; 3]) -> Vec<f64> {
        match &self.body {
            Body::Star { hits_mm, slopes, beams, .. } => {
                let spread = |((hit, slope), beam): ((&[f64; 3], &[f64; 2]), &f64)| {
                    let (distance, line) = line_of_sight(*hit, reference_mm);
                    // The line turns by -(t - m (m.t))/distance when the hit point moves along t.
                    let turn = |tangent: [f64; 3]| {
                        let inward = dot(&line, &tangent);
                        [0, 1].map(|i| -(tangent[i] - line[i] * inward) / distance)
                    };
                    let (u, v) = (turn([1.0, 0.0, slope[0]]), turn([0.0, 1.0, slope[1]]));
                    (u[0] * v[1] - u[1] * v[0]).abs() / beam
                };
                hits_mm.iter().zip(slopes).zip(beams).map(spread).collect()
            }
            Body::Terms { focal_ratio, .. } => vec![0.25 / (focal_ratio * focal_ratio); self.len()],
        }
    }
}
