//! What a film of any thickness returns, and from which height: a table for one wavelength.

use nalgebra::Complex;

use super::metal_film::MetalFilm;
use super::stack::Polarisation;
use crate::numeric::chebyshev;

/// Powers of the thickness, and of the squared sine of the angle.
const TERMS: usize = 14;
const ANGLES: usize = 5;
/// Length of a panel in ln(1 + thickness in nm): a film changes over 1 nm where it is thin and over no less than 7 nm
/// elsewhere.
const PANEL: f64 = 0.2;
/// Steps in which a phase is followed from thick to thin, nm.
const STEP_NM: f64 = 1.0;

/// Coefficients of the powers of the place in one panel, for each power of the squared sine.
type Series = [[f64; TERMS]; ANGLES];

/// Reflectance of unpolarised light and the mean height of both polarisations, by thickness and angle.
///
/// Good to 1e-10 and 1e-6 nm against the films themselves wherever 2 % of the light is returned (tests below); where an
/// overcoat on next to no metal quenches it further, to 0.2 nm times the amplitude. Heights follow the phase without a
/// jump from thick metal to thin, so that they may differ by half a wavelength from those of [`MetalFilm::response`]
/// under an overcoat.
#[derive(Clone, Debug)]
pub(crate) struct FilmTable {
    first: f64,
    largest_sine2: f64,
    reflectance: Vec<Series>,
    height_nm: Vec<Series>,
}

impl FilmTable {
    /// For thicknesses between two, nm, and angles up to that of this squared sine; the film and the wavelength have
    /// passed their checks.
    pub(crate) fn new(
        film: &MetalFilm,
        wavelength_nm: f64,
        (thinnest_nm, thickest_nm): (f64, f64),
        largest_sine2: f64,
    ) -> Self {
        let first = thinnest_nm.ln_1p();
        let panels = (((thickest_nm.ln_1p() - first) / PANEL).ceil() as usize).max(1);
        let largest_sine2 = largest_sine2.max(1e-6);
        let mut table = Self {
            first,
            largest_sine2,
            reflectance: vec![[[0.0; TERMS]; ANGLES]; panels],
            height_nm: vec![[[0.0; TERMS]; ANGLES]; panels],
        };
        let sines2: [f64; ANGLES] =
            std::array::from_fn(|j| 0.5 * (chebyshev::point(j, ANGLES) + 1.0) * largest_sine2);
        let powers = powers_through(sines2.map(|s| s / largest_sine2));
        let mut phase = Followed { film, wavelength_nm, last: None };
        // From thick to thin, as the phase is followed.
        for panel in (0..panels).rev() {
            let mut values = [[[0.0; TERMS]; ANGLES]; 2];
            let mut places: Vec<(usize, f64)> = (0..TERMS)
                .map(|k| (k, first + PANEL * (panel as f64 + 0.5 * (chebyshev::point(k, TERMS) + 1.0))))
                .collect();
            places.sort_by(|a, b| b.1.total_cmp(&a.1));
            for (k, place) in places {
                let thickness_nm = place.exp_m1();
                let near_nm = phase.height_nm(thickness_nm);
                let at: [(f64, f64); ANGLES] =
                    sines2.map(|sine2| film.seen(thickness_nm, wavelength_nm, sine2, Some(near_nm)));
                for power in 0..ANGLES {
                    for (j, (reflectance, height_nm)) in at.iter().enumerate() {
                        values[0][power][k] += powers[j][power] * reflectance;
                        values[1][power][k] += powers[j][power] * height_nm;
                    }
                }
            }
            table.reflectance[panel] = values[0].map(|v| chebyshev::powers(&chebyshev::through(&v)));
            table.height_nm[panel] = values[1].map(|v| chebyshev::powers(&chebyshev::through(&v)));
        }
        table
    }

    /// The panel of a thickness, the place in it from -1 to 1, and the share of the largest squared sine.
    #[inline]
    fn place(&self, thickness_nm: f64, sine2: f64) -> (usize, f64, f64) {
        let place = (thickness_nm.ln_1p() - self.first) / PANEL;
        let panel = (place.max(0.0) as usize).min(self.height_nm.len() - 1);
        (panel, 2.0 * (place - panel as f64) - 1.0, sine2 / self.largest_sine2)
    }

    /// Share of unpolarised light that is returned.
    #[inline]
    pub(crate) fn reflectance(&self, thickness_nm: f64, sine2: f64) -> f64 {
        self.reflectance_at(self.place(thickness_nm, sine2))
    }

