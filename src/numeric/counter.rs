//! Random numbers by counter: any draw of any run can be had by itself, many runs side by side.
//!
//! A run is named by a seed and a number; its words are a function of both and of their place, with no state that is handed
//! on. Runs may be drawn in any order, in pieces of any size and at any number of threads: the words are the same.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use std::f64::consts::{LN_2, PI};

use super::simd::add_product;

/// Runs that are drawn side by side.
pub(crate) const LANES: usize = 64;
/// One number of each of them.
pub(crate) type Column = [f64; LANES];

/// The generator's constants: two odd multipliers, and what is added to each half of the key after a round.
const MULTIPLIERS: [u64; 2] = [0xD251_1F53, 0xCD9E_8D57];
const KEY_STEPS: [u32; 2] = [0x9E37_79B9, 0xBB67_AE85];
const ROUNDS: usize = 10;
const WORD: u64 = 0xFFFF_FFFF;

/// Adding 2^52 to a whole number below it leaves the number in the lower bits.
const WHOLE: u64 = 0x4330_0000_0000_0000;
const TWO_52: f64 = 4_503_599_627_370_496.0;
/// Adding and taking away 1.5 x 2^52 rounds to the nearest whole number.
const ROUNDER: f64 = 6_755_399_441_055_744.0;
/// What moves the square root of a half to 1.0 in the order of the bits of numbers.
const FROM_ROOT_HALF: u64 = 0x3FF0_0000_0000_0000 - 0x3FE6_A09E_667F_3BCD;
/// artanh(s)/s in powers of s^2, for numbers within a factor of the square root of 2 about 1; sin(x)/x and cos(x) in powers of
/// x^2, within an eighth of a turn. The polynomials that pass through the function at Chebyshev's points (mpmath 1.4.1 at 40
/// digits): off by 5e-12, 5e-12 and 6e-14.
const LOGARITHM: [f64; 5] = [
    1.000_000_000_004_179_8,
    0.333_333_326_237_437_6,
    0.200_001_923_361_875_94,
    0.142_675_255_189_081_55,
    0.118_081_795_495_729_92,
];
const SINE: [f64; 5] = [
    0.999_999_999_995_673_1,
    -0.166_666_666_315_911_65,
    0.008_333_328_782_458_88,
    -0.000_198_392_022_122_311,
    2.717_345_684_108_995_3e-6,
];
const COSINE: [f64; 6] = [
    0.999_999_999_999_944_4,
    -0.499_999_999_993_511_15,
    0.041_666_666_543_911_19,
    -0.001_388_888_039_377_642_3,
    2.479_892_875_532_366_8e-5,
    -2.717_342_984_102_282e-7,
];

/// Four words of 32 bits from a counter of four and a key of two.
///
/// Source: Salmon, Moraes, Dror & Shaw 2011, Parallel random numbers: as easy as 1, 2, 3 (Proc. SC11): Philox4x32 with ten
/// rounds.
///
/// ```
/// use catoptric::numeric::counter::philox4x32;
/// // The published answer for counter and key of nothing.
/// assert_eq!(philox4x32([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
/// ```
pub fn philox4x32(counter: [u32; 4], key: [u32; 2]) -> [u32; 4] {
    rounds(counter.map(u64::from), &keys(key)).map(|word| word as u32)
}

/// The key of each round.
fn keys(key: [u32; 2]) -> [[u64; 2]; ROUNDS] {
    let mut all = [[0; 2]; ROUNDS];
    for (round, keys) in all.iter_mut().enumerate() {
        for half in 0..2 {
            keys[half] = u64::from(key[half].wrapping_add(KEY_STEPS[half].wrapping_mul(round as u32)));
        }
    }
    all
}

/// All rounds of one counter; the words stand in the lower halves of the numbers.
#[inline(always)]
fn rounds([mut a, mut b, mut c, mut d]: [u64; 4], keys: &[[u64; 2]; ROUNDS]) -> [u64; 4] {
    for key in keys {
        let (first, second) = ((a & WORD) * MULTIPLIERS[0], (c & WORD) * MULTIPLIERS[1]);
        (a, b, c, d) = ((second >> 32) ^ b ^ key[0], second, (first >> 32) ^ d ^ key[1], first);
    }
    [a & WORD, b & WORD, c & WORD, d & WORD]
}

