//! The mirror's surface: a conic in closed form, and the figure on it.

use std::sync::Arc;

use super::coat::FilmSurface;
use super::detail::Detail;
use super::figure::{Break, Figure};
use crate::model::{FigureLayer, Primary};

/// The reflecting surface of the primary, z(x, y) in millimetres.
#[derive(Clone, Debug)]
pub(crate) struct Mirror {
    curvature_per_mm: f64,
    /// 1 + conic constant: 0 for the paraboloid.
    shape: f64,
    figure: Arc<Figure>,
    /// The metal on the glass, where its thickness counts: light turns around above the glass or below.
    film: Option<Arc<FilmSurface>>,
}

/// A point of the surface, with the slopes there.
#[derive(Clone, Copy, Debug)]
pub(crate) struct SurfacePoint {
    pub(crate) position_mm: [f64; 3],
    /// dz/dx and dz/dy.
    pub(crate) slope: [f64; 2],
}

impl SurfacePoint {
    /// A point of the xy plane.
    pub(crate) fn level([x_mm, y_mm]: [f64; 2]) -> Self {
        Self { position_mm: [x_mm, y_mm, 0.0], slope: [0.0; 2] }
    }

    /// The point with something more on it: height, mm, and slopes along x and y.
    #[inline]
    fn lifted(self, (height_mm, [sx, sy]): (f64, [f64; 2])) -> Self {
        let ([x, y, z], slope) = (self.position_mm, self.slope);
        Self { position_mm: [x, y, z + height_mm], slope: [slope[0] + sx, slope[1] + sy] }
    }
}

impl Mirror {
    /// The glass alone.
    pub(crate) fn new(primary: &Primary) -> Self {
        Self::of(primary, Arc::new(Figure::new(&primary.figure, primary.clear_aperture_mm / 2.0)))
    }

    /// The glass alone of another primary of the same clear aperture; layers that are among `was`, those of this one,
    /// are shared.
    pub(super) fn changed(&self, was: &[FigureLayer], primary: &Primary) -> Self {
        if *was == primary.figure {
            return Self::of(primary, Arc::clone(&self.figure));
        }
        Self::of(primary, Arc::new(self.figure.changed(was, &primary.figure)))
    }

    fn of(primary: &Primary, figure: Arc<Figure>) -> Self {
        Self {
            curvature_per_mm: 0.5 / primary.focal_length_mm,
            shape: 1.0 + primary.conic,
            figure,
            film: None,
        }
    }

    /// The same glass with this metal on it.
    pub(super) fn with_film(&self, film: Option<Arc<FilmSurface>>) -> Self {
        Self { film, ..self.clone() }
    }

    pub(super) fn shared_film(&self) -> Option<Arc<FilmSurface>> {
        self.film.clone()
    }

    /// Whether figure and film are one in memory.
    pub(super) fn shares_with(&self, other: &Self) -> bool {
        let one_film = match (&self.film, &other.film) {
            (Some(own), Some(others)) => Arc::ptr_eq(own, others),
            (own, others) => own.is_none() && others.is_none(),
        };
        one_film && Arc::ptr_eq(&self.figure, &other.figure)
    }

    pub(super) fn film(&self) -> Option<&FilmSurface> {
        self.film.as_deref()
    }

    pub(crate) fn breaks(&self) -> Vec<Break> {
        self.figure.breaks()
    }

    /// Radii at which the height of the glass jumps.
    pub(crate) fn jumps_mm(&self) -> impl Iterator<Item = f64> {
        self.figure.jumps_mm()
    }

    /// Curvature at the vertex, 1/mm, and 1 + conic constant.
    pub(crate) fn conic(&self) -> (f64, f64) {
        (self.curvature_per_mm, self.shape)
    }

    /// The same, where the mirror is that conic and nothing more.
    pub(crate) fn bare_conic(&self) -> Option<(f64, f64)> {
        let is_bare = self.film.as_ref().is_none_or(|film| film.is_even());
        (is_bare && self.figure.is_empty()).then_some(self.conic())
    }

    /// Whether the mirror is a conic without any film: even an even one has a height of its own, as light meets it at an angle.
    pub(crate) fn is_conic_alone(&self) -> bool {
        self.figure.is_empty() && self.film.is_none()
    }

    /// How fine the part of the figure is that is not round; none for a round one.
    pub(super) fn detail(&self) -> Option<Detail> {
        let film = self.film.as_ref().filter(|film| !film.is_round()).map(|film| film.detail());
        self.figure.detail().into_iter().chain(film).reduce(Detail::finer)
    }

