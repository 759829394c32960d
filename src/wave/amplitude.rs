//! The light's amplitude in the image, at any point, from the nodes of the pupil.
//!
//! A node with conjugate coordinate m and complex weight c adds c exp(-2 pi i m.s/lambda) at the image point s. Thousands
//! of nodes times thousands of points would be slow, so the weights are first spread on a small square net
//! of coordinates; sums over the net separate into rows and columns, and the kernel's own transform is divided out.
//! Places in the net hang on the coordinates alone, so one set of taps serves all wavelengths. Good to 2e-11 of the
//! peak against the direct sum.

use std::f64::consts::{PI, TAU};
use std::sync::{Arc, OnceLock};

use ndarray::Array2;

use super::between::Coarse;
use super::lanes::{self, Folded, LANES, Lanes, PAIRS, Panel, TAP_ROOM, Turns};
use super::places::Places;
use super::source::Pupil;
use super::spectrum::Spectrum;
use super::taps::{self, OVERSAMPLING, SPREAD, TAPS, WIDE};
use crate::numeric::simd::Instructions;
use crate::numeric::{gauss, pool, sums};
use crate::units::{NM_PER_MM, UM_PER_MM};

/// Nodes whose taps are held at once: they fit the first cache.
const BLOCK: usize = 48;

/// The light of a pupil, ready to be summed at any point of the image plane within a square.
///
/// Amplitude at a step s from the reference point: sum of A w exp(2 pi i (W - m.s)/lambda) over the sum of A w.
#[derive(Clone, Debug)]
pub(crate) struct Amplitude {
    pub(super) colours: Vec<Colour>,
    /// Points of the net on half of a side.
    pub(super) half: usize,
    /// Points of half a row that hold anything, row by row.
    filled: Vec<usize>,
    /// How far from the reference point the sums hold, along and across, um.
    pub(crate) reach_um: f64,
    pub(super) undo: Undo,
    /// The image is the same above and below: sums of rows alone count.
    pub(crate) is_even: bool,
    pub(super) set: Instructions,
    /// The same at few places, made when first asked for.
    coarse: OnceLock<Arc<Coarse>>,
}

/// What was spread over the net, and has to be divided out of its sums.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Undo {
    /// Nodes.
    Nodes,
    /// Lines of a map.
    Lines,
    /// Nothing: the net is the map itself.
    Nothing,
}

/// The net of one wavelength.
#[derive(Clone, Debug)]
pub(super) struct Colour {
    pub(super) net: Vec<Folded>,
    /// Phase of one step of the net, radians for each um.
    pub(super) step_per_um: f64,
    /// What its intensity counts: the share of the energy over the square of the wavelength, all such adding up to 1.
    pub(super) counts: f64,
}

impl Amplitude {
    /// The amplitude of a pupil for image points within `reach_um` along and across.
    pub(crate) fn new(pupil: &Pupil, reference_mm: [f64; 3], spectrum: &Spectrum, reach_um: f64) -> Self {
        Self::with(Instructions::in_use(), pupil, reference_mm, spectrum, reach_um)
    }

