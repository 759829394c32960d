//! The light of a star beyond the window in which it is summed.

use std::f64::consts::TAU;

use crate::numeric::gauss;

/// Step and end of the table, in radians: beyond, less than 1e-3 of a share that is itself below 1e-2.
const STEP: f64 = 0.02;
const END: f64 = 90.0;

/// Transfer function of light that falls off as 1/r^3 beyond a radius: far from its core every star behind a pupil with
/// a sharp rim does so in the mean over a ring.
///
/// g(s) = integral from 1 to infinity of J0(s t)/t^2 dt = J0(s) - s (1 + J1(s) - integral from 0 to s of J0), s = 2 pi
/// f R.
pub(super) struct Tail {
    table: Vec<f64>,
}

impl Tail {
    pub(super) fn new() -> Self {
        let count = (END / STEP) as usize + 2;
        let mut integral = 0.0;
        let mut table = Vec::with_capacity(count);
        for i in 0..count {
            let s = STEP * i as f64;
            table.push(libm::j0(s) - s * (1.0 + libm::j1(s) - integral));
            integral += gauss::on_interval(4, s, s + STEP).map(|(x, w)| w * libm::j0(x)).sum::<f64>();
        }
        Self { table }
    }

    /// At a frequency, for a window of a radius, in units that belong together.
    pub(super) fn at(&self, frequency: f64, radius: f64) -> f64 {
        let place = TAU * frequency * radius / STEP;
        let i = place as usize;
        if i + 1 >= self.table.len() {
            return 0.0;
        }
        let share = place - i as f64;
        self.table[i] * (1.0 - share) + self.table[i + 1] * share
    }
}

#[cfg(test)]
mod tests {
    use super::Tail;

    #[test]
    fn the_closed_form_is_the_integral() {
        // mpmath 1.4: quadosc(J0(s t)/t^2, [1, inf]).
        let tail = Tail::new();
        for (s, truth) in [
            (0.0, 1.0),
            (0.5, 0.562_175_831_726),
            (2.0, -0.078_018_249_978_5),
            (10.0, -0.010_550_186_572_6),
            (40.0, -0.003_119_816_519_5),
        ] {
            let found = tail.at(s / std::f64::consts::TAU, 1.0);
            assert!((found - truth).abs() < 1e-4, "{s}: {found} for {truth}");
        }
    }
}
