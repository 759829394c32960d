//! Numbered streams of random draws, the same on every machine.
//!
//! A stream is named by a seed and a number. Nothing is shared between streams, so work may be cut
//! in pieces, each with a stream of its own, and done in any order at any number of threads.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore, SeedableRng};

/// One stream of independent draws.
///
/// Each draw, uniform or normal, takes exactly one 64-bit word of the stream: the k-th draw is the
/// same word whatever the draws before it were. The bits depend on the `ChaCha8` cipher, on the
/// arithmetic in this file and on libm's logarithm in software; never on the platform.
///
/// Source: `ChaCha` with 8 rounds (Bernstein 2008), counter mode; the seed is spread over the key by
/// `SplitMix64` (Steele, Lea & Flood 2014); the stream's number is the nonce.
///
/// ```
/// use catoptric::numeric::random::Stream;
/// let mut here = Stream::new(20_260_101, 3);
/// let mut there = Stream::new(20_260_101, 3);
/// assert_eq!(here.normal().to_bits(), there.normal().to_bits());
/// ```
#[derive(Clone, Debug)]
pub struct Stream {
    words: ChaCha8Rng,
}

impl Stream {
    /// The stream numbered `stream` of this seed, at its beginning.
    pub fn new(seed: u64, stream: u64) -> Self {
        let mut key = [0; 32];
        let mut state = seed;
        for bytes in key.chunks_exact_mut(8) {
            bytes.copy_from_slice(&split_mix(&mut state).to_le_bytes());
        }
        let mut words = ChaCha8Rng::from_seed(key);
        words.set_stream(stream);
        Self { words }
    }

    /// A draw between 0 and 1, both excluded: the middle of one of 2^52 equal cells.
    pub fn uniform(&mut self) -> f64 {
        const CELL: f64 = 1.0 / (1_u64 << 52) as f64;
        // Below 2^52 a half can be added without rounding, so neither end is ever reached.
        ((self.words.next_u64() >> 12) as f64 + 0.5) * CELL
    }

    /// Puts a list into an order of chance (Fisher and Yates 1938, from memory).
    ///
    /// ```
    /// let mut list = [1, 2, 3, 4, 5];
    /// catoptric::numeric::random::Stream::new(7, 0).shuffle(&mut list);
    /// assert_eq!(list.iter().sum::<i32>(), 15);
    /// ```
    pub fn shuffle<T>(&mut self, list: &mut [T]) {
        for last in (1..list.len()).rev() {
            list.swap(last, (self.uniform() * (last + 1) as f64) as usize);
        }
    }

    /// A draw from the normal distribution of mean 0 and standard deviation 1.
    ///
    /// By the inverse of the distribution, which takes one word a draw and needs no rejection. The
    /// largest size is 8.2; the tails beyond hold 2e-16.
    pub fn normal(&mut self) -> f64 {
        normal_quantile(self.uniform())
    }

    /// Fills a list with draws of [`Stream::normal`], in order.
    pub fn fill_normal(&mut self, draws: &mut [f64]) {
        for draw in draws {
            *draw = self.normal();
        }
    }
}

fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut word = *state;
    word = (word ^ (word >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    word = (word ^ (word >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    word ^ (word >> 31)
}

/// The value below which the standard normal distribution has the share `p`.
///
/// Infinite at 0 and 1, not a number outside.
///
/// Source: Wichura 1988, Applied Statistics 37, 477, algorithm AS 241 (PPND16): a quotient of
/// polynomials in each of three ranges, good to about 1e-16 relative.
///
/// ```
/// // The usual 97.5 % point.
/// let point = catoptric::numeric::random::normal_quantile(0.975);
/// assert!((point - 1.959_963_984_540_054).abs() < 1e-15);
/// ```
pub fn normal_quantile(p: f64) -> f64 {
    let from_middle = p - 0.5;
    if from_middle.abs() <= 0.425 {
        let r = 0.180_625 - from_middle * from_middle;
        return from_middle * quotient(&CENTRE, r);
    }
    let tail = if from_middle < 0.0 { p } else { 1.0 - p };
    let r = libm::sqrt(-libm::log(tail));
    let size = if r == f64::INFINITY {
        r
    } else if r <= 5.0 {
        quotient(&SHOULDER, r - 1.6)
    } else {
        quotient(&TAIL, r - 5.0)
    };
    size.copysign(from_middle)
}

/// Coefficients of a numerator and a denominator, highest power first.
type Quotient = [[f64; 8]; 2];

fn quotient([numerator, denominator]: &Quotient, r: f64) -> f64 {
    let polynomial = |row: &[f64; 8]| row.iter().fold(0.0, |sum, coefficient| sum * r + coefficient);
    polynomial(numerator) / polynomial(denominator)
}

const CENTRE: Quotient = [
    [
        2.509_080_928_730_122_7e3,
        3.343_057_558_358_813e4,
        6.726_577_092_700_87e4,
        4.592_195_393_154_987e4,
        1.373_169_376_550_946e4,
        1.971_590_950_306_551_3e3,
        1.331_416_678_917_843_8e2,
        3.387_132_872_796_366_5,
    ],
    [
        5.226_495_278_852_854e3,
        2.872_908_573_572_194_3e4,
        3.930_789_580_009_271e4,
        2.121_379_430_158_659_7e4,
        5.394_196_021_424_751e3,
        6.871_870_074_920_579e2,
        4.231_333_070_160_091e1,
        1.0,
    ],
];

const SHOULDER: Quotient = [
    [
        7.745_450_142_783_414e-4,
        2.272_384_498_926_918_4e-2,
        2.417_807_251_774_506e-1,
        1.270_458_252_452_368_4,
        3.647_848_324_763_204_5,
        5.769_497_221_460_691,
        4.630_337_846_156_546,
        1.423_437_110_749_683_5,
    ],
    [
        1.050_750_071_644_416_9e-9,
        5.475_938_084_995_345e-4,
        1.519_866_656_361_645_7e-2,
        1.481_039_764_274_800_8e-1,
        6.897_673_349_851e-1,
        1.676_384_830_183_803_8,
        2.053_191_626_637_759,
        1.0,
    ],
];

const TAIL: Quotient = [
    [
        2.010_334_399_292_288_1e-7,
        2.711_555_568_743_487_6e-5,
        1.242_660_947_388_078_4e-3,
        2.653_218_952_657_612_4e-2,
        2.965_605_718_285_048_7e-1,
        1.784_826_539_917_291_3,
        5.463_784_911_164_114,
        6.657_904_643_501_103,
    ],
    [
        2.044_263_103_389_939_8e-15,
        1.421_511_758_316_446e-7,
        1.846_318_317_510_054_8e-5,
        7.868_691_311_456_133e-4,
        1.487_536_129_085_061_5e-2,
        1.369_298_809_227_358e-1,
        5.998_322_065_558_88e-1,
        1.0,
    ],
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn draws_agree_with_an_independent_cipher() {
        // An independent ChaCha in Python integers, checked at 20 rounds against RFC 8439, section
        // 2.3.2, then run with 8 rounds, a 64-bit counter and nonce, and SplitMix64 for the key.
        let golden: [(u64, u64, [f64; 3]); 3] = [
            (0, 0, [0.748_364_520_067_805_8, 0.228_325_334_762_169_32, 0.620_796_104_216_281]),
            (20_260_101, 7, [0.289_013_689_844_603_5, 0.059_886_794_316_141_745, 0.813_411_957_668_819_1]),
            (u64::MAX, u64::MAX, [0.354_797_440_979_052_75, 0.970_964_642_787_244_4, 0.650_440_588_627_433]),
        ];
        for (seed, number, [first, second, tenth]) in golden {
            let mut stream = Stream::new(seed, number);
            let draws: Vec<f64> = (0..10).map(|_| stream.uniform()).collect();
            for (draw, truth) in [(draws[0], first), (draws[1], second), (draws[9], tenth)] {
                assert_eq!(draw.to_bits(), truth.to_bits(), "{draw} for {truth}");
            }
        }
    }

    #[test]
    fn quantiles_agree_with_fifty_digit_arithmetic() {
        // mpmath 1.4.1 at 50 digits: sqrt(2) erfinv(2p - 1).
        let cell = 2.0_f64.powi(-53);
        let golden = [
            (cell, -8.209_536_151_601_387),
            (1e-10, -6.361_340_902_404_056),
            (1e-3, -3.090_232_306_167_813_5),
            (0.02425, -1.972_961_051_311_884_8),
            (0.075, -1.439_531_470_938_456),
            (0.2, -0.841_621_233_572_914_2),
            (0.4, -0.253_347_103_135_799_7),
            (0.5 + cell, 2.782_916_424_671_767e-16),
            (0.999, 3.090_232_306_167_813),
            (1.0 - cell, 8.209_536_151_601_387),
        ];
        for (p, value) in golden {
            let error = normal_quantile(p) / value - 1.0;
            assert!(error.abs() < 1e-15, "{p}: {error:e}");
        }
        assert_eq!((normal_quantile(0.0), normal_quantile(1.0)), (f64::NEG_INFINITY, f64::INFINITY));
        assert!(normal_quantile(-0.1).is_nan() && normal_quantile(f64::NAN).is_nan());
    }

    #[test]
    fn a_million_normals_have_the_moments_of_the_distribution() {
        let count = 1_000_000;
        let mut draws = vec![0.0; count];
        Stream::new(1, 0).fill_normal(&mut draws);
        let moment = |power: i32| draws.iter().map(|z| z.powi(power)).sum::<f64>() / count as f64;
        // Closed form: the means of z, z^2, z^3, z^4 are 0, 1, 0, 3, their variances over n draws
        // 1/n, 2/n, 15/n, 96/n; the test allows five standard deviations.
        for (power, mean, variance) in [(1, 0.0, 1.0), (2, 1.0, 2.0), (3, 0.0, 15.0), (4, 3.0, 96.0)] {
            let allowed = 5.0 * (variance / count as f64).sqrt();
            assert!((moment(power) - mean).abs() < allowed, "{power}: {}", moment(power));
        }
        // Closed form: 4.550026e-2 lie beyond two standard deviations.
        let outside = draws.iter().filter(|z| z.abs() > 2.0).count() as f64 / count as f64;
        assert!((outside - 4.550_026e-2).abs() < 5.0 * (0.0455 * 0.9545 / count as f64).sqrt());
    }

    #[test]
    fn uniforms_fill_the_interval_evenly_without_its_ends() {
        let mut stream = Stream::new(2, 5);
        let mut tally = [0_u32; 20];
        for _ in 0..1_000_000 {
            let draw = stream.uniform();
            assert!(0.0 < draw && draw < 1.0);
            tally[(draw * 20.0) as usize] += 1;
        }
        let chi_square: f64 = tally.iter().map(|&k| (f64::from(k) - 5e4).powi(2) / 5e4).sum();
        // Chi-square tables, 19 degrees of freedom: 43.8 is passed once in a thousand.
        assert!(chi_square < 43.8, "{chi_square}");
    }

    #[test]
    fn streams_and_seeds_are_not_correlated() {
        let count = 200_000;
        let draws = |seed, number| {
            let mut list = vec![0.0; count];
            Stream::new(seed, number).fill_normal(&mut list);
            list
        };
        let base = draws(11, 0);
        for other in [draws(11, 1), draws(11, 2), draws(12, 0), draws(11, 1 << 40)] {
            let correlation: f64 = base.iter().zip(&other).map(|(a, b)| a * b).sum::<f64>() / count as f64;
            assert!(correlation.abs() < 5.0 / (count as f64).sqrt(), "{correlation}");
        }
    }

    #[test]
    fn the_order_of_use_does_not_matter() {
        let (mut a, mut b) = (Stream::new(3, 1), Stream::new(3, 2));
        let alternately: Vec<[u64; 2]> =
            (0..50).map(|_| [a.normal().to_bits(), b.normal().to_bits()]).collect();
        let (mut b, mut a) = (Stream::new(3, 2), Stream::new(3, 1));
        for (k, pair) in alternately.iter().enumerate() {
            assert_eq!(b.normal().to_bits(), pair[1], "draw {k}");
        }
        // A uniform draw in between takes one word, as a normal one does.
        for pair in alternately.chunks_exact(2) {
            a.uniform();
            assert_eq!(a.normal().to_bits(), pair[1][0]);
        }
    }
}
