//! Draws of the figure: components by systematic sampling, a prior figure for each, and its correction
//! by the readings.

use super::conditional::{Conditional, add_correction};
use super::evidence::{Component, Data, Evidence};
use super::figure_model::FigureModel;
use super::linear::dot;
use crate::numeric::random::Stream;

/// Draws made side by side.
pub(crate) const LANES: usize = 8;
/// The stream of the draw numbered k is this, shifted by the role of the set, and k more.
pub(crate) const ROLE_BITS: u32 = 32;
/// The stream that chooses the components.
const CHOICE_STREAM: u64 = u32::MAX as u64;

/// Figures that the readings allow, all equally probable.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FigureDraws {
    /// Heights of the glass, nm, one row for each draw, one column for each point of the grid.
    pub(crate) height_nm: Vec<f64>,
    /// Points of the grid.
    pub(crate) points: usize,
    /// What the wrong place of each opening adds to its reading, mm, one row for each draw.
    pub(crate) shift_mm: Vec<f64>,
    /// Openings.
    pub(crate) zones: usize,
    /// Drop of each draw's edge, nm; none for a figure without one.
    pub(crate) drop_nm: Vec<Option<f64>>,
}

/// Chooses `count` components with probabilities proportional to `weights`, by one uniform draw.
///
/// Source: systematic sampling (Kitagawa 1996, J. Comput. Graph. Stat. 5, 1, from memory): each
/// component comes out n w times, rounded up or down.
pub(crate) fn systematic(weights: &[f64], count: usize, uniform: f64) -> Vec<usize> {
    let total: f64 = weights.iter().sum();
    let mut chosen = Vec::with_capacity(count);
    let mut passed = 0.0;
    for (index, weight) in weights.iter().enumerate() {
        passed += weight;
        while chosen.len() < count && (chosen.len() as f64 + uniform) * total < passed * count as f64 {
            chosen.push(index);
        }
    }
    let last = weights.iter().rposition(|&weight| weight > 0.0).unwrap_or(0);
    chosen.resize(count, last);
    chosen
}

/// The components of `count` draws, in rising order.
pub(crate) fn choose(evidence: &Evidence, count: usize, seed: u64, role: u64) -> Vec<usize> {
    let uniform = Stream::new(seed, (role << ROLE_BITS) + CHOICE_STREAM).uniform();
    systematic(&evidence.weights, count, uniform)
}

/// A figure of the prior and the noise of its readings, in lanes: element, then lane.
pub(crate) struct PriorLanes {
    pub(crate) height_nm: Vec<f64>,
    /// Drop of each lane's edge, nm.
    pub(crate) drop_nm: [f64; LANES],
    /// Contrasts of the noise without what radii and steepness add, mm.
    noise_mm: Vec<f64>,
    /// Standard normals of the openings' shifts, and of the outermost one's where an edge is steep.
    shift: Vec<f64>,
    steep: Vec<f64>,
    /// Standard normals of what the bench adds.
    scatter: Vec<f64>,
    broad: Vec<f64>,
    narrow: Vec<Vec<f64>>,
}

/// What one set of readings says of the places of its openings.
#[derive(Clone, Copy)]
pub(crate) struct Pull<'a> {
    pub(crate) model: &'a FigureModel,
    /// The residual of the contrasts over their covariance.
    pub(crate) weight: &'a [f64],
    pub(crate) steep_sd_mm: f64,
}

impl Pull<'_> {
    /// The shifts of the readings from the normals of [`PriorLanes::shifts`], mm.
    pub(crate) fn shift_mm(&self, normals: &[f64], shift_mm: &mut [f64]) {
        let zones = shift_mm.len();
        for ((shift, place), normal) in shift_mm.iter_mut().zip(&self.model.place_sd_mm).zip(normals) {
            *shift = place * normal;
        }
        shift_mm[zones - 1] += self.steep_sd_mm * normals[zones];
    }
}

impl PriorLanes {
    pub(crate) fn new(model: &FigureModel) -> Self {
        let rooms = |rows: usize| vec![0.0; rows * LANES];
        Self {
            height_nm: rooms(model.grid.radius_mm.len()),
            drop_nm: [0.0; LANES],
            noise_mm: rooms(model.order),
            shift: rooms(model.rims.len()),
            steep: rooms(1),
            scatter: rooms(model.rims.len()),
            broad: rooms(model.broad.factor.rank),
            narrow: model.narrow.iter().map(|process| rooms(process.factor.rank)).collect(),
        }
    }