    /// The same with a set of instructions.
    pub(crate) fn with(
        set: Instructions,
        pupil: &Pupil,
        reference_mm: [f64; 3],
        spectrum: &Spectrum,
        reach_um: f64,
    ) -> Self {
        let (shortest_nm, lines) = (spectrum.lines()[0].0, spectrum.lines());
        // Behind metal every colour has a path and a light of its own, at the same places.
        let has_film = pupil.has_film();
        let coloured: Vec<Places> = if has_film {
            lines.iter().map(|(nm, _)| Places::new(set, &pupil.in_colour(*nm), reference_mm, None)).collect()
        } else {
            vec![Places::new(set, pupil, reference_mm, Some(shortest_nm))]
        };
        let places = &coloured[0];
        let step = shortest_nm * UM_PER_MM / NM_PER_MM / (2.0 * OVERSAMPLING * reach_um);
        let half = (places.half / step).ceil() as usize + TAPS / 2 + 1;
        // A common rate only turns the amplitude's phase, so the net is laid about the middle.
        let (per_step, centre) = (step.recip(), half as f64 - 0.5);
        let place = |rate: f64, middle: f64| (rate - middle) * per_step + centre;
        let stride = 4 * half;
        let mut nets = vec![vec![0.0; stride * 2 * half]; lines.len()];
        let (mut along, mut across) = (vec![[0.0; PAIRS]; BLOCK], vec![[0.0; TAP_ROOM]; BLOCK]);
        let (mut first, mut at) = ([0; BLOCK], [[0.0; BLOCK]; 2]);
        let (mut path, mut light) = ([0.0; BLOCK], [0.0; BLOCK]);
        let (mut re, mut im) = ([0.0; BLOCK], [0.0; BLOCK]);
        for block in places.blocks(BLOCK) {
            let held = block.len();
            for (k, &i) in block.iter().enumerate() {
                let (column, x) = taps::first_and_variable(place(places.along[i], places.middle[0]));
                let (row, y) = taps::first_and_variable(place(places.across[i], places.middle[1]));
                first[k] = row * stride + 2 * column;
                (at[0][k], at[1][k]) = (x, y);
            }
            lanes::pairs(set, &SPREAD.pairs, &at[0][..held], &mut along);
            lanes::taps(set, &SPREAD.taps, &at[1][..held], &mut across);
            for (k, (net, (wavelength_nm, _))) in nets.iter_mut().zip(lines).enumerate() {
                if k == 0 || has_film {
                    let own = &coloured[k];
                    for (k, &i) in block.iter().enumerate() {
                        (path[k], light[k]) = (own.path_nm[i] - own.path_nm[0], own.light[i]);
                    }
                }
                let per_path = TAU / wavelength_nm;
                lanes::phasors(set, &path[..held], per_path, &light[..held], &mut re, &mut im);
                lanes::spread(set, net, stride, &first[..held], (&re, &im), (&along, &across));
            }
        }
        let counts = spectrum.peak_shares();
        let mut amplitude = Self {
            colours: Vec::with_capacity(lines.len()),
            half,
            filled: filled(half, places.radius / step),
            reach_um,
            undo: Undo::Nodes,
            is_even: places.is_even,
            set,
            coarse: OnceLock::new(),
        };
        for ((net, (nm, _)), counts) in nets.into_iter().zip(lines).zip(&counts) {
            amplitude.colours.push(Colour {
                net: folded(&net, half, places.is_even),
                step_per_um: TAU * step / (nm / 1000.0),
                counts: *counts,
            });
        }
        amplitude
    }

    /// The light of nets that are summed already, one for each line of a spectrum: half of a side, folded, and the phase of
    /// one step for each um and nm.
    pub(super) fn of_nets(
        set: Instructions,
        (half, undo): (usize, Undo),
        nets: Vec<Vec<Folded>>,
        spectrum: &Spectrum,
        step: f64,
        reach_um: f64,
    ) -> Self {
        let counts = spectrum.peak_shares();
        let colours = nets
            .into_iter()
            .zip(spectrum.lines())
            .zip(counts)
            .map(|((net, (nm, _)), counts)| Colour { net, step_per_um: TAU * step / (nm / 1000.0), counts });
        Self {
            colours: colours.collect(),
            half,
            filled: vec![half; half],
            reach_um,
            undo,
            is_even: false,
            set,
            coarse: OnceLock::new(),
        }
    }

    /// What the spreading takes from the amplitude where one step of the net has this phase.
    pub(super) fn kernel(&self, turn: f64) -> f64 {
        match self.undo {
            Undo::Nodes => SPREAD.transform(turn),
            Undo::Lines => WIDE.at(turn),
            Undo::Nothing => 1.0,
        }
    }