/// The normal draws of one run: mean 0, standard deviation 1.
///
/// Draws come in pairs, cosine and sine of one random angle times one random distance; each takes a word of 32 bits.
/// Errors: none. The distribution is that of the polar form with 2^32 angles and 2^32 distances: the largest size is 6.76, the
/// tails beyond hold 1.4e-11; arithmetic adds
/// less than 5e-11 to a draw.
/// Source: Box & Muller 1958, Ann. Math. Stat. 29, 610; words by [`philox4x32`] with the seed as key, and in the counter the place
/// of four draws, the run's number in two words, and 0.
///
/// ```
/// use catoptric::numeric::counter::numbered_normals;
/// let (mut all, mut few) = ([0.0; 12], [0.0; 5]);
/// numbered_normals(1, 40, &mut all);
/// numbered_normals(1, 40, &mut few);
/// assert_eq!(all[..5], few);
/// ```
pub fn numbered_normals(seed: u64, number: u64, draws: &mut [f64]) {
    let key = [(seed & WORD) as u32, (seed >> 32) as u32];
    for (block, four) in draws.chunks_mut(4).enumerate() {
        let counter = [block as u32, (number & WORD) as u32, (number >> 32) as u32, 0];
        let words = philox4x32(counter, key).map(u64::from);
        let (a, b) = pair::<false>(words[0], words[1]);
        let (c, d) = pair::<false>(words[2], words[3]);
        four.iter_mut().zip([a, b, c, d]).for_each(|(draw, normal)| *draw = normal);
    }
}

/// A seed made ready for many runs.
#[derive(Clone, Debug)]
pub(crate) struct Runs {
    keys: [[u64; 2]; ROUNDS],
}

impl Runs {
    pub(crate) fn new(seed: u64) -> Self {
        Self { keys: keys([(seed & WORD) as u32, (seed >> 32) as u32]) }
    }

    /// Draws number 4 `block` to 4 `block` + 3 of runs from `first` on.
    ///
    /// Words, then pairs: as one loop its steps would wait for each other, and its next turn stands too far off to begin.
    #[inline(always)]
    pub(crate) fn four_normals<const FUSED: bool>(&self, first: u64, block: u32, out: &mut [Column; 4]) {
        let mut words = Words([[0; LANES]; 4]);
        for i in 0..LANES {
            let number = first.wrapping_add(i as u64);
            let four = rounds([u64::from(block), number & WORD, number >> 32, 0], &self.keys);
            for (column, word) in words.0.iter_mut().zip(four) {
                column[i] = word;
            }
        }
        let [zero, one, two, three] = out;
        for i in 0..LANES {
            (zero[i], one[i]) = pair::<FUSED>(words.0[0][i], words.0[1][i]);
        }
        for i in 0..LANES {
            (two[i], three[i]) = pair::<FUSED>(words.0[2][i], words.0[3][i]);
        }
    }

    /// A number between 0 and 1, both excluded, of one run: not of the words that its normal draws come from.
    pub(crate) fn uniform(&self, number: u64) -> f64 {
        let words = rounds([WORD, number & WORD, number >> 32, 0], &self.keys);
        (words[0] as f64 + 0.5) / (1_u64 << 32) as f64
    }
}

/// Words of all runs that are side by side, at the beginning of a line of the cache.
#[repr(align(64))]
struct Words([[u64; LANES]; 4]);

/// A polynomial, lowest power first.
#[inline(always)]
pub(crate) fn polynomial<const FUSED: bool, const N: usize>(coefficients: &[f64; N], x: f64) -> f64 {
    let mut sum = coefficients[N - 1];
    for k in (0..N - 1).rev() {
        sum = add_product::<FUSED>(sum, x, coefficients[k]);
    }
    sum
}