    /// Draws one figure for each of up to eight components, each from its own stream; `partner` holds
    /// the other surface's figures if one mask served both.
    pub(crate) fn fill(
        &mut self,
        model: &FigureModel,
        data: &Data,
        components: &[Component],
        (seed, first): (u64, u64),
        partner: Option<&Self>,
    ) {
        self.height_nm.fill(0.0);
        self.broad.fill(0.0);
        let mut used = vec![false; model.narrow.len()];
        for narrow in &mut self.narrow {
            narrow.fill(0.0);
        }
        let q = model.order;
        let mut noise = vec![0.0; q];
        for (lane, component) in components.iter().enumerate() {
            let mut stream = Stream::new(seed, first + lane as u64);
            let conic = component.conic_sd_nm * stream.normal();
            let edge = component.edge.map(|(edge, sd)| (&model.edges[edge].shape.height, sd));
            let drop = edge.map_or(0.0, |(_, sd)| sd) * stream.normal();
            self.drop_nm[lane] = drop;
            noise.fill_with(|| stream.normal());
            data.noise_factor.multiply(&mut noise);
            let scale = component.noise_scale.sqrt();
            for (row, value) in self.noise_mm.chunks_exact_mut(LANES).zip(&noise) {
                row[lane] = scale * value;
            }
            for row in self.shift.chunks_exact_mut(LANES) {
                row[lane] = stream.normal();
            }
            self.steep[lane] = stream.normal();
            if model.scatter_mm > 0.0 {
                for row in self.scatter.chunks_exact_mut(LANES) {
                    row[lane] = stream.normal();
                }
            }
            for row in self.broad.chunks_exact_mut(LANES) {
                row[lane] = component.broad_sd_nm * stream.normal();
            }
            used[component.length] = true;
            for row in self.narrow[component.length].chunks_exact_mut(LANES) {
                row[lane] = component.narrow_sd_nm * stream.normal();
            }
            for (row, height) in self.height_nm.chunks_exact_mut(LANES).zip(&model.conic.height) {
                row[lane] += conic * height;
            }
            if let Some((heights, _)) = edge {
                for (row, height) in self.height_nm.chunks_exact_mut(LANES).zip(heights) {
                    row[lane] += drop * height;
                }
            }
        }
        if let Some(other) = partner {
            self.shift.copy_from_slice(&other.shift);
            self.steep.copy_from_slice(&other.steep);
        }
        add_product(&model.broad.factor.rows, &self.broad, &mut self.height_nm);
        for ((process, normals), _) in
            model.narrow.iter().zip(&self.narrow).zip(&used).filter(|(_, used)| **used)
        {
            add_product(&process.factor.rows, normals, &mut self.height_nm);
        }
    }

    /// Contrasts of what a lane's readings would be, noise and all, mm.
    pub(crate) fn contrasts(&self, model: &FigureModel, lane: usize, steep_sd_mm: f64) -> Vec<f64> {
        let at = |point: usize| self.height_nm[point * LANES + lane];
        let readings: Vec<f64> = model
            .rims
            .iter()
            .enumerate()
            .map(|(k, &(inner, outer, gain))| {
                gain * (at(outer) - at(inner))
                    + model.place_sd_mm[k] * self.shift[k * LANES + lane]
                    + model.scatter_mm * self.scatter[k * LANES + lane]
            })
            .collect();
        let steep = steep_sd_mm * self.steep[lane];
        let rows = model.contrasts.chunks_exact(readings.len());
        rows.enumerate()
            .map(|(c, row)| {
                dot(row, &readings) + self.noise_mm[c * LANES + lane] + steep * model.outermost[c]
            })
            .collect()
    }

