//! Before and after: two surfaces of one mirror, drawn in pairs.

use super::conditional::{Conditional, add_correction};
use super::draws::{FigureDraws, LANES, PriorLanes, Pull, ROLE_BITS, choose, systematic};
use super::evidence::{Component, Evidence};
use super::figure_model::FigureModel;
use super::joint::{JointConditional, Side};
use super::posterior::{Analysis, Posterior};
use crate::error::Result;
use crate::numeric::{pool, random::Stream};
use crate::shop_test::estimate::FigureEstimate;

/// Streams of the draws in pairs, of their shuffling and of their choice.
const PAIR_ROLES: [u64; 2] = [128, 129];
const SHUFFLE_STREAM: u64 = 130 << ROLE_BITS;
const CHOICE_STREAM: u64 = 131 << ROLE_BITS;
/// Streams of what the benches add.
const BENCH_STREAM: u64 = 132 << ROLE_BITS;
/// Pairs drawn in one piece by one thread: whole blocks of lanes.
const CHUNK: usize = 16 * LANES;

/// Two surfaces, draw beside draw.
#[derive(Clone, Debug)]
pub(crate) struct PairedDraws {
    pub(crate) analyses: [Analysis; 2],
    pub(crate) before: Posterior,
    pub(crate) after: Posterior,
    /// One mask served both: each of its openings stands wrong by the same in both.
    pub(crate) one_mask: bool,
    /// How many independent pairs the draws are worth; few mean that one mask contradicts the readings.
    pub(crate) effective_pairs: f64,
}

impl PairedDraws {
    /// Contrasts of what endless runs through these openings on these benches would read, draw by draw: shifts of the openings
    /// and what the bench adds stay in.
    pub(crate) fn endless_contrasts(&self) -> Vec<Vec<f64>> {
        let sides = [(&self.analyses[0], &self.before, 0), (&self.analyses[1], &self.after, 1)];
        let [before, after] = sides.map(|(analysis, posterior, side)| {
            let (model, data) = (&analysis.model, &analysis.data);
            let scatter = model.scatter_mm.powi(2);
            let rows = posterior.figures.rows().zip(posterior.figures.shifts()).enumerate();
            rows.map(|(draw, (height_nm, shift_mm))| {
                let mut stream = Stream::new(analysis.options.seed, BENCH_STREAM + (2 * draw + side) as u64);
                let mut readings = model.readings_mm(height_nm);
                for (k, reading) in readings.iter_mut().enumerate() {
                    let left = data.error_mm[k] - *reading - shift_mm[k];
                    // Of noise and bench only the sum is known: the bench's part of it is drawn.
                    let share = scatter / (scatter + 1.0 / data.information[k]);
                    *reading += shift_mm[k];
                    if scatter > 0.0 {
                        *reading += share * left + (scatter * (1.0 - share)).sqrt() * stream.normal();
                    }
                }
                model.contrast(&readings)
            })
            .collect::<Vec<_>>()
        });
        before.into_iter().zip(after).map(|(first, second)| [first, second].concat()).collect()
    }

    /// Contrasts of what both surfaces' readings would be without noise and shifts, draw by draw.
    pub(crate) fn noise_free_contrasts(&self) -> Vec<Vec<f64>> {
        let rows = self.before.figures.rows().zip(self.after.figures.rows());
        rows.map(|(before, after)| {
            let of = |model: &FigureModel, height_nm: &[f64]| model.contrast(&model.readings_mm(height_nm));
            [of(&self.analyses[0].model, before), of(&self.analyses[1].model, after)].concat()
        })
        .collect()
    }
}

/// A pair of components, and what the sets of readings say of them together.
struct Pair {
    components: [Component; 2],
    joint: JointConditional,
}

/// Draws both surfaces side by side; the options of the first serve for seed and number of draws.
///
/// Sets with the same openings are taken to be read through one mask. The edge is never taken as common: a
/// refigure works it. Errors: those of [`Analysis`].
///
/// Source: Matheron's rule on both sets at once; the components of a pair are chosen set by set and
/// weighed by the ratio of their joint density to the product of their own (importance resampling,
/// Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, section 10.4, from memory).
pub(crate) fn paired_draws(before: &FigureEstimate, after: &FigureEstimate) -> Result<PairedDraws> {
    let prepared = [before.prepared()?, after.prepared()?];
    let (analyses, evidences) = ([&prepared[0].1, &prepared[1].1], [&prepared[0].2, &prepared[1].2]);
    let (count, seed) = (before.options.draws, before.options.seed);
    let one_mask = before.readings.openings() == after.readings.openings()
        && analyses[0].model.radius_sigma_mm > 0.0
        && analyses[0].model.radius_sigma_mm.to_bits() == analyses[1].model.radius_sigma_mm.to_bits();
    let ([first, second], effective_pairs) = if one_mask {
        let sides = analyses.map(|analysis| Side { model: &analysis.model, data: &analysis.data });
        let pairs = weigh_pairs(sides, evidences, count, seed);
        let (kept, effective) = resample(&pairs, count, seed);
        (draw_pairs(analyses, sides, &kept, seed), effective)
    } else {
        let draws = [0, 1].map(|k: usize| {
            let mut chosen = choose(evidences[k], count, seed, k as u64);
            if k == 1 {
                // Draws come ordered by their components; side by side they must be strangers.
                Stream::new(seed, SHUFFLE_STREAM).shuffle(&mut chosen);
            }
            analyses[k].draw(evidences[k], &chosen, k as u64)
        });
        (draws, count as f64)
    };
    let analyses = analyses.map(Analysis::clone);
    Ok(PairedDraws { analyses, before: first, after: second, one_mask, effective_pairs })
}

