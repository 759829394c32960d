//! How well each component of the prior explains the readings: smooth components by a small Cholesky
//! factor, edges by updates of rank one.

use super::figure_model::FigureModel;
use super::linear::Factor;
use super::prior::log_weights;
use crate::shop_test::noise::ZoneMeans;

/// Components whose weight is below e to this power of the largest are not followed.
pub(crate) const LEAST_LOG_WEIGHT: f64 = -45.0;
/// The drop of an edge enters its own offset and scatter: this often it is found anew, half way.
const ROUNDS: usize = 2;

/// Readings reduced to what the free zeros leave.
#[derive(Clone, Debug)]
pub(crate) struct Data {
    /// Zone means less the paraboloid's readings, mm; a common zero is free.
    pub(crate) error_mm: Vec<f64>,
    /// How much is known of each zone mean, 1/mm^2.
    pub(crate) information: Vec<f64>,
    /// Contrasts of the zone means, the ideal taken out, mm.
    pub(crate) contrast_mm: Vec<f64>,
    /// Their covariance from the scatter of the runs, mm^2, and its factor.
    pub(crate) noise_mm2: Vec<f64>,
    pub(crate) noise_factor: Factor,
    /// Equally probable factors on that covariance.
    pub(crate) scales: Vec<f64>,
}

impl Data {
    /// The contrasts of zone means and their covariance.
    ///
    /// None if the noise of the openings is so unequal that the covariance has no factor.
    pub(in crate::shop_test) fn new(model: &FigureModel, means: &ZoneMeans) -> Option<Self> {
        let errors = means.mean_mm.iter().zip(&model.bench.ideal_mm);
        let error_mm: Vec<f64> = errors.map(|(mean, ideal)| mean - ideal).collect();
        // Symmetric: rows and columns are the same.
        let noise_mm2 = means.contrast_covariance()?.as_slice().to_vec();
        Some(Self {
            contrast_mm: model.contrast(&error_mm),
            noise_factor: Factor::of(&noise_mm2, model.order)?,
            noise_mm2,
            scales: means.scales(),
            information: means.information.diagonal().iter().copied().collect(),
            error_mm,
        })
    }
}

/// One component: the standard deviations of its parts.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Component {
    /// Index of the narrow zones' length.
    pub(crate) length: usize,
    pub(crate) narrow_sd_nm: f64,
    pub(crate) broad_sd_nm: f64,
    pub(crate) conic_sd_nm: f64,
    /// Factor on the squared noise.
    pub(crate) noise_scale: f64,
    /// Index of the edge and the standard deviation of its drop, nm.
    pub(crate) edge: Option<(usize, f64)>,
}

/// The order in which components are counted.
#[derive(Clone, Debug)]
pub(crate) struct Catalogue {
    smooth: Vec<(Component, f64)>,
    /// Standard deviations of drops above 0, with the logarithms of their weights.
    drops: Vec<(f64, f64)>,
    log_no_edge: f64,
    edges: usize,
}

impl Catalogue {
    pub(crate) fn new(model: &FigureModel, scales: &[f64]) -> Self {
        let prior = &model.prior;
        let lists = [&prior.narrow_length, &prior.narrow_sd_nm, &prior.broad_sd_nm, &prior.conic_sd_nm];
        let [lengths, narrows, broads, conics] = lists.map(|list| log_weights(list));
        let log_scale = -libm::log(scales.len() as f64);
        let mut smooth = Vec::new();
        for (length, in_length) in lengths.iter().enumerate() {
            for (&(narrow_sd_nm, _), in_narrow) in prior.narrow_sd_nm.iter().zip(&narrows) {
                for (&(broad_sd_nm, _), in_broad) in prior.broad_sd_nm.iter().zip(&broads) {
                    for (&(conic_sd_nm, _), in_conic) in prior.conic_sd_nm.iter().zip(&conics) {
                        for &noise_scale in scales {
                            let log_weight = in_length + in_narrow + in_broad + in_conic + log_scale;
                            let component = Component {
                                length,
                                narrow_sd_nm,
                                broad_sd_nm,
                                conic_sd_nm,
                                noise_scale,
                                edge: None,
                            };
                            smooth.push((component, log_weight));
                        }
                    }
                }
            }
        }
        let (mut drops, mut no_edge) = (Vec::new(), 0.0);
        for (&(drop, _), log_weight) in prior.edge_drop_sd_nm.iter().zip(log_weights(&prior.edge_drop_sd_nm))
        {
            if drop > 0.0 {
                drops.push((drop, log_weight));
            } else {
                no_edge += libm::exp(log_weight);
            }
        }
        Self { smooth, drops, log_no_edge: libm::log(no_edge), edges: model.edges.len() }
    }