    /// Standard normals of a lane's shifts, one for each opening, and of the steepness last, after the readings: `pulls`
    /// are the sides whose mask this is.
    pub(crate) fn shifts(&self, lane: usize, pulls: &[Pull<'_>]) -> Vec<f64> {
        let mut normals: Vec<f64> = self.shift.chunks_exact(LANES).map(|row| row[lane]).collect();
        let zones = normals.len();
        normals.push(self.steep[lane]);
        for pull in pulls {
            for (rows, weight) in pull.model.contrasts.chunks_exact(zones).zip(pull.weight) {
                for (k, a) in rows.iter().enumerate() {
                    normals[k] += pull.model.place_sd_mm[k] * a * weight;
                }
            }
            normals[zones] += pull.steep_sd_mm * dot(&pull.model.outermost, pull.weight);
        }
        normals
    }

    /// Copies a lane's figure.
    pub(crate) fn copy_heights(&self, lane: usize, height_nm: &mut [f64]) {
        for (height, row) in height_nm.iter_mut().zip(self.height_nm.chunks_exact(LANES)) {
            *height = row[lane];
        }
    }
}

impl FigureDraws {
    /// One draw for each of the components chosen, from a seed and the numbered streams from `first` on.
    ///
    /// Source: Matheron's rule, from memory: a draw of the prior, plus what the readings say of it
    /// when they are compared with readings of that very draw.
    pub(crate) fn new(
        model: &FigureModel,
        data: &Data,
        evidence: &Evidence,
        chosen: &[usize],
        (seed, first): (u64, u64),
    ) -> Self {
        let (points, zones) = (model.grid.radius_mm.len(), model.rims.len());
        let mut height_nm = vec![0.0; points * chosen.len()];
        let mut shift_mm = vec![0.0; zones * chosen.len()];
        let mut drop_nm = Vec::with_capacity(chosen.len());
        let mut lanes = PriorLanes::new(model);
        let mut known: Option<(usize, Conditional)> = None;
        let blocks = chosen.chunks(LANES).zip(height_nm.chunks_mut(LANES * points));
        let blocks = blocks.zip(shift_mm.chunks_mut(LANES * zones));
        for (block, ((indices, heights), shifts)) in blocks.enumerate() {
            let components: Vec<Component> =
                indices.iter().map(|&index| evidence.catalogue.component(index)).collect();
            let first = first + (block * LANES) as u64;
            lanes.fill(model, data, &components, (seed, first), None);
            let rows = heights.chunks_exact_mut(points).zip(shifts.chunks_exact_mut(zones));
            for (lane, (height, shift)) in rows.enumerate() {
                lanes.copy_heights(lane, height);
                if known.as_ref().is_none_or(|(index, _)| *index != indices[lane]) {
                    known =
                        Conditional::new(model, data, components[lane]).map(|found| (indices[lane], found));
                }
                drop_nm.push(None);
                let Some((_, conditional)) = &known else { continue };
                let mut rest = conditional.target.clone();
                let predicted = lanes.contrasts(model, lane, conditional.steep_sd_mm);
                for (value, predicted) in rest.iter_mut().zip(&predicted) {
                    *value -= predicted;
                }
                conditional.factor.solve(&mut rest);
                let drop = lanes.drop_nm[lane] + add_correction(model, &conditional.component, &rest, height);
                drop_nm[block * LANES + lane] = components[lane].edge.map(|_| drop);
                let pull = Pull { model, weight: &rest, steep_sd_mm: conditional.steep_sd_mm };
                pull.shift_mm(&lanes.shifts(lane, &[pull]), shift);
            }
        }
        Self { height_nm, points, shift_mm, zones, drop_nm }
    }

    /// Draws put behind these.
    pub(crate) fn append(&mut self, other: Self) {
        self.height_nm.extend(other.height_nm);
        self.shift_mm.extend(other.shift_mm);
        self.drop_nm.extend(other.drop_nm);
    }

    /// The shifts of each draw in turn, mm.
    pub(crate) fn shifts(&self) -> impl ExactSizeIterator<Item = &[f64]> {
        self.shift_mm.chunks_exact(self.zones)
    }

    /// The heights of each draw in turn, nm.
    pub(crate) fn rows(&self) -> impl ExactSizeIterator<Item = &[f64]> {
        self.height_nm.chunks_exact(self.points)
    }
}

/// Adds the product of a matrix in row order with vectors in lanes.
fn add_product(rows: &[f64], vectors: &[f64], sums: &mut [f64]) {
    let width = vectors.len() / LANES;
    let pairs = rows.chunks(2 * width).zip(sums.chunks_mut(2 * LANES));
    for (rows, sums) in pairs {
        // Two rows at a time use each vector twice while it is at hand.
        let (first, second) = rows.split_at(width);
        let second = if second.is_empty() { first } else { second };
        let mut lanes = [[0.0; LANES]; 2];
        for ((a, b), vector) in first.iter().zip(second).zip(vectors.chunks_exact(LANES)) {
            for (lane, value) in lanes[0].iter_mut().zip(vector) {
                *lane += a * value;
            }
            for (lane, value) in lanes[1].iter_mut().zip(vector) {
                *lane += b * value;
            }
        }
        for (total, lane) in sums.iter_mut().zip(lanes.iter().flatten()) {
            *total += lane;
        }
    }
}