    /// Intensity at a point of the plane, 1 at the centre of a perfect star.
    pub(crate) fn intensity(&self, along_um: f64, across_um: f64) -> f64 {
        self.colours.iter().map(|colour| self.intensity_of(colour, along_um, across_um)).sum()
    }

    /// Intensity of the shortest wavelength alone, 1 at the centre of its perfect star.
    pub(crate) fn shortest_intensity(&self, along_um: f64, across_um: f64) -> f64 {
        self.intensity_of(&self.colours[0], along_um, across_um) / self.colours[0].counts
    }

    fn intensity_of(&self, colour: &Colour, along_um: f64, across_um: f64) -> f64 {
        let (x, y) = (colour.step_per_um * along_um, colour.step_per_um * across_um);
        let kernel = self.kernel(x) * self.kernel(y);
        let turns = [x, y].map(|turn| single_turns(self.set, turn, self.half));
        colour.counts * lanes::at_place(self.set, &colour.net, &turns[0], &turns[1]) / (kernel * kernel)
    }

    /// The amplitude at few places, where that is worth its making for so many on a side.
    fn coarse_for(&self, pixels: usize) -> Option<&Coarse> {
        let side = Coarse::side(self).filter(|_| self.undo == Undo::Nodes)?;
        (self.coarse.get().is_some() || 4 * pixels >= 5 * side).then(|| self.coarse())
    }

    fn coarse(&self) -> &Coarse {
        self.coarse.get_or_init(|| Arc::new(Coarse::new(self)))
    }

    /// The amplitude at few places, where it is at hand or soon made.
    pub(crate) fn coarse_near(&self) -> Option<&Coarse> {
        const SMALL_SIDE: usize = 128;
        let side = Coarse::side(self).filter(|_| self.undo == Undo::Nodes)?;
        (self.coarse.get().is_some() || side <= SMALL_SIDE).then(|| self.coarse())
    }

    /// Intensity on the square net of `axis_um` in both directions, symmetric about 0: row by row across, columns along.
    pub(crate) fn picture(&self, axis_um: &[f64], image: &mut [f64]) {
        match self.coarse_for(axis_um.len()) {
            None => self.summed_picture(axis_um, image),
            Some(coarse) if self.is_even => coarse.even_picture(&coarse.shares(axis_um), image),
            Some(coarse) => {
                let shares = coarse.shares(axis_um);
                coarse.picture(&shares, &shares, image);
            }
        }
    }

    /// The same, every place summed by itself.
    pub(crate) fn summed_picture(&self, axis_um: &[f64], image: &mut [f64]) {
        let pixels = axis_um.len();
        let positive = &axis_um[pixels / 2..];
        let chunks = positive.len().div_ceil(LANES);
        let mut columns = vec![[vec![[0.0; LANES]; positive.len()], vec![[0.0; LANES]; positive.len()]]; 2];
        let tables: Vec<Vec<Turns>> =
            self.colours.iter().map(|colour| self.tables(colour, positive)).collect();
        let mut panels = self.empty_panels();
        for chunk in 0..chunks {
            pool::end_if_stopped();
            for side in columns.iter_mut().flatten() {
                side.fill([0.0; LANES]);
            }
            for (colour, table) in self.colours.iter().zip(&tables) {
                let turns = |chunk: usize| &table[chunk * self.half..(chunk + 1) * self.half];
                self.panels(colour, turns(chunk), &mut panels);
                for (panels, [above, below]) in panels.iter().zip(&mut columns) {
                    let rows = above.chunks_mut(LANES).zip(below.chunks_mut(LANES));
                    for (rows_of, (above, below)) in rows.enumerate() {
                        lanes::across_rows(self.set, panels, turns(rows_of), colour.counts, above, below);
                    }
                }
            }
            let here = chunk * LANES..((chunk + 1) * LANES).min(positive.len());
            for (i, (right, left)) in columns[0][0].iter().zip(&columns[1][0]).enumerate() {
                place_row(image, pixels / 2 + i, pixels, &here, right, left);
            }
            for (i, (right, left)) in columns[0][1].iter().zip(&columns[1][1]).enumerate() {
                place_row(image, pixels - 1 - (pixels / 2 + i), pixels, &here, right, left);
            }
        }
    }