/// Pairs with the logarithms of their importance.
type Weighted = Vec<(Pair, f64)>;

/// Components chosen set by set, conditioned together.
fn weigh_pairs(sides: [Side<'_>; 2], evidences: [&Evidence; 2], count: usize, seed: u64) -> Weighted {
    let conditionals = [0, 1].map(|k: usize| {
        let chosen = choose(evidences[k], count, seed, k as u64);
        let mut list: Vec<(usize, Conditional)> = Vec::with_capacity(count);
        for index in chosen {
            let known = list.last().filter(|(last, _)| *last == index).map(|(_, found)| found.clone());
            let component = evidences[k].catalogue.component(index);
            let found = known.or_else(|| Conditional::new(sides[k].model, sides[k].data, component));
            list.extend(found.map(|found| (index, found)));
        }
        list
    });
    let mut order: Vec<usize> = (0..conditionals[1].len()).collect();
    Stream::new(seed, SHUFFLE_STREAM).shuffle(&mut order);
    let mut pairs = Vec::with_capacity(count);
    for ((_, before), &place) in conditionals[0].iter().zip(&order) {
        let (_, after) = &conditionals[1][place];
        let Some(joint) = JointConditional::new(sides, [before, after]) else { continue };
        let importance = joint.log_density - before.log_density() - after.log_density();
        let components = [before.component, after.component];
        pairs.push((Pair { components, joint }, importance));
    }
    pairs
}

/// Pairs in proportion to their importance, and how many of equal importance they are worth.
fn resample(pairs: &Weighted, count: usize, seed: u64) -> (Vec<&Pair>, f64) {
    let best = pairs.iter().map(|(_, importance)| *importance).fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = pairs.iter().map(|(_, importance)| libm::exp(importance - best)).collect();
    let total: f64 = weights.iter().sum();
    let effective = total * total / weights.iter().map(|w| w * w).sum::<f64>();
    let uniform = Stream::new(seed, CHOICE_STREAM + 1).uniform();
    (systematic(&weights, count, uniform).into_iter().map(|place| &pairs[place].0).collect(), effective)
}

/// One draw of both surfaces for each pair.
fn draw_pairs(analyses: [&Analysis; 2], sides: [Side<'_>; 2], pairs: &[&Pair], seed: u64) -> [Posterior; 2] {
    let pieces = pool::map_ordered(pairs.len().div_ceil(CHUNK), true, |piece| {
        let first = piece * CHUNK;
        let pairs = &pairs[first..pairs.len().min(first + CHUNK)];
        let [before, after] = draw_piece(sides, pairs, first, seed);
        (analyses[0].worth(before), analyses[1].worth(after))
    });
    let (before, after): (Vec<Posterior>, Vec<Posterior>) = pieces.into_iter().unzip();
    [Posterior::joined(before), Posterior::joined(after)]
}

/// The figures of some pairs, of which the first has the number `first`.
fn draw_piece(sides: [Side<'_>; 2], pairs: &[&Pair], first: usize, seed: u64) -> [FigureDraws; 2] {
    let orders = sides.map(|side| side.model.order);
    let mut draws = sides.map(|side| {
        let (points, zones) = (side.model.grid.radius_mm.len(), side.model.rims.len());
        let rooms = |width: usize| vec![0.0; width * pairs.len()];
        let drop_nm = vec![None; pairs.len()];
        FigureDraws { height_nm: rooms(points), points, shift_mm: rooms(zones), zones, drop_nm }
    });
    let mut lanes = sides.map(|side| PriorLanes::new(side.model));
    for (block, pairs) in pairs.chunks(LANES).enumerate() {
        let number = (first + block * LANES) as u64;
        let components =
            [0, 1].map(|k: usize| pairs.iter().map(|pair| pair.components[k]).collect::<Vec<_>>());
        let [before, after] = &mut lanes;
        let streams = PAIR_ROLES.map(|role| (seed, (role << ROLE_BITS) + number));
        before.fill(sides[0].model, sides[0].data, &components[0], streams[0], None);
        after.fill(sides[1].model, sides[1].data, &components[1], streams[1], Some(before));
        for (lane, pair) in pairs.iter().enumerate() {
            let mut rest = pair.joint.target.clone();
            let predicted =
                [0, 1].map(|k: usize| lanes[k].contrasts(sides[k].model, lane, pair.joint.steep_sd_mm[k]));
            for (value, predicted) in rest.iter_mut().zip(predicted.iter().flatten()) {
                *value -= predicted;
            }
            pair.joint.factor.solve(&mut rest);
            let (first, second) = rest.split_at(orders[0]);
            let pulls = [0, 1].map(|k: usize| Pull {
                model: sides[k].model,
                weight: [first, second][k],
                steep_sd_mm: pair.joint.steep_sd_mm[k],
            });
            let shifts = lanes[0].shifts(lane, &pulls);
            for (k, weight) in [first, second].into_iter().enumerate() {
                let (points, zones) = (draws[k].points, draws[k].zones);
                let place = (block * LANES + lane) * zones;
                pulls[k].shift_mm(&shifts, &mut draws[k].shift_mm[place..place + zones]);
                let place = (block * LANES + lane) * points;
                let height_nm = &mut draws[k].height_nm[place..place + points];
                lanes[k].copy_heights(lane, height_nm);
                let drop = lanes[k].drop_nm[lane]
                    + add_correction(sides[k].model, &pair.components[k], weight, height_nm);
                draws[k].drop_nm[block * LANES + lane] = pair.components[k].edge.map(|_| drop);
            }
        }
    }
    draws
}
