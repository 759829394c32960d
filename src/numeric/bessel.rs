//! The Bessel function J0 for whole lists, from a table of short polynomials.

use std::f64::consts::PI;
use std::sync::LazyLock;

use super::chebyshev::{series, sum};

/// Terms of each polynomial.
const TERMS: usize = 16;
/// Length of each piece.
const PIECE: f64 = PI / 2.0;
/// Pieces that are kept: arguments up to 1005; beyond, the slower function of the library is called.
const PIECES: usize = 640;

static TABLE: LazyLock<Vec<[f64; TERMS]>> = LazyLock::new(|| {
    let of_piece = |piece: usize| {
        let start = PIECE * piece as f64;
        let series = series(|s| libm::j0(start + 0.5 * PIECE * (s + 1.0)), TERMS);
        std::array::from_fn(|k| series[k])
    };
    (0..PIECES).map(of_piece).collect()
});

/// J0 of an argument of 0 or more, to 6e-15.
///
/// Source: libm's J0, on Chebyshev polynomials between -1 and 1 over pieces of pi/2, built at the first use.
pub(crate) fn j0(x: f64) -> f64 {
    let place = x * PIECE.recip();
    let piece = place as usize;
    TABLE.get(piece).map_or_else(|| libm::j0(x), |row| sum(row, 2.0 * (place - piece as f64) - 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_holds_the_zeros_and_the_function() {
        // Abramowitz & Stegun 1964, table 9.5: zeros of J0.
        for zero in [2.404_825_557_7, 5.520_078_110_3, 8.653_727_912_9, 30.634_606_468_4] {
            assert!(j0(zero).abs() < 5e-11);
        }
        for k in 0..40_000 {
            let x = 0.0251 * f64::from(k);
            assert!((j0(x) - libm::j0(x)).abs() < 6e-15, "J0 at {x}: {:e}", j0(x) - libm::j0(x));
        }
        // mpmath 1.3.0, besselj at 30 digits.
        for (x, truth) in [
            (0.5, 0.938_469_807_240_812_9),
            (1.75, 0.369_032_530_185_150_76),
            (7.0, 0.300_079_270_519_555_6),
            (13.125, 0.214_041_736_527_683_97),
            (40.5, -0.053_582_675_632_262_95),
            (111.25, -0.066_103_377_570_223_63),
            (400.75, -0.022_134_166_021_649_31),
            (999.5, 0.024_019_300_140_883_57),
        ] {
            assert!((j0(x) - truth).abs() < 6e-15, "J0 at {x}: {:e}", j0(x) - truth);
        }
        assert_eq!(j0(2000.0).to_bits(), libm::j0(2000.0).to_bits());
    }
}