    /// Room for the sums over the columns: at eight places, and at their mirror places.
    pub(super) fn empty_panels(&self) -> [Vec<Panel>; 2] {
        [0, 1].map(|_| vec![[[0.0; LANES]; 4]; self.half])
    }

    /// The sums over the columns for eight places and their mirror places, one panel for each pair of rows.
    pub(super) fn panels(&self, colour: &Colour, turns: &[Turns], panels: &mut [Vec<Panel>; 2]) {
        let along_rows = if self.is_even { lanes::along_even_rows } else { lanes::along_rows };
        for (j, row) in colour.net.chunks_exact(self.half).enumerate() {
            let [here, there] = along_rows(self.set, &row[..self.filled[j]], &turns[..self.filled[j]]);
            (panels[0][j], panels[1][j]) = (here, there);
        }
    }

    /// Cosines and sines over the kernel's transform, for eight places after eight.
    pub(super) fn tables(&self, colour: &Colour, places_um: &[f64]) -> Vec<Turns> {
        let mut table = vec![[[0.0; LANES]; 2]; places_um.len().div_ceil(LANES) * self.half];
        for (places, table) in places_um.chunks(LANES).zip(table.chunks_mut(self.half)) {
            let (mut turn, mut scale) = ([0.0; LANES], [0.0; LANES]);
            for (lane, place_um) in places.iter().enumerate() {
                turn[lane] = colour.step_per_um * place_um;
                scale[lane] = self.kernel(turn[lane]).recip();
            }
            lanes::turns(self.set, &turn, &scale, table);
        }
        table
    }

    /// Cosines and sines for eight places after eight, each rate times a factor of its own.
    pub(super) fn bare_tables(
        &self,
        colour: &Colour,
        places_um: &[f64],
        factor: impl Fn(usize) -> f64,
    ) -> Vec<Turns> {
        let factors: Vec<f64> = (0..self.half).map(factor).collect();
        let mut table = vec![[[0.0; LANES]; 2]; places_um.len().div_ceil(LANES) * self.half];
        for (places, table) in places_um.chunks(LANES).zip(table.chunks_mut(self.half)) {
            let mut turn = [0.0; LANES];
            for (turn, place_um) in turn.iter_mut().zip(places) {
                *turn = colour.step_per_um * place_um;
            }
            lanes::turns(self.set, &turn, &[1.0; LANES], table);
            for (turns, factor) in table.iter_mut().zip(&factors) {
                *turns = turns.map(|lanes| lanes.map(|t| t * factor));
            }
        }
        table
    }