    /// Height above the glass, nm.
    #[inline]
    pub(crate) fn height_nm(&self, thickness_nm: f64, sine2: f64) -> f64 {
        let (panel, u, y) = self.place(thickness_nm, sine2);
        polynomial(&at_angle(&self.height_nm[panel], y), u)
    }

    /// The same, and its change for a nanometre more of metal.
    #[inline]
    pub(crate) fn height_and_rate(&self, thickness_nm: f64, sine2: f64) -> (f64, f64) {
        self.height_and_rate_at(self.place(thickness_nm, sine2), thickness_nm)
    }

    /// The same, and the share of unpolarised light that is returned.
    #[inline]
    pub(crate) fn height_rate_and_reflectance(&self, thickness_nm: f64, sine2: f64) -> (f64, f64, f64) {
        let place = self.place(thickness_nm, sine2);
        let (height_nm, rate) = self.height_and_rate_at(place, thickness_nm);
        (height_nm, rate, self.reflectance_at(place))
    }

    #[inline]
    fn reflectance_at(&self, (panel, u, y): (usize, f64, f64)) -> f64 {
        polynomial(&at_angle(&self.reflectance[panel], y), u)
    }

    #[inline]
    fn height_and_rate_at(&self, (panel, u, y): (usize, f64, f64), thickness_nm: f64) -> (f64, f64) {
        let series = at_angle(&self.height_nm[panel], y);
        let rate = std::array::from_fn(|k| if k + 1 < TERMS { (k + 1) as f64 * series[k + 1] } else { 0.0 });
        (polynomial(&series, u), polynomial(&rate, u) * 2.0 / (PANEL * (1.0 + thickness_nm)))
    }
}

#[inline]
fn at_angle(series: &Series, y: f64) -> [f64; TERMS] {
    std::array::from_fn(|k| series.iter().rev().fold(0.0, |sum, terms| sum * y + terms[k]))
}

/// The polynomial with these coefficients, in pairs of pairs: no step waits for more than four others.
#[inline]
fn polynomial(c: &[f64; TERMS], u: f64) -> f64 {
    let (u2, u4) = (u * u, u * u * u * u);
    let pair = |k: usize| c[k] + c[k + 1] * u;
    let four = |k: usize| pair(k) + pair(k + 2) * u2;
    (four(0) + four(4) * u4) + (four(8) + pair(12) * u4) * (u4 * u4)
}

/// The coefficients of the polynomials that are 1 at one of these places and 0 at the others: [place][power].
fn powers_through(places: [f64; ANGLES]) -> [[f64; ANGLES]; ANGLES] {
    std::array::from_fn(|j| {
        let mut coefficients = [0.0; ANGLES];
        coefficients[0] = 1.0;
        let mut degree = 0;
        for (i, at) in places.iter().enumerate().filter(|(i, _)| *i != j) {
            debug_assert!(i != j);
            degree += 1;
            for power in (0..=degree).rev() {
                let lower = if power > 0 { coefficients[power - 1] } else { 0.0 };
                coefficients[power] = (lower - at * coefficients[power]) / (places[j] - at);
            }
        }
        coefficients
    })
}

/// The height at normal incidence, followed from thick metal to thin.
struct Followed<'a> {
    film: &'a MetalFilm,
    wavelength_nm: f64,
    /// Thickness and height that were asked last.
    last: Option<(f64, f64)>,
}

impl Followed<'_> {
    /// The height at a thickness below the last one.
    fn height_nm(&mut self, thickness_nm: f64) -> f64 {
        let seen = |at_nm: f64, near_nm| self.film.seen(at_nm, self.wavelength_nm, 0.0, near_nm).1;
        let found = match self.last {
            // Without an overcoat the height stays near to the metal's face.
            Some((from_nm, height_nm)) if self.film.overcoat.is_some() => {
                let steps = ((from_nm - thickness_nm) / STEP_NM).ceil().max(1.0);
                (1..=steps as usize).fold(height_nm, |near_nm, k| {
                    seen(from_nm + (thickness_nm - from_nm) * k as f64 / steps, Some(near_nm))
                })
            }
            _ => seen(thickness_nm, None),
        };
        self.last = Some((thickness_nm, found));
        found
    }
}