/// Two normal draws from two words.
#[inline(always)]
fn pair<const FUSED: bool>(distance: u64, angle: u64) -> (f64, f64) {
    // -2 ln((word + 1/2)/2^32), the number split into m 2^e with m next to 1.
    let v = (f64::from_bits(distance | WHOLE) - TWO_52) + 0.5;
    let exponent = (v.to_bits() + FROM_ROOT_HALF) >> 52;
    let m = f64::from_bits(v.to_bits().wrapping_sub(exponent << 52).wrapping_add(1023 << 52));
    let power = f64::from_bits(exponent | WHOLE) - TWO_52;
    let s = (m - 1.0) / (m + 1.0);
    let s2 = s * s;
    let logarithm = s * polynomial::<FUSED, 5>(&LOGARITHM, s2);
    let square = add_product::<FUSED>(-4.0, logarithm, (1023.0 + 32.0 - power) * (2.0 * LN_2));
    let size = square.sqrt();
    // The angle in quarters, and what is left, in 2^-32 turns.
    let w = f64::from_bits(angle | WHOLE) - TWO_52;
    let shifted = w * (1.0 / 1_073_741_824.0) + ROUNDER;
    let turn = shifted.to_bits();
    let left = add_product::<FUSED>(shifted - ROUNDER, -1_073_741_824.0, w);
    let x = (left + 0.5) * (PI / 2_147_483_648.0);
    let x2 = x * x;
    let odd = x * polynomial::<FUSED, 5>(&SINE, x2);
    let even = polynomial::<FUSED, 6>(&COSINE, x2);
    let is_odd = turn & 1 == 1;
    let (sine, cosine) = if is_odd { (even, odd) } else { (odd, even) };
    let (a, b) = (size * cosine, size * sine);
    (f64::from_bits(a.to_bits() ^ (((turn + 1) & 2) << 62)), f64::from_bits(b.to_bits() ^ ((turn & 2) << 62)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_agree_with_the_published_answers() {
        // Random123, tests/kat_vectors, rows "philox4x32 10".
        let pi = [0x243f_6a88, 0x85a3_08d3, 0x1319_8a2e, 0x0370_7344];
        assert_eq!(philox4x32([0; 4], [0; 2]), [0x6627_e8d5, 0xe169_c58d, 0xbc57_ac4c, 0x9b00_dbd8]);
        assert_eq!(
            philox4x32([u32::MAX; 4], [u32::MAX; 2]),
            [0x408f_276d, 0x41c8_3b0e, 0xa20b_c7c6, 0x6d54_51fd]
        );
        assert_eq!(
            philox4x32(pi, [0xa409_3822, 0x299f_31d0]),
            [0xd16c_fe09, 0x94fd_cceb, 0x5001_e420, 0x2412_6ea1]
        );
    }

    #[test]
    fn pairs_agree_with_the_formula() {
        // Every octant, both ends of the words, and words of chance.
        let ends = [0, 1, 2, u32::MAX, u32::MAX - 1, 1 << 31, (1 << 31) - 1, 1 << 29, (1 << 29) - 1, 3 << 29];
        let chance =
            (0..20_000).map(|k| philox4x32([k, 0, 0, 7], [3, 4])).flat_map(|w| [(w[0], w[1]), (w[2], w[3])]);
        let corners = ends.iter().flat_map(|a| ends.iter().map(|b| (*a, *b)));
        for (a, b) in corners.chain(chance) {
            let u = (f64::from(a) + 0.5) / 4_294_967_296.0;
            let angle = 2.0 * PI * ((f64::from(b) + 0.5) / 4_294_967_296.0);
            let size = libm::sqrt(-2.0 * libm::log(u));
            for (x, y) in
                [pair::<false>(u64::from(a), u64::from(b)), pair::<true>(u64::from(a), u64::from(b))]
            {
                assert!((x - size * libm::cos(angle)).abs() < 5e-11, "{a} {b}: {x}");
                assert!((y - size * libm::sin(angle)).abs() < 5e-11, "{a} {b}: {y}");
            }
        }
    }

    #[test]
    fn runs_side_by_side_are_those_drawn_alone() {
        let seed = 0x1234_5678_9abc_def0;
        let runs = Runs::new(seed);
        for first in [0, 64, u64::from(u32::MAX) - 30] {
            for block in 0..3 {
                let mut out = [[0.0; LANES]; 4];
                runs.four_normals::<false>(first, block, &mut out);
                for i in 0..LANES {
                    let mut alone = [0.0; 12];
                    numbered_normals(seed, first + i as u64, &mut alone);
                    for k in 0..4 {
                        assert_eq!(out[k][i].to_bits(), alone[4 * block as usize + k].to_bits());
                    }
                }
            }
        }
    }

    fn draws(seed: u64, runs: u64, each: usize) -> Vec<f64> {
        let mut all = vec![0.0; runs as usize * each];
        for (number, run) in all.chunks_exact_mut(each).enumerate() {
            numbered_normals(seed, number as u64, run);
        }
        all
    }

    #[test]
    fn a_million_draws_have_the_moments_of_the_distribution() {
        let all = draws(1, 100_000, 12);
        let count = all.len() as f64;
        // Closed form: means 0, 1, 0, 3, 0, 15 with variances over n draws of 1, 2, 15, 96, 945, 10170; five of their roots.
        for (power, mean, variance) in [
            (1, 0.0, 1.0),
            (2, 1.0, 2.0),
            (3, 0.0, 15.0),
            (4, 3.0, 96.0),
            (5, 0.0, 945.0),
            (6, 15.0, 10_170.0),
        ] {
            let found = all.iter().map(|z| z.powi(power)).sum::<f64>() / count;
            assert!((found - mean).abs() < 5.0 * (variance / count).sqrt(), "{power}: {found}");
        }
    }

    #[test]
    fn kolmogorovs_distance_is_that_of_chance() {
        // The normal distribution by the error function of the C library; Smirnov's limit: 1.949/sqrt(n) is passed once in a
        // thousand.
        let mut all = draws(20_260_101, 25_000, 8);
        all.sort_by(f64::total_cmp);
        let count = all.len() as f64;
        let distance = all.iter().enumerate().fold(0.0_f64, |most, (k, z)| {
            let share = 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2);
            most.max((share - k as f64 / count).abs()).max((share - (k + 1) as f64 / count).abs())
        });
        assert!(distance < 1.949 / count.sqrt(), "{distance}");
    }

    #[test]
    fn neighbours_of_every_kind_are_not_correlated() {
        let base = draws(11, 20_000, 12);
        let mean = |other: &dyn Fn(usize) -> f64, count: usize| {
            (0..count).map(|k| base[k] * other(k)).sum::<f64>() / (count as f64).sqrt()
        };
        let (seed, far) = (draws(12, 20_000, 12), draws(11 + (1 << 32), 20_000, 12));
        // Within a pair, across pairs and runs, other seeds; and squares, which share a distance within a pair by design of none.
        for step in [1, 2, 3, 4, 12, 24, 768] {
            let found = mean(&|k| base[k + step], base.len() - step);
            assert!(found.abs() < 5.0, "{step}: {found}");
            let squares = (0..base.len() - step)
                .map(|k| (base[k] * base[k] - 1.0) * (base[k + step] * base[k + step] - 1.0))
                .sum::<f64>()
                / (2.0 * (base.len() as f64).sqrt());
            assert!(squares.abs() < 5.0, "squares {step}: {squares}");
        }
        for other in [seed, far] {
            let found = mean(&|k| other[k], base.len());
            assert!(found.abs() < 5.0, "{found}");
        }
    }

    #[test]
    fn the_number_between_0_and_1_is_even() {
        let runs = Runs::new(5);
        let mut tally = [0_u32; 20];
        for number in 0..200_000 {
            tally[(runs.uniform(number) * 20.0) as usize] += 1;
        }
        let chi_square: f64 = tally.iter().map(|&k| (f64::from(k) - 1e4).powi(2) / 1e4).sum();
        // Chi-square tables, 19 degrees of freedom: 43.8 is passed once in a thousand.
        assert!(chi_square < 43.8, "{chi_square}");
    }
}