    /// The intensity integrated over a disc about the reference point, um^2.
    ///
    /// Lines across the disc and points along each line, both by Gauss; y = R sin(angle) takes the ends of the disc
    /// smoothly. The intensity's finest detail has a length of wavelength times focal ratio, `unit_um`.
    pub(crate) fn within_disc_um2(&self, radius_um: f64, unit_um: f64) -> f64 {
        let count = (TAU * radius_um / unit_um + 16.0) as usize;
        let lines: Vec<(f64, f64)> = gauss::on_interval(count.next_multiple_of(2), -PI / 2.0, PI / 2.0)
            .filter(|(angle, _)| *angle > 0.0)
            .collect();
        let points: Vec<(f64, f64)> =
            gauss::on_interval(count.next_multiple_of(2), -1.0, 1.0).filter(|(t, _)| *t > 0.0).collect();
        let mut sums_of_lines = Vec::new();
        let mut panels = self.empty_panels();
        for lines in lines.chunks(LANES) {
            let places: Vec<f64> = lines.iter().map(|(angle, _)| radius_um * angle.sin()).collect();
            for colour in &self.colours {
                self.panels(colour, &self.tables(colour, &places), &mut panels);
                for (t, weight) in &points {
                    let (mut turn, mut share) = ([0.0; LANES], [0.0; LANES]);
                    for (lane, (angle, line)) in lines.iter().enumerate() {
                        let chord_um = radius_um * angle.cos();
                        turn[lane] = colour.step_per_um * t * chord_um;
                        // Measures of the line (in its angle) and of the point.
                        share[lane] = line * chord_um * weight * chord_um / self.kernel(turn[lane]).powi(2);
                    }
                    for panels in &panels {
                        let [above, below] = lanes::at_places(self.set, panels, &turn);
                        let sum: f64 = (0..LANES).map(|l| share[l] * (above[l] + below[l])).sum();
                        sums_of_lines.push(colour.counts * sum);
                    }
                }
            }
        }
        sums::pairwise(&sums_of_lines)
    }

    /// The intensity integrated over a rectangle about the reference point, um^2; finest detail as above.
    pub(crate) fn within_rectangle_um2(&self, half_along_um: f64, half_across_um: f64, unit_um: f64) -> f64 {
        let halves = |half_um: f64| -> Vec<(f64, f64)> {
            let count = (TAU * half_um / unit_um + 16.0) as usize;
            let nodes = gauss::on_interval(count.next_multiple_of(2), -half_um, half_um);
            nodes.filter(|(x, _)| *x > 0.0).collect()
        };
        let (lines, points) = (halves(half_along_um), halves(half_across_um));
        let mut parts = Vec::new();
        let mut panels = self.empty_panels();
        for lines in lines.chunks(LANES) {
            let places: Vec<f64> = lines.iter().map(|line| line.0).collect();
            for colour in &self.colours {
                self.panels(colour, &self.tables(colour, &places), &mut panels);
                for (y, weight) in &points {
                    let turn = colour.step_per_um * y;
                    let share = colour.counts * weight / self.kernel(turn).powi(2);
                    for panels in &panels {
                        let [above, below] = lanes::at_places(self.set, panels, &[turn; LANES]);
                        let line = |(l, (_, line)): (usize, &(f64, f64))| line * (above[l] + below[l]);
                        parts.push(share * lines.iter().enumerate().map(line).sum::<f64>());
                    }
                }
            }
        }
        sums::pairwise(&parts)
    }

    /// The mean of the intensity over azimuth at radii about the reference point; finest detail as in
    /// [`Amplitude::within_disc_um2`].
    pub(crate) fn mean_around(&self, radius_um: &[f64], unit_um: f64) -> Vec<f64> {
        let mut panels = self.empty_panels();
        let mut means = Vec::with_capacity(radius_um.len());
        for radii in radius_um.chunks(LANES) {
            let mut sums = [0.0; LANES];
            let largest = radii.iter().copied().fold(0.0, f64::max);
            // Even steps integrate all azimuthal orders up to their number; a place stands for its four mirror places.
            let count = ((TAU * largest / unit_um + 20.0) / 4.0).ceil() as usize;
            for k in 0..count {
                let (sin, cos) = (PI / 2.0 * (k as f64 + 0.5) / count as f64).sin_cos();
                let places: Vec<f64> = radii.iter().map(|r| r * cos).collect();
                for colour in &self.colours {
                    self.panels(colour, &self.tables(colour, &places), &mut panels);
                    let (mut turn, mut share) = ([0.0; LANES], [0.0; LANES]);
                    for (lane, r) in radii.iter().enumerate() {
                        turn[lane] = colour.step_per_um * r * sin;
                        share[lane] = colour.counts / self.kernel(turn[lane]).powi(2);
                    }
                    for panels in &panels {
                        let [above, below] = lanes::at_places(self.set, panels, &turn);
                        for lane in 0..LANES {
                            sums[lane] += share[lane] * (above[lane] + below[lane]);
                        }
                    }
                }
            }
            means.extend(sums[..radii.len()].iter().map(|sum| sum / (4 * count) as f64));
        }
        means
    }
}

