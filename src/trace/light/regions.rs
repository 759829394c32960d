//! The account of a star's light where no one place sees all edges: areas of intersections, added and subtracted.
//!
//! The free side of every opening is convex in the star's plane, and so is every body; so is each intersection of
//! them, and its area
//! is a sum of radii about a place inside it. What passes the openings U and stands clear of the bodies S, T is
//! |U| - |U S| - |U T| + |U S T|.

use super::centre;
use super::ledger::Ledger;
use super::seen::{Edge, Seen};
use super::spokes::Spokes;

/// What is counted as nothing, as a share of the clear aperture.
const NOTHING: f64 = 1e-13;

/// The edges of one star's light, each with the scale of its excess over the mirror.
pub(super) struct Regions<'a> {
    seen: &'a Seen<'a>,
    /// The rim first.
    edges: &'a [Edge],
    scales: &'a [f64],
    /// Areas already known: edges as bits.
    known: Vec<(u32, f64)>,
    error: f64,
}

impl<'a> Regions<'a> {
    pub(super) fn new(seen: &'a Seen<'a>, edges: &'a [Edge], scales: &'a [f64]) -> Self {
        Self { seen, edges, scales, known: Vec::new(), error: 0.0 }
    }

    /// The area inside the rim and all of these edges, mm^2.
    fn area_mm2(&mut self, inside: u32) -> f64 {
        if let Some((_, area)) = self.known.iter().find(|(edges, _)| *edges == inside) {
            return *area;
        }
        let chosen = |i: &usize| *i == 0 || inside >> i & 1 == 1;
        let edges: Vec<Edge> = (0..self.edges.len()).filter(chosen).map(|i| self.edges[i]).collect();
        let scales: Vec<f64> = (0..self.edges.len()).filter(chosen).map(|i| self.scales[i]).collect();
        let area = match centre::inside(self.seen, &edges, &scales) {
            None => 0.0,
            Some((place, _)) => {
                let frame = centre::round_frame(self.seen, &edges, place);
                let (area, error) = Spokes::new(self.seen, frame, edges).area_mm2();
                self.error = self.error.max(error);
                area
            }
        };
        self.known.push((inside, area));
        area
    }

    /// What passes these openings beside these bodies.
    fn light_mm2(&mut self, openings: u32, bodies: u32) -> f64 {
        // All subsets of the bodies: each body more turns the sign.
        let (mut light, mut some) = (0.0, bodies);
        loop {
            let sign = if some.count_ones() % 2 == 0 { 1.0 } else { -1.0 };
            light += sign * self.area_mm2(openings | some);
            if some == 0 {
                return light.max(0.0);
            }
            some = (some - 1) & bodies;
        }
    }

    /// The account, as [`Ledger`] keeps it, and its error, mm^2.
    pub(super) fn account(mut self, ledger: &Ledger) -> (Vec<f64>, f64) {
        let mut sums = vec![0.0; ledger.sums()];
        let (mut openings, mut bodies) = (0, 0);
        let mut light = self.area_mm2(0);
        let nothing = NOTHING * light;
        for i in 1..self.edges.len() {
            if self.edges[i].is_body() {
                bodies |= 1 << i;
            } else {
                openings |= 1 << i;
            }
            let left = self.light_mm2(openings, bodies);
            if left < light - nothing {
                sums[Ledger::taken(self.edges[i].place)] = light - left;
                light = left;
            }
        }
        sums[ledger.lit()] = light;
        sums[ledger.without_shadow()] = self.area_mm2(openings).max(light);
        for i in 1..self.edges.len() {
            let bit = 1 << i;
            let without = self.light_mm2(openings & !bit, bodies & !bit);
            let returned = if without > light + nothing { without - light } else { 0.0 };
            sums[ledger.returned(self.edges[i].place)] = returned;
        }
        // Each light is a sum of up to two to the bodies' number of areas.
        let terms = f64::from(1_u32 << bodies.count_ones());
        (sums, 2.0 * terms * self.error)
    }
}
