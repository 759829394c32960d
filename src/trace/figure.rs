//! The figure made ready for a kernel: height and slope at any radius, and where its pieces join; and what is not
//! round, height and slopes at any point.

use std::sync::Arc;

use super::detail::Detail;
use super::height_map::MapSurface;
use crate::model::{CentralHill, EdgeRollOff, FigureLayer, Joined, RadialProfile, TurnedEdge, Zone};
use crate::numeric::spline::{CubicSpline, End};
use crate::numeric::zernike_sum::ZernikeSum;
use crate::units::NM_PER_MM;

/// A radius at which the integrand changes its character, so that a quadrature must stop there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Break {
    pub(crate) radius_mm: f64,
    /// Beyond the break the height grows as a power of the distance that is no whole number: a
    /// polynomial rule needs the distance's square root as its variable.
    pub(crate) fractional: bool,
}

/// All layers of a figure, in millimetres.
#[derive(Clone, Debug)]
pub(crate) struct Figure {
    /// Those that depend on the radius alone.
    layers: Vec<Layer>,
    uneven: Vec<Arc<Uneven>>,
    rim_mm: f64,
}

/// A layer that depends on both x and y.
#[derive(Clone, Debug)]
enum Uneven {
    /// Coefficients in mm, positions in radii of the clear aperture.
    Zernike(ZernikeSum),
    Map(MapSurface),
}

/// Beyond the clear aperture by more than this share of its radius the height is held; nearer, a layer runs on.
const BEYOND: f64 = 1e-9;

/// Where the panels of a roll-off end, in reaches from the rim.
pub(crate) const ROLL_OFF_PANELS: [f64; 4] = [1.5, 4.0, 8.0, 16.0];

#[derive(Clone, Debug)]
enum Layer {
    Edge {
        start_mm: f64,
        width_mm: f64,
        drop_mm: f64,
        power: f64,
    },
    RollOff {
        rim_mm: f64,
        reach_mm: f64,
        drop_mm: f64,
    },
    Step {
        start_mm: f64,
        drop_mm: f64,
    },
    Zone {
        radius_mm: f64,
        half_width_mm: f64,
        height_mm: f64,
    },
    Hill {
        radius_mm: f64,
        height_mm: f64,
        power: f64,
    },
    Spline(CubicSpline),
    /// Squared radii and heights of the points.
    StraightInArea {
        square_mm2: Vec<f64>,
        height_mm: Vec<f64>,
    },
}

impl Figure {
    pub(crate) fn new(layers: &[FigureLayer], rim_mm: f64) -> Self {
        Self::made(layers, rim_mm, &[])
    }

    /// Other layers on the same mirror; those that are not round and stand among `was`, the layers of this one, are shared.
    pub(super) fn changed(&self, was: &[FigureLayer], layers: &[FigureLayer]) -> Self {
        let uneven = was.iter().filter(|layer| !is_round(layer));
        let known: Vec<_> = uneven.zip(&self.uneven).collect();
        Self::made(layers, self.rim_mm, &known)
    }

    fn made(layers: &[FigureLayer], rim_mm: f64, known: &[(&FigureLayer, &Arc<Uneven>)]) -> Self {
        let mut figure = Self { layers: Vec::new(), uneven: Vec::new(), rim_mm };
        let to_mm = |nm: f64| nm / NM_PER_MM;
        for layer in layers {
            if let Some((_, made)) = known.iter().find(|(known, _)| *known == layer) {
                figure.uneven.push(Arc::clone(made));
                continue;
            }
            let mut add = |layer| figure.uneven.push(Arc::new(layer));
            match layer {
                FigureLayer::TurnedEdge(edge) => figure.layers.push(edge_layer(edge, rim_mm)),
                FigureLayer::EdgeRollOff(edge) => figure.layers.push(roll_off_layer(edge, rim_mm)),
                FigureLayer::EdgeStep(step) => figure.layers.push(Layer::Step {
                    start_mm: rim_mm - step.width_mm,
                    drop_mm: step.drop_nm / NM_PER_MM,
                }),
                FigureLayer::Zone(zone) => figure.layers.push(zone_layer(zone)),
                FigureLayer::CentralHill(hill) => figure.layers.push(hill_layer(hill)),
                FigureLayer::RadialProfile(profile) => figure.layers.push(profile_layer(profile)),
                FigureLayer::ZernikeTerms(terms) => {
                    let in_mm = |(n, m, height_nm)| (n, m, height_nm / NM_PER_MM);
                    let terms: Vec<_> = terms.orders_nm().into_iter().map(in_mm).collect();
                    add(Uneven::Zernike(ZernikeSum::new(&terms)));
                }
                FigureLayer::HeightMap(map) => {
                    add(Uneven::Map(MapSurface::new(map.net(), to_mm, rim_mm)));
                }
                FigureLayer::Ripple(ripple) => {
                    let drawn = ripple.drawn(2.0 * rim_mm);
                    add(Uneven::Map(MapSurface::new(drawn.net(), to_mm, rim_mm)));
                }
            }
        }
        figure
    }