    /// The smooth parts, each with the logarithm of its weight before the readings.
    pub(crate) fn smooth(&self) -> &[(Component, f64)] {
        &self.smooth
    }

    /// How many components share one smooth part: none and every edge.
    pub(crate) fn slots(&self) -> usize {
        1 + self.edges * self.drops.len()
    }

    pub(crate) fn len(&self) -> usize {
        self.smooth.len() * self.slots()
    }

    pub(crate) fn component(&self, index: usize) -> Component {
        let (smooth, slot) = (index / self.slots(), index % self.slots());
        let mut component = self.smooth[smooth].0;
        component.edge = slot.checked_sub(1).map(|k| (k % self.edges, self.drops[k / self.edges].0));
        component
    }
}

/// The weights of all components after the readings.
#[derive(Clone, Debug)]
pub(crate) struct Evidence {
    pub(crate) catalogue: Catalogue,
    /// The weights, which add up to 1.
    pub(crate) weights: Vec<f64>,
}

impl Evidence {
    /// Weighs every component; none if not one of them can explain the readings.
    pub(crate) fn new(model: &FigureModel, data: &Data) -> Option<Self> {
        let catalogue = Catalogue::new(model, &data.scales);
        let slots = catalogue.slots();
        let mut weights = vec![f64::NEG_INFINITY; catalogue.len()];
        let mut bench = Workbench::new(model, data);
        let mut best = f64::NEG_INFINITY;
        let smooth = catalogue.smooth.iter();
        for ((component, log_weight), logs) in smooth.zip(weights.chunks_exact_mut(slots)) {
            bench.covariance(model, data, component);
            let Some(half_log_determinant) = bench.factorise() else { continue };
            let ceiling = log_weight - half_log_determinant;
            // No fit, however good, lifts a component above its ceiling.
            if ceiling < best + LEAST_LOG_WEIGHT {
                continue;
            }
            bench.whiten();
            logs[0] = ceiling - 0.5 * bench.square + catalogue.log_no_edge;
            for (&(drop, drop_weight), logs) in
                catalogue.drops.iter().zip(logs[1..].chunks_exact_mut(catalogue.edges))
            {
                bench.edges(drop, ceiling + drop_weight, logs);
            }
            best = logs.iter().copied().fold(best, f64::max);
        }
        if !best.is_finite() {
            return None;
        }
        let mut total = 0.0;
        for weight in &mut weights {
            let below = *weight - best;
            *weight = if below < LEAST_LOG_WEIGHT { 0.0 } else { libm::exp(below) };
            total += *weight;
        }
        for weight in &mut weights {
            *weight /= total;
        }
        Some(Self { catalogue, weights })
    }

    /// Weight of the largest narrow zones of the prior: above a half it asks for a second look at the readings.
    pub(crate) fn weight_of_largest_zones(&self) -> f64 {
        let smooth = &self.catalogue.smooth;
        let largest = smooth.iter().map(|(part, _)| part.narrow_sd_nm).fold(0.0, f64::max);
        let rows = smooth.iter().zip(self.weights.chunks_exact(self.catalogue.slots()));
        rows.filter(|((part, _), _)| part.narrow_sd_nm >= largest)
            .map(|(_, row)| row.iter().sum::<f64>())
            .sum()
    }

    /// Weight of each edge of the model, all drops together; what is missing from 1 is the weight of no edge.
    pub(crate) fn edge_weights(&self) -> Vec<f64> {
        let edges = self.catalogue.edges;
        let mut found = vec![0.0; edges];
        for row in self.weights.chunks_exact(self.catalogue.slots()) {
            for (k, weight) in row[1..].iter().enumerate() {
                found[k % edges] += weight;
            }
        }
        found
    }
}

