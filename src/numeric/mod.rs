//! Mathematics that knows no optics.
//!
//! - [`bicubic`]: a smooth surface through heights on a square net.
//! - [`convolve`]: a picture filtered by a transfer function.
//! - [`fisher`]: chances of Fisher's ratio of variances.
//! - [`gauss`]: Gauss-Legendre nodes and weights.
//! - [`least_squares`]: weighted linear least squares by normal equations.
//! - [`pool`]: the library's own threads, results in order, and a flag that stops long work.
//! - [`random`]: numbered streams of uniform and normal draws.
//! - [`roots`]: a bracketed root and a bracketed maximum of a function of one variable.
//! - [`rough`]: a surface of chance with a stated power spectrum.
//! - [`simd`]: which vector instructions the loops use.
//! - [`spline`]: cubic splines through given points.
//! - [`stats`]: weighted quantiles and intervals of draws.
//! - [`student`]: chances and points of Student's distribution.
//! - [`sums`]: sums in a fixed order with small rounding error.
//! - [`zernike`]: Zernike circle polynomials and the three ways of numbering them.
//! - [`zernike_sum`]: a sum of Zernike terms with its slopes at single points.

pub(crate) mod bessel;
pub mod bicubic;
pub(crate) mod chebyshev;
pub(crate) mod chi_square;
pub mod convolve;
pub mod fisher;
pub mod gauss;
pub(crate) mod kronrod;
pub mod least_squares;
pub(crate) mod periodic;
pub(crate) mod phase;
pub mod pool;
pub mod random;
pub mod roots;
pub mod rough;
pub mod simd;
pub mod spline;
pub mod stats;
pub mod student;
pub mod sums;
pub(crate) mod vector;
pub mod zernike;
pub mod zernike_sum;