    /// Whether there is no layer at all.
    pub(crate) fn is_empty(&self) -> bool {
        self.layers.is_empty() && self.uneven.is_empty()
    }

    /// Whether height and slope depend on the radius alone.
    #[inline]
    pub(crate) fn is_round(&self) -> bool {
        self.uneven.is_empty()
    }

    /// How fine the part is that is not round; none for a round figure.
    pub(crate) fn detail(&self) -> Option<Detail> {
        let of_layer = |layer: &Arc<Uneven>| match layer.as_ref() {
            Uneven::Zernike(sum) => Detail::of_terms(sum),
            Uneven::Map(map) => Detail { pixel_mm: Some(map.pixel_mm()), ..Detail::default() },
        };
        self.uneven.iter().map(of_layer).reduce(Detail::finer)
    }

    /// What is not round: height and slopes along x and y, mm, mm/mm.
    pub(crate) fn uneven_height_and_slopes(&self, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let r_mm = x_mm.hypot(y_mm);
        if r_mm <= self.rim_mm * (1.0 + BEYOND) {
            return self.sum_of_uneven(x_mm, y_mm);
        }
        // Held along the radius: the height of the rim, and of its slope what goes around.
        let (ux, uy, inward) = (x_mm / r_mm, y_mm / r_mm, self.rim_mm / r_mm);
        let (height, [sx, sy]) = self.sum_of_uneven(self.rim_mm * ux, self.rim_mm * uy);
        let around = inward * (sy * ux - sx * uy);
        (height, [-around * uy, around * ux])
    }

    fn sum_of_uneven(&self, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        self.uneven.iter().fold((0.0, [0.0; 2]), |(h, [sx, sy]), layer| {
            let (dh, [dx, dy]) = match layer.as_ref() {
                Uneven::Zernike(sum) => {
                    let (h, slopes) = sum.value_and_slopes(x_mm / self.rim_mm, y_mm / self.rim_mm);
                    (h, slopes.map(|s| s / self.rim_mm))
                }
                Uneven::Map(map) => map.height_and_slopes(x_mm, y_mm),
            };
            (h + dh, [sx + dx, sy + dy])
        })
    }

    /// Height and slope of the round part at a radius: mm, mm/mm.
    #[inline]
    pub(crate) fn height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        self.layers.iter().fold((0.0, 0.0), |(h, s), layer| {
            let (dh, ds) = layer.height_and_slope(r_mm);
            (h + dh, s + ds)
        })
    }

    /// Where the pieces join, in no order; some may lie outside the mirror.
    pub(crate) fn breaks(&self) -> Vec<Break> {
        self.layers.iter().flat_map(Layer::breaks).collect()
    }

    /// Those of the breaks at which the height itself jumps.
    pub(crate) fn jumps_mm(&self) -> impl Iterator<Item = f64> {
        self.layers.iter().filter_map(|layer| match layer {
            Layer::Step { start_mm, .. } => Some(*start_mm),
            _ => None,
        })
    }
}

/// Whether a layer depends on the radius alone.
fn is_round(layer: &FigureLayer) -> bool {
    match layer {
        FigureLayer::TurnedEdge(_)
        | FigureLayer::EdgeRollOff(_)
        | FigureLayer::EdgeStep(_)
        | FigureLayer::Zone(_)
        | FigureLayer::CentralHill(_)
        | FigureLayer::RadialProfile(_) => true,
        FigureLayer::ZernikeTerms(_) | FigureLayer::HeightMap(_) | FigureLayer::Ripple(_) => false,
    }
}

fn edge_layer(edge: &TurnedEdge, rim_mm: f64) -> Layer {
    Layer::Edge {
        start_mm: rim_mm - edge.width_mm,
        width_mm: edge.width_mm,
        drop_mm: edge.drop_nm / NM_PER_MM,
        power: edge.power,
    }
}

fn roll_off_layer(edge: &EdgeRollOff, rim_mm: f64) -> Layer {
    Layer::RollOff { rim_mm, reach_mm: edge.reach_mm, drop_mm: edge.drop_nm / NM_PER_MM }
}

fn hill_layer(hill: &CentralHill) -> Layer {
    Layer::Hill { radius_mm: hill.radius_mm, height_mm: hill.height_nm / NM_PER_MM, power: hill.power }
}