/// The covariance of the contrasts from noise, radii and the smooth parts of a component.
pub(crate) fn smooth_covariance(model: &FigureModel, data: &Data, component: &Component, out: &mut [f64]) {
    let q = model.order;
    let conic = component.conic_sd_nm * component.conic_sd_nm;
    let broad = component.broad_sd_nm * component.broad_sd_nm;
    let narrow = component.narrow_sd_nm * component.narrow_sd_nm;
    let seen = &model.conic.seen;
    for (k, value) in out.iter_mut().enumerate() {
        *value = component.noise_scale * data.noise_mm2[k]
            + model.radii[k]
            + conic * seen[k / q] * seen[k % q]
            + broad * model.broad.seen[k]
            + narrow * model.narrow[component.length].seen[k];
    }
}

/// Sums of products of whitened vectors, one of each for every edge. The letters: e the edge, s and c
/// what the square and the cube of its slope add, y the readings, o the outermost reading.
#[derive(Default)]
struct Products {
    ee: Vec<f64>,
    ey: Vec<f64>,
    es: Vec<f64>,
    ec: Vec<f64>,
    eo: Vec<f64>,
    sy: Vec<f64>,
    cy: Vec<f64>,
    ss: Vec<f64>,
    sc: Vec<f64>,
    cc: Vec<f64>,
    so: Vec<f64>,
    co: Vec<f64>,
}

impl Products {
    fn lists(&mut self) -> [&mut Vec<f64>; 12] {
        [
            &mut self.ee,
            &mut self.ey,
            &mut self.es,
            &mut self.ec,
            &mut self.eo,
            &mut self.sy,
            &mut self.cy,
            &mut self.ss,
            &mut self.sc,
            &mut self.cc,
            &mut self.so,
            &mut self.co,
        ]
    }
}

/// The scratch space of one run through the components.
struct Workbench {
    order: usize,
    covariance: Vec<f64>,
    factor: Factor,
    /// y, o, then e, s and c of every edge, contrasts by columns, before and after whitening.
    columns: Vec<f64>,
    white: Vec<f64>,
    products: Products,
    square: f64,
    yo: f64,
    oo: f64,
    /// Variance of the outermost reading for a drop of 1 nm, mm^2, edge by edge.
    steep: Vec<f64>,
    log_weight: Vec<f64>,
    determinant: Vec<f64>,
    drops: Vec<f64>,
}

impl Workbench {
    fn new(model: &FigureModel, data: &Data) -> Self {
        let (q, edges) = (model.order, model.edges.len());
        let mut columns = Vec::with_capacity(q * (2 + 3 * edges));
        for c in 0..q {
            columns.push(data.contrast_mm[c]);
            columns.push(model.outermost[c]);
            columns.extend(model.edges.iter().map(|edge| edge.shape.seen[c]));
            columns.extend(model.edges.iter().map(|edge| edge.square[c]));
            columns.extend(model.edges.iter().map(|edge| edge.cube[c]));
        }
        let mut products = Products::default();
        for list in products.lists() {
            list.resize(edges, 0.0);
        }
        Self {
            order: q,
            covariance: vec![0.0; q * q],
            factor: Factor::with_order(q),
            white: columns.clone(),
            columns,
            products,
            square: 0.0,
            yo: 0.0,
            oo: 0.0,
            steep: model.edges.iter().map(|edge| (model.radius_sigma_mm * edge.steepness).powi(2)).collect(),
            log_weight: model.edges.iter().map(|edge| edge.log_weight).collect(),
            determinant: vec![0.0; edges],
            drops: vec![0.0; edges],
        }
    }

    fn covariance(&mut self, model: &FigureModel, data: &Data, component: &Component) {
        smooth_covariance(model, data, component, &mut self.covariance);
    }

    /// Half the logarithm of the covariance's determinant.
    fn factorise(&mut self) -> Option<f64> {
        self.factor.refill(&self.covariance).then(|| 0.5 * self.factor.log_determinant())
    }