impl MetalFilm {
    /// Reflectance of unpolarised light and mean height, nm, of this film with another thickness; of all heights that
    /// the phase allows the nearest to one, or as [`MetalFilm::response`] says.
    fn seen(&self, thickness_nm: f64, wavelength_nm: f64, sine2: f64, near_nm: Option<f64>) -> (f64, f64) {
        let film = Self { thickness_nm, ..*self };
        let (stack, sine) = (film.stack(wavelength_nm), sine2.sqrt());
        let of = |polarisation| -> (f64, f64) {
            let reflected: Complex<f64> = stack.amplitudes(wavelength_nm, sine, polarisation).reflected;
            let height_nm = film.height_nm(reflected, wavelength_nm, sine.asin());
            let period_nm = wavelength_nm / (2.0 * (1.0 - sine2).sqrt());
            let moved = near_nm.map_or(0.0, |near| ((near - height_nm) / period_nm).round() * period_nm);
            (reflected.norm_sqr(), height_nm + moved)
        };
        let (s, p) = (of(Polarisation::S), of(Polarisation::P));
        (f64::midpoint(s.0, p.0), f64::midpoint(s.1, p.1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::{Metal, Overcoat};

    /// The largest differences of reflectance and height from the film's own, at places that are no points of the
    /// table.
    fn differences(film: &MetalFilm, wavelength_nm: f64, range_nm: (f64, f64), sine2: f64) -> [f64; 2] {
        let table = FilmTable::new(film, wavelength_nm, range_nm, sine2);
        let period_nm = |angle: f64| wavelength_nm / (2.0 * angle.cos());
        let mut worst = [0.0_f64; 2];
        for i in 0..=400 {
            let share = f64::from(i) / 400.0;
            let thickness_nm = range_nm.0 + (range_nm.1 - range_nm.0) * share * share;
            for part in [0.0, 0.13, 0.5, 0.77, 1.0] {
                let angle = (part * sine2).sqrt().asin();
                let direct = MetalFilm { thickness_nm, ..*film }.response(wavelength_nm, angle.to_degrees());
                let direct = direct.expect("a film");
                let (height, rate) = table.height_and_rate(thickness_nm, part * sine2);
                assert!((height - table.height_nm(thickness_nm, part * sine2)).abs() < 1e-12);
                worst[0] = worst[0]
                    .max((table.reflectance(thickness_nm, part * sine2) - direct.reflectance()).abs());
                // Each polarisation by itself may lie half a wavelength elsewhere. Where next to nothing returns the
                // phase turns too fast for the table, and what counts is the wave.
                let off = height - direct.height_nm();
                let half = period_nm(angle) / 2.0;
                let off = (off - half * (off / half).round()).abs();
                if direct.reflectance() > 0.02 {
                    worst[1] = worst[1].max(off);
                } else {
                    assert!(off * direct.reflectance().sqrt() < 0.2, "{off} nm at {thickness_nm} nm");
                    continue;
                }
                let (step, at) = (1e-4, |nm: f64| table.height_nm(nm, part * sine2));
                let secant = (at(thickness_nm + step) - at(thickness_nm - step)) / (2.0 * step);
                assert!(
                    (rate - secant).abs() < 1e-5 * (1.0 + rate * rate),
                    "rate {rate} at {thickness_nm} nm"
                );
            }
        }
        worst
    }

    #[test]
    fn the_table_is_the_film() {
        // sin^2 at the rim of f/2.2: 0.0125.
        for metal in [Metal::Aluminium, Metal::Silver] {
            for wavelength_nm in [250.0, 400.0, 550.0, 700.0, 1000.0] {
                for range_nm in [(0.0, 200.0), (3.0, 120.0), (40.0, 100.0), (90.0, 90.0), (0.0, 2000.0)] {
                    let film = MetalFilm::new(metal, range_nm.1);
                    let over = film.overcoat(Overcoat::new(1.46, 175.0));
                    let high = film.overcoat(Overcoat::new(2.3, 60.0));
                    for film in [film, over, high] {
                        let [reflectance, height_nm] = differences(&film, wavelength_nm, range_nm, 0.0125);
                        assert!(
                            reflectance < 1e-10,
                            "{film:?} {wavelength_nm} {range_nm:?}: {reflectance:e}"
                        );
                        assert!(height_nm < 1e-6, "{film:?} {wavelength_nm} {range_nm:?}: {height_nm:e} nm");
                    }
                }
            }
        }
    }

    #[test]
    fn heights_have_no_jump() {
        for over in [Overcoat::new(1.46, 175.0), Overcoat::new(2.3, 60.0), Overcoat::new(2.3, 400.0)] {
            let film = MetalFilm::new(Metal::Aluminium, 120.0).overcoat(over);
            let table = FilmTable::new(&film, 550.0, (0.0, 120.0), 0.01);
            for i in 0..1200 {
                let step =
                    table.height_nm(0.1 * f64::from(i + 1), 0.0) - table.height_nm(0.1 * f64::from(i), 0.0);
                assert!(step.abs() < 20.0, "{over:?}: {step} nm at {} nm", 0.1 * f64::from(i));
            }
        }
    }
}