fn zone_layer(zone: &Zone) -> Layer {
    Layer::Zone {
        radius_mm: zone.radius_mm,
        half_width_mm: zone.half_width_mm,
        height_mm: zone.height_nm / NM_PER_MM,
    }
}

fn profile_layer(profile: &RadialProfile) -> Layer {
    let height_mm: Vec<f64> = profile.height_nm.iter().map(|h| h / NM_PER_MM).collect();
    if profile.joined == Joined::StraightInArea {
        return Layer::StraightInArea {
            square_mm2: profile.radius_mm.iter().map(|r| r * r).collect(),
            height_mm,
        };
    }
    let spline = CubicSpline::new(&profile.radius_mm, &height_mm, End::Slope(0.0), End::Natural);
    Layer::Spline(spline.unwrap_or_else(|_| unreachable!("a checked profile ascends")))
}

impl Layer {
    #[inline]
    fn height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        match self {
            Self::Edge { start_mm, width_mm, drop_mm, power } => {
                let depth = (r_mm - start_mm) / width_mm;
                if depth <= 0.0 {
                    return (0.0, 0.0);
                }
                // A parabola, the usual edge, needs no power.
                let steepness = if power - 2.0 == 0.0 { depth } else { depth.powf(power - 1.0) };
                (-drop_mm * depth * steepness, -drop_mm * power * steepness / width_mm)
            }
            Self::RollOff { rim_mm, reach_mm, drop_mm } => {
                let depth = (r_mm - rim_mm) / reach_mm;
                // Beyond the rim it runs on for one reach and is then held: an exponential knows no bound.
                let h = -drop_mm * depth.min(1.0).exp();
                (h, if depth < 1.0 { h / reach_mm } else { 0.0 })
            }
            Self::Step { start_mm, drop_mm } => (if r_mm > *start_mm { -drop_mm } else { 0.0 }, 0.0),
            Self::Hill { radius_mm, height_mm, power } => {
                let left = 1.0 - r_mm / radius_mm;
                if left <= 0.0 {
                    return (0.0, 0.0);
                }
                let steepness = if power - 2.0 == 0.0 { left } else { left.powf(power - 1.0) };
                (height_mm * left * steepness, -height_mm * power * steepness / radius_mm)
            }
            Self::Zone { radius_mm, half_width_mm, height_mm } => {
                let q = (r_mm - radius_mm) / half_width_mm;
                let h = height_mm * (-q * q).exp();
                (h, -2.0 * q * h / half_width_mm)
            }
            Self::Spline(spline) => spline.value_and_slope(r_mm),
            Self::StraightInArea { square_mm2, height_mm } => {
                let square = r_mm * r_mm;
                let next = square_mm2.partition_point(|s| *s <= square);
                if next == 0 || next == square_mm2.len() {
                    return (height_mm[next.saturating_sub(1)], 0.0);
                }
                let rate =
                    (height_mm[next] - height_mm[next - 1]) / (square_mm2[next] - square_mm2[next - 1]);
                (height_mm[next - 1] + rate * (square - square_mm2[next - 1]), 2.0 * r_mm * rate)
            }
        }
    }

    fn breaks(&self) -> Vec<Break> {
        let smooth = |radius_mm| Break { radius_mm, fractional: false };
        match self {
            Self::Edge { start_mm, power, .. } => {
                vec![Break { radius_mm: *start_mm, fractional: power.fract() != 0.0 }]
            }
            // What lies inward of the last one is below 2e-7 of the drop.
            Self::RollOff { rim_mm, reach_mm, .. } => {
                ROLL_OFF_PANELS.map(|k| smooth(rim_mm - k * reach_mm)).to_vec()
            }
            Self::Step { start_mm, .. } => vec![smooth(*start_mm)],
            Self::Hill { radius_mm, power, .. } => {
                // The tip is a cone, no polynomial of r^2: the distance from it is the variable.
                let mut breaks = vec![Break { radius_mm: 0.0, fractional: true }, smooth(*radius_mm)];
                // A power that is no whole number ends at the hill's foot: panels that shrink toward it.
                if power.fract() != 0.0 {
                    breaks.extend([0.97, 0.999].map(|share| smooth(share * radius_mm)));
                }
                breaks
            }
            // A Gaussian wants panels of its own: measured best at 1.2 and 3 half widths.
            Self::Zone { radius_mm, half_width_mm, .. } => {
                [-3.0, -1.2, 1.2, 3.0].map(|k| smooth(radius_mm + k * half_width_mm)).to_vec()
            }
            Self::Spline(spline) => spline.knots().iter().copied().map(smooth).collect(),
            Self::StraightInArea { square_mm2, .. } => square_mm2.iter().map(|s| smooth(s.sqrt())).collect(),
        }
    }
}