/// A square picture of so many pixels on a side, from what fills its rows one after another.
pub(super) fn square(pixels: usize, fill: impl FnOnce(&mut [f64])) -> Array2<f64> {
    let mut image = vec![0.0; pixels * pixels];
    fill(&mut image);
    Array2::from_shape_vec((pixels, pixels), image).unwrap_or_else(|_| unreachable!("so many pixels"))
}

/// One line of a chunk of columns, right and left of the middle, into the picture.
fn place_row(
    image: &mut [f64],
    row: usize,
    pixels: usize,
    here: &std::ops::Range<usize>,
    right: &Lanes,
    left: &Lanes,
) {
    let line = &mut image[row * pixels..(row + 1) * pixels];
    let middle = pixels / 2;
    let last = pixels - 1 - middle;
    for (to, from) in line[last + 1 - here.end..last + 1 - here.start].iter_mut().rev().zip(left) {
        *to = *from;
    }
    line[middle + here.start..middle + here.end].copy_from_slice(&right[..here.len()]);
}

/// Cosines and sines of (k + 1/2) `turn`, k from 0, in the form of [`lanes::at_place`].
fn single_turns(set: Instructions, turn: f64, count: usize) -> Vec<Lanes> {
    let mut table = vec![[0.0; LANES]; count];
    lanes::single_turns(set, turn, &mut table);
    table
}

/// How many points of half a row lie within a circle (in steps of the net) and the reach of the taps.
fn filled(half: usize, radius: f64) -> Vec<usize> {
    let reach = 0.5 * TAPS as f64;
    let columns = |row: usize| {
        let nearest = (row as f64 + 0.5 - reach).max(0.0);
        let half_chord = (radius * radius - nearest * nearest).max(0.0).sqrt();
        ((half_chord + reach + 0.5).ceil() as usize).min(half)
    };
    (0..half).map(columns).collect()
}

/// The four points (+-column, +-row) of a net taken together.
fn folded(net: &[f64], half: usize, is_even: bool) -> Vec<Folded> {
    let side = 2 * half;
    let (points, _) = net.as_chunks::<2>();
    let mut folded = Vec::with_capacity(half * half);
    for j in 0..half {
        let row = |row: usize| points[row * side..(row + 1) * side].split_at(half);
        let ((up_left, up_right), (down_left, down_right)) = (row(half + j), row(half - 1 - j));
        let up = up_right.iter().zip(up_left.iter().rev());
        let down = down_right.iter().zip(down_left.iter().rev());
        folded.extend(up.zip(down).map(|((a, b), (c, d))| fold([*a, *b, *c, *d])));
        if is_even {
            // Half of the nodes have been left out: the rows' difference is theirs alone.
            for points in &mut folded[j * half..] {
                (points[2], points[3], points[6], points[7]) = (0.0, 0.0, 0.0, 0.0);
            }
        }
    }
    folded
}

pub(super) fn fold([a, b, c, d]: [[f64; 2]; 4]) -> Folded {
    [
        a[0] + c[0] + (b[0] + d[0]),
        a[1] + c[1] + (b[1] + d[1]),
        a[0] - c[0] + (b[0] - d[0]),
        a[1] - c[1] + (b[1] - d[1]),
        a[0] + c[0] - (b[0] + d[0]),
        a[1] + c[1] - (b[1] + d[1]),
        a[0] - c[0] - (b[0] - d[0]),
        a[1] - c[1] - (b[1] - d[1]),
    ]
}

#[cfg(test)]
mod tests;