    fn whiten(&mut self) {
        let edges = self.steep.len();
        let width = 2 + 3 * edges;
        self.white.copy_from_slice(&self.columns);
        self.factor.forward_columns(&mut self.white, width);
        (self.square, self.yo, self.oo) = (0.0, 0.0, 0.0);
        for list in self.products.lists() {
            list.fill(0.0);
        }
        for row in self.white.chunks_exact(width).take(self.order) {
            let (y, o) = (row[0], row[1]);
            let (e, rest) = row[2..].split_at(edges);
            let (s, c) = rest.split_at(edges);
            self.square += y * y;
            self.yo += y * o;
            self.oo += o * o;
            let p = &mut self.products;
            add_products(&mut p.ee, e, e);
            add_products(&mut p.es, e, s);
            add_products(&mut p.ec, e, c);
            add_products(&mut p.ss, s, s);
            add_products(&mut p.sc, s, c);
            add_products(&mut p.cc, c, c);
            add_multiple(&mut p.ey, y, e);
            add_multiple(&mut p.sy, y, s);
            add_multiple(&mut p.cy, y, c);
            add_multiple(&mut p.eo, o, e);
            add_multiple(&mut p.so, o, s);
            add_multiple(&mut p.co, o, c);
        }
    }

    /// The logarithms of the weights of all edges for one standard deviation of the drop.
    fn edges(&mut self, drop_sd_nm: f64, ceiling: f64, logs: &mut [f64]) {
        let p = &self.products;
        let variance = drop_sd_nm * drop_sd_nm;
        let count = logs.len();
        let (ee, ey, es, ec) = (&p.ee[..count], &p.ey[..count], &p.es[..count], &p.ec[..count]);
        let (eo, so, co) = (&p.eo[..count], &p.so[..count], &p.co[..count]);
        let (sy, cy, ss, sc, cc) =
            (&p.sy[..count], &p.cy[..count], &p.ss[..count], &p.sc[..count], &p.cc[..count]);
        let (steep, log_weight) = (&self.steep[..count], &self.log_weight[..count]);
        let (square, yo, oo) = (self.square, self.yo, self.oo);
        let drops = &mut self.drops[..count];
        let determinant = &mut self.determinant[..count];
        for j in 0..count {
            drops[j] = variance * ey[j] / (1.0 + variance * ee[j]);
        }
        // One body for all rounds, whose loop over the edges becomes vector instructions; the last
        // round keeps its drop and gives the density.
        for round in 0..=ROUNDS {
            let keep = if round < ROUNDS { 0.5 } else { 1.0 };
            for j in 0..count {
                let g = drops[j];
                let (g2, g3) = (g * g, g * g * g);
                let spread = 1.0 + steep[j] * g2 * oo;
                let shrink = steep[j] * g2 / spread;
                let rest = yo - g2 * so[j] + g3 * co[j];
                let gain = 1.0 + variance * (ee[j] - shrink * eo[j] * eo[j]);
                let beta = ey[j] - g2 * es[j] + g3 * ec[j] - shrink * eo[j] * rest;
                let estimate = beta * variance / gain;
                let misfit = square - 2.0 * (g2 * sy[j] - g3 * cy[j]) + g2 * g2 * ss[j]
                    - 2.0 * g2 * g3 * sc[j]
                    + g3 * g3 * cc[j]
                    - shrink * rest * rest
                    - beta * estimate;
                logs[j] = ceiling + log_weight[j] - 0.5 * misfit;
                determinant[j] = gain * spread;
                drops[j] = keep * g + (1.0 - keep) * estimate;
            }
        }
        for (log, determinant) in logs.iter_mut().zip(determinant) {
            *log -= 0.5 * libm::log(*determinant);
        }
    }
}

fn add_products(sums: &mut [f64], a: &[f64], b: &[f64]) {
    for ((sum, x), y) in sums.iter_mut().zip(a).zip(b) {
        *sum += x * y;
    }
}

fn add_multiple(sums: &mut [f64], factor: f64, a: &[f64]) {
    for (sum, x) in sums.iter_mut().zip(a) {
        *sum += factor * x;
    }
}
