//! What is assumed of a mirror before it is read: the components of the figure and their weights.

/// How the height falls within the width of a turned edge, for a drop of 1 at the rim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum EdgeShape {
    /// A power of the way from the edge's start to the rim: 1 rolled, 2 round, 6 steep.
    Power(f64),
    /// Half a wave of the cosine: flat at the start and at the rim.
    Shelf,
}

impl EdgeShape {
    /// Height for a drop of 1, at a share `q` of the edge's width; 0 before the edge begins.
    pub(crate) fn height(self, q: f64) -> f64 {
        if q <= 0.0 {
            return 0.0;
        }
        match self {
            Self::Power(p) => -libm::pow(q, p),
            Self::Shelf => -0.5 * (1.0 - libm::cos(std::f64::consts::PI * q)),
        }
    }

    /// Derivative of [`EdgeShape::height`] with respect to `q`.
    pub(crate) fn slope(self, q: f64) -> f64 {
        if q <= 0.0 {
            return 0.0;
        }
        match self {
            Self::Power(p) => -p * libm::pow(q, p - 1.0),
            Self::Shelf => -0.5 * std::f64::consts::PI * libm::sin(std::f64::consts::PI * q),
        }
    }
}

/// Widths of the usual edges, mm.
const WIDTHS_MM: [f64; 9] = [1.0, 1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 15.0];

/// Values, each with the weight that it has before any reading.
pub(crate) type Choices<T> = Vec<(T, f64)>;

/// The model h(r) = C (r/a)^4 + broad zones + narrow zones + g e(r; width, shape) of a figure, and the
/// weights of its components.
///
/// Units: standard deviations of glass height in nm; widths in mm; lengths as shares of the mirror's
/// radius. Weights need not add up to 1.
///
/// Source: own choice from the trade's usual figures of finished and unfinished mirrors, no source;
/// Gaussian processes with Matern's 5/2 kernel after Rasmussen & Williams, Gaussian Processes for
/// Machine Learning, 2006, equation 4.17.
///
/// Leaves out: whatever is not rotationally symmetric; single zones narrower than an opening that are
/// higher than the readings at their rims make likely.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FigurePrior {
    /// Standard deviation at the rim of the conic-like part C (r/a)^4, nm.
    pub(crate) conic_sd_nm: Choices<f64>,
    /// Correlation length of the broad zones, a share of the mirror's radius.
    pub(crate) broad_length: f64,
    /// Standard deviation of the broad zones, nm.
    pub(crate) broad_sd_nm: Choices<f64>,
    /// Correlation length of the narrow zones, a share of the mirror's radius.
    pub(crate) narrow_length: Choices<f64>,
    /// Standard deviation of the narrow zones, nm.
    pub(crate) narrow_sd_nm: Choices<f64>,
    /// Width of the turned or raised edge, mm.
    pub(crate) edge_width_mm: Choices<f64>,
    /// Shape of the edge.
    pub(crate) edge_shape: Choices<EdgeShape>,
    /// Standard deviation of the edge's drop g, either sign, nm; 0 stands for "no edge".
    pub(crate) edge_drop_sd_nm: Choices<f64>,
}

impl FigurePrior {
    /// What is assumed of a mirror of this radius, mm: no edge is wider than half of it.
    pub(crate) fn of_mirror(radius_mm: f64) -> Self {
        let even = |values: &[f64]| values.iter().map(|&value| (value, 1.0)).collect();
        let power = EdgeShape::Power;
        Self {
            conic_sd_nm: even(&[15.0, 60.0, 250.0, 1000.0]),
            broad_length: 0.30,
            broad_sd_nm: vec![
                (0.7, 0.10),
                (2.0, 0.15),
                (5.0, 0.20),
                (12.0, 0.25),
                (30.0, 0.20),
                (70.0, 0.10),
            ],
            narrow_length: even(&[0.05, 0.10]),
            narrow_sd_nm: vec![(0.5, 0.25), (2.0, 0.25), (5.0, 0.25), (12.0, 0.17), (30.0, 0.08)],
            edge_width_mm: even(&WIDTHS_MM.map(|width| width.min(0.5 * radius_mm))),
            edge_shape: vec![
                (power(1.0), 0.20),
                (power(1.7), 0.25),
                (power(3.0), 0.20),
                (power(6.0), 0.15),
                (EdgeShape::Shelf, 0.20),
            ],
            edge_drop_sd_nm: vec![
                (0.0, 0.25),
                (15.0, 0.10),
                (50.0, 0.15),
                (150.0, 0.20),
                (450.0, 0.20),
                (1300.0, 0.10),
            ],
        }
    }

    /// How much more probable an edge of this drop, nm, would be if every assumed drop were multiplied by `factor`.
    pub(crate) fn drop_ratio(&self, drop_nm: f64, factor: f64) -> f64 {
        let density = |factor: f64| -> f64 {
            let edges = self.edge_drop_sd_nm.iter().filter(|(sd, _)| *sd > 0.0);
            edges
                .map(|(sd, weight)| {
                    weight / (sd * factor) * libm::exp(-0.5 * (drop_nm / (sd * factor)).powi(2))
                })
                .sum()
        };
        density(factor) / density(1.0)
    }
}

/// The logarithms of the weights after they are made to add up to 1.
pub(crate) fn log_weights<T>(choices: &[(T, f64)]) -> Vec<f64> {
    let total: f64 = choices.iter().map(|(_, weight)| weight).sum();
    choices.iter().map(|(_, weight)| libm::log(weight / total)).collect()
}