    /// Height and radial slope of the conic alone.
    #[inline]
    pub(crate) fn conic_height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        let c = self.curvature_per_mm;
        let root = (1.0 - self.shape * (c * r_mm).powi(2)).sqrt();
        (c * r_mm * r_mm / (1.0 + root), c * r_mm / root)
    }

    /// Height and radial slope of the surface, the round parts of the figure and of the film included.
    #[inline]
    pub(crate) fn height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        let (z, slope) = self.conic_height_and_slope(r_mm);
        let (h, figure_slope) = self.figure.height_and_slope(r_mm);
        let glass = (z + h, slope + figure_slope);
        self.film.as_ref().map_or(glass, |film| {
            let (lift, film_slope) = film.round_lift(r_mm);
            (glass.0 + lift, glass.1 + film_slope)
        })
    }

    /// The same without any film.
    #[inline]
    fn glass_height_and_slope(&self, r_mm: f64) -> (f64, f64) {
        let (z, slope) = self.conic_height_and_slope(r_mm);
        let (h, figure_slope) = self.figure.height_and_slope(r_mm);
        (z + h, slope + figure_slope)
    }

    /// The surface above a point of the xy plane.
    #[inline]
    pub(crate) fn at(&self, x_mm: f64, y_mm: f64) -> SurfacePoint {
        self.at_level(usize::MAX, x_mm, y_mm)
    }

    /// The same with so many of the coating's patches, the first ones.
    #[inline]
    pub(crate) fn at_level(&self, level: usize, x_mm: f64, y_mm: f64) -> SurfacePoint {
        let glass = self.glass_at(x_mm, y_mm);
        self.film.as_ref().map_or(glass, |film| glass.lifted(film.lift(level, x_mm, y_mm)))
    }

    /// The same, and the share of the power that the film returns there; 1 without a film.
    #[inline]
    pub(crate) fn at_level_with_share(&self, level: usize, x_mm: f64, y_mm: f64) -> (SurfacePoint, f64) {
        let glass = self.glass_at(x_mm, y_mm);
        self.film.as_ref().map_or((glass, 1.0), |film| {
            let (lift, share) = film.lift_and_share(level, x_mm, y_mm);
            (glass.lifted(lift), share)
        })
    }

    /// What lies on the conic above a point of the xy plane, figure and film: height along z, mm, and slopes along x and y.
    #[inline]
    pub(crate) fn over_conic(&self, x_mm: f64, y_mm: f64) -> (f64, [f64; 2]) {
        let r = length(x_mm, y_mm);
        let (h, slope) = self.figure.height_and_slope(r);
        let per_radius = if r > 0.0 { slope / r } else { 0.0 };
        let round =
            SurfacePoint { position_mm: [x_mm, y_mm, h], slope: [x_mm * per_radius, y_mm * per_radius] };
        let figure = if self.figure.is_round() { round } else { self.with_uneven(round) };
        let over = self.film.as_ref().map_or(figure, |film| figure.lifted(film.lift(usize::MAX, x_mm, y_mm)));
        (over.position_mm[2], over.slope)
    }

    #[inline]
    fn glass_at(&self, x_mm: f64, y_mm: f64) -> SurfacePoint {
        let r = length(x_mm, y_mm);
        let (z, slope) = self.glass_height_and_slope(r);
        let per_radius = if r > 0.0 { slope / r } else { 0.0 };
        let round =
            SurfacePoint { position_mm: [x_mm, y_mm, z], slope: [x_mm * per_radius, y_mm * per_radius] };
        if self.figure.is_round() { round } else { self.with_uneven(round) }
    }

    /// A point of the round surface, moved to where the part that is not round has it.
    fn with_uneven(&self, round: SurfacePoint) -> SurfacePoint {
        let [x, y, _] = round.position_mm;
        round.lifted(self.figure.uneven_height_and_slopes(x, y))
    }

    /// Where a straight line meets the surface: the conic in closed form, then the figure by Newton.
    ///
    /// `None` where the line misses the conic or runs along it.
    pub(crate) fn intersect(&self, origin_mm: [f64; 3], direction: [f64; 3]) -> Option<SurfacePoint> {
        let mut t = self.conic_distance(origin_mm, direction)?;
        // The figure is at most 0.1 mm high with small slopes: Newton gains ten digits in two steps.
        for _ in 0..20 {
            let [x, y, z] = along(origin_mm, direction, t);
            let surface = self.at(x, y);
            let gap = z - surface.position_mm[2];
            let closing = direction[2] - surface.slope[0] * direction[0] - surface.slope[1] * direction[1];
            let step = gap / closing;
            if !step.is_finite() {
                return None;
            }
            t -= step;
            if step.abs() <= 1e-13 * t.abs().max(1.0) {
                break;
            }
        }
        let [x, y, _] = along(origin_mm, direction, t);
        Some(self.at(x, y))
    }

    /// Where a steep line meets the surface: the conic in closed form, then one Newton step to the figure.
    ///
    /// For lines within some degrees of the axis; what the step leaves is below 1e-9 mm for all that polishing leaves.
    #[inline]
    pub(crate) fn met_by(&self, origin_mm: [f64; 3], direction: [f64; 3]) -> Option<SurfacePoint> {
        let t = self.conic_distance(origin_mm, direction)?;
        let [x, y, z] = along(origin_mm, direction, t);
        let point = self.at(x, y);
        let gap = z - point.position_mm[2];
        if gap.abs() < 1e-11 {
            return Some(point);
        }
        let closing = direction[2] - point.slope[0] * direction[0] - point.slope[1] * direction[1];
        let [x, y, _] = along(origin_mm, direction, t - gap / closing);
        (gap / closing).is_finite().then(|| self.at(x, y))
    }

    /// The point of the surface that is seen from a point of the image where `line`, a unit vector, leads up to it, and its
    /// distance.
    ///
    /// The conic in closed form, then one Newton step to the figure, which leaves half of its curvature times the square of the
    /// sideways part of that step: below 1e-11 mm for all that polishing leaves. The slopes are those before the step.
    #[inline]
    pub(crate) fn seen_from(&self, image_mm: [f64; 3], line: [f64; 3]) -> Option<(SurfacePoint, f64)> {
        let down = line.map(|c| -c);
        let t = self.conic_distance(image_mm, down)?;
        let [x, y, z] = along(image_mm, down, t);
        let per_mm = self.curvature_per_mm / (1.0 - self.shape * self.curvature_per_mm * z);
        let (over, [sx, sy]) = self.over_conic(x, y);
        let slope = [x * per_mm + sx, y * per_mm + sy];
        let step = over / (down[2] - slope[0] * down[0] - slope[1] * down[1]);
        let position_mm = along(image_mm, down, t + step);
        step.is_finite().then_some((SurfacePoint { position_mm, slope }, t + step))
    }

    /// Distance along a line to the conic's sheet that holds the vertex.
    fn conic_distance(&self, [x, y, z]: [f64; 3], [dx, dy, dz]: [f64; 3]) -> Option<f64> {
        // c (x^2 + y^2 + (1+K) z^2) - 2 z = 0 along the line: a t^2 + 2 b t + q = 0.
        let (c, k) = (self.curvature_per_mm, self.shape);
        let a = c * (dx * dx + dy * dy + k * dz * dz);
        let b = c * (x * dx + y * dy + k * z * dz) - dz;
        let q = c * (x * x + y * y + k * z * z) - 2.0 * z;
        let root = (b * b - a * q).sqrt();
        // This form never subtracts nearly equal numbers, and it is the root near the vertex.
        let t = -q / (b + root.copysign(b));
        t.is_finite().then_some(t)
    }
}

/// Length of a vector in the plane: `hypot` costs several times as much, to guard against overflow.
#[inline]
pub(crate) fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// The point at distance `t` along a line.
#[inline]
pub(crate) fn along(origin_mm: [f64; 3], direction: [f64; 3], t: f64) -> [f64; 3] {
    [origin_mm[0] + direction[0] * t, origin_mm[1] + direction[1] * t, origin_mm[2] + direction[2] * t]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{CentralHill, EdgeRollOff, EdgeStep, TurnedEdge, Zone};
    use crate::units::FocalLengthMm;

    #[test]
    fn a_line_meets_the_surface_where_the_surface_is() {
        let primary = Primary::new(318.0, FocalLengthMm(1558.0))
            .conic(-0.6)
            .layer(TurnedEdge::new(9.0, 90_000.0))
            .layer(Zone::new(60.0, 20.0, 50_000.0));
        let mirror = Mirror::new(&primary);
        for i in 0..40 {
            let (x, y) = (f64::from(i) * 3.9, f64::from(i % 7) * 9.0);
            let direction = [-0.01, 0.004, -(1.0_f64 - 0.000_116).sqrt()];
            let hit = mirror.intersect([x, y, 1000.0], direction).expect("it meets the mirror");
            let t = (hit.position_mm[2] - 1000.0) / direction[2];
            let on_line = along([x, y, 1000.0], direction, t);
            for axis in 0..3 {
                assert!((on_line[axis] - hit.position_mm[axis]).abs() < 1e-10, "axis {axis} of line {i}");
            }
        }
    }

    #[test]
    fn slopes_are_the_derivatives_of_the_heights() {
        let primary = Primary::new(318.0, FocalLengthMm(1558.0))
            .layer(TurnedEdge::new(9.0, 900.0).power(2.5))
            .layer(Zone::new(60.0, 20.0, 500.0))
            .layer(EdgeRollOff::new(2.0, -300.0))
            .layer(EdgeStep::new(4.0, 250.0))
            .layer(CentralHill::new(50.0, 120.0).power(1.7));
        let mirror = Mirror::new(&primary);
        for r in [0.5, 1.0, 44.0, 49.9, 60.0, 75.0, 151.0, 154.9, 155.1, 158.9] {
            let step = 1e-4;
            let (up, down) = (mirror.height_and_slope(r + step).0, mirror.height_and_slope(r - step).0);
            let secant = (up - down) / (2.0 * step);
            assert!((mirror.height_and_slope(r).1 - secant).abs() < 1e-9, "at {r} mm");
        }
    }
}
