//! Vectors of numbers, as wide as the processor has them, for loops that compilers do not widen well by themselves.
//!
//! A loop is written once, over a set `S` of instructions, and made for each of them; [`Set::run`] chooses. The
//! instructions are safe functions of the crate pulp: its tokens exist only where the processor has been asked.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use std::ops::{Add, Div, Mul, Neg, Sub};

#[cfg(target_arch = "x86_64")]
use pulp::{
    NullaryFnOnce, f64x4, f64x8,
    x86::{V3, V4},
};
use pulp::{Scalar, Simd, cast};

use super::simd::Instructions;

/// A set of instructions that the processor has been seen to have.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Set {
    #[cfg(target_arch = "x86_64")]
    Avx512(V4),
    #[cfg(target_arch = "x86_64")]
    Avx2(V3),
    Portable(Scalar),
}

/// Work that is made once for each set.
pub(crate) trait Work {
    type Gives;
    /// Has to be `#[inline(always)]`, and so has all that it calls with vectors.
    fn with<S: Wide>(self, set: S) -> Self::Gives;
}

impl Set {
    /// The set that is asked for, or the portable one where the processor has it not.
    pub(crate) fn of(asked: Instructions) -> Self {
        #[cfg(target_arch = "x86_64")]
        match asked {
            Instructions::Avx512 => {
                if let Some(set) = V4::try_new() {
                    return Self::Avx512(set);
                }
            }
            Instructions::Avx2 => {
                if let Some(set) = V3::try_new() {
                    return Self::Avx2(set);
                }
            }
            Instructions::Portable => {}
        }
        #[cfg(not(target_arch = "x86_64"))]
        let _ = asked;
        Self::Portable(Scalar)
    }

    /// Runs a piece of work made for these instructions.
    #[inline(always)]
    pub(crate) fn run<W: Work>(self, work: W) -> W::Gives {
        match self {
            #[cfg(target_arch = "x86_64")]
            Self::Avx512(set) => set.vectorize(Made(work, set)),
            #[cfg(target_arch = "x86_64")]
            Self::Avx2(set) => set.vectorize(Made(work, set)),
            Self::Portable(set) => work.with(set),
        }
    }
}

#[cfg(target_arch = "x86_64")]
struct Made<W, S>(W, S);

#[cfg(target_arch = "x86_64")]
impl<W: Work, S: Wide> NullaryFnOnce for Made<W, S> {
    type Output = W::Gives;
    #[inline(always)]
    fn call(self) -> W::Gives {
        self.0.with(self.1)
    }
}

/// What the loops need of a set beyond arithmetic.
pub(crate) trait Wide: Simd {
    /// One over the square root, off by 1e-13 of itself at most; no number for 0 and above 1e38.
    fn inverse_root(self, x: Self::f64s) -> Self::f64s;

    /// Four columns out of the rows of these numbers: a whole row at a time, exchanged with columns, as loads of single
    /// numbers from many places cost twice as much. `of` gives the row of a lane.
    fn columns<'a>(self, of: impl Fn(usize) -> &'a [f64; 4]) -> [Self::f64s; 4];

    /// Whether a short list fits into registers, and [`Wide::pick`] takes numbers from there.
    const PICKS: bool = false;

    /// The entries of a short list whose numbers stand in the last bits of each lane.
    #[inline(always)]
    fn pick(self, list: &[f64; FEW], number: Self::f64s) -> Self::f64s {
        let _ = (list, number);
        unreachable!("asked for only where it is there")
    }
}

/// Numbers in a short list.
pub(crate) const FEW: usize = 16;

/// From a first guess of one over the square root, good to 1e-3, to one good to its fourth power.
#[inline(always)]
fn refined<S: Simd>(set: S, x: S::f64s, guess: S::f64s) -> S::f64s {
    let (x, guess) = (V(set, x), V(set, guess));
    let off = (-(x * guess)).times_plus(guess, V::all(set, 1.0));
    let series = V::all(set, 5.0 / 16.0).times_plus(off, V::all(set, 3.0 / 8.0));
    let series = series.times_plus(off, V::all(set, 0.5));
    (guess * off).times_plus(series, guess).1
}

#[cfg(target_arch = "x86_64")]
impl Wide for V4 {
    #[inline(always)]
    fn inverse_root(self, x: f64x8) -> f64x8 {
        let guess = cast(self.avx512f._mm512_rsqrt14_pd(cast(x)));
        refined(self, x, guess)
    }

    #[inline(always)]
    fn columns<'a>(self, of: impl Fn(usize) -> &'a [f64; 4]) -> [f64x8; 4] {
        let f = self.avx512f;
        let pair = |low: usize| {
            let (a, b) = (cast::<[f64; 4], f64x4>(*of(low)), cast::<[f64; 4], f64x4>(*of(low + 2)));
            f._mm512_insertf64x4::<1>(f._mm512_castpd256_pd512(cast(a)), cast(b))
        };
        // In this order quarters need no turning round.
        let (r0, r1, r2, r3) = (pair(0), pair(1), pair(4), pair(5));
        let (even_a, odd_a) = (f._mm512_unpacklo_pd(r0, r1), f._mm512_unpackhi_pd(r0, r1));
        let (even_b, odd_b) = (f._mm512_unpacklo_pd(r2, r3), f._mm512_unpackhi_pd(r2, r3));
        [
            cast(f._mm512_shuffle_f64x2::<0x88>(even_a, even_b)),
            cast(f._mm512_shuffle_f64x2::<0x88>(odd_a, odd_b)),
            cast(f._mm512_shuffle_f64x2::<0xdd>(even_a, even_b)),
            cast(f._mm512_shuffle_f64x2::<0xdd>(odd_a, odd_b)),
        ]
    }

    const PICKS: bool = true;

    #[inline(always)]
    fn pick(self, list: &[f64; FEW], number: f64x8) -> f64x8 {
        let [low, high] = cast::<[f64; FEW], [f64x8; 2]>(*list);
        cast(self.avx512f._mm512_permutex2var_pd(cast(low), cast(number), cast(high)))
    }
}

#[cfg(target_arch = "x86_64")]
impl Wide for V3 {
    #[inline(always)]
    fn inverse_root(self, x: f64x4) -> f64x4 {
        let guess = self.sse._mm_rsqrt_ps(self.avx._mm256_cvtpd_ps(cast(x)));
        refined(self, x, cast(self.avx._mm256_cvtps_pd(guess)))
    }

    #[inline(always)]
    fn columns<'a>(self, of: impl Fn(usize) -> &'a [f64; 4]) -> [f64x4; 4] {
        let f = self.avx;
        let row = |lane: usize| cast::<f64x4, std::arch::x86_64::__m256d>(cast(*of(lane)));
        let (r0, r1, r2, r3) = (row(0), row(1), row(2), row(3));
        let (even_a, odd_a) = (f._mm256_unpacklo_pd(r0, r1), f._mm256_unpackhi_pd(r0, r1));
        let (even_b, odd_b) = (f._mm256_unpacklo_pd(r2, r3), f._mm256_unpackhi_pd(r2, r3));
        [
            cast(f._mm256_permute2f128_pd::<0x20>(even_a, even_b)),
            cast(f._mm256_permute2f128_pd::<0x20>(odd_a, odd_b)),
            cast(f._mm256_permute2f128_pd::<0x31>(even_a, even_b)),
            cast(f._mm256_permute2f128_pd::<0x31>(odd_a, odd_b)),
        ]
    }
}

impl Wide for Scalar {
    #[inline(always)]
    fn inverse_root(self, x: f64) -> f64 {
        1.0 / x.sqrt()
    }

    #[inline(always)]
    fn columns<'a>(self, of: impl Fn(usize) -> &'a [f64; 4]) -> [f64; 4] {
        *of(0)
    }
}

/// A column as vectors; its length is a multiple of their width.
#[inline(always)]
pub(crate) fn wide<S: Simd>(column: &[f64]) -> &[S::f64s] {
    S::as_simd_f64s(column).0
}

/// The same to be written to.
#[inline(always)]
pub(crate) fn wide_mut<S: Simd>(column: &mut [f64]) -> &mut [S::f64s] {
    S::as_mut_simd_f64s(column).0
}

/// A vector with its instructions, so that formulas can be read.
#[derive(Clone, Copy, Debug)]
pub(crate) struct V<S: Simd>(pub(crate) S, pub(crate) S::f64s);

impl<S: Simd> V<S> {
    /// The same number in all lanes.
    #[inline(always)]
    pub(crate) fn all(set: S, value: f64) -> Self {
        Self(set, set.splat_f64s(value))
    }

    /// self b + c, in one rounding where the processor has it.
    #[inline(always)]
    pub(crate) fn times_plus(self, b: Self, c: Self) -> Self {
        Self(self.0, self.0.mul_add_e_f64s(self.1, b.1, c.1))
    }

    #[inline(always)]
    pub(crate) fn root(self) -> Self {
        Self(self.0, self.0.sqrt_f64s(self.1))
    }

    /// The smaller of two; what of numbers that are none is not said.
    #[inline(always)]
    pub(crate) fn least(self, b: Self) -> Self {
        Self(self.0, self.0.min_f64s(self.1, b.1))
    }

    #[inline(always)]
    pub(crate) fn most(self, b: Self) -> Self {
        Self(self.0, self.0.max_f64s(self.1, b.1))
    }

    /// Self where `test` is 0 or more, else `b`; what is no number is not 0 or more.
    #[inline(always)]
    pub(crate) fn where_not_negative(self, test: Self, b: Self) -> Self {
        let zero = self.0.splat_f64s(0.0);
        let mask = self.0.greater_than_or_equal_f64s(test.1, zero);
        Self(self.0, self.0.select_f64s(mask, self.1, b.1))
    }

    /// The number without its sign; no number stays none. (The crate's own is not always inlined.)
    #[inline(always)]
    pub(crate) fn size(self) -> Self {
        self.most(-self)
    }

    /// The sum over the lanes.
    #[inline(always)]
    pub(crate) fn total(self) -> f64 {
        self.0.reduce_sum_f64s(self.1)
    }

    #[inline(always)]
    pub(crate) fn smallest(self) -> f64 {
        self.0.reduce_min_f64s(self.1)
    }

    #[inline(always)]
    pub(crate) fn largest(self) -> f64 {
        self.0.reduce_max_f64s(self.1)
    }
}

/// The numbers of several columns at a place, side by side. Written out: the loop within an array's `map` is not always
/// inlined, and then has no vectors.
macro_rules! at {
    ($set:expr, $i:expr; $($column:expr),+) => { [$($crate::numeric::vector::V($set, $column[$i])),+] };
}
pub(crate) use at;

/// Each of several numbers in all lanes.
macro_rules! all_lanes {
    ($set:expr; $($value:expr),+) => { [$($crate::numeric::vector::V::all($set, $value)),+] };
}
pub(crate) use all_lanes;

macro_rules! operator {
    ($($name:ident $call:ident $work:ident),*) => {$(
        impl<S: Simd> $name for V<S> {
            type Output = Self;
            #[inline(always)]
            fn $call(self, b: Self) -> Self {
                Self(self.0, self.0.$work(self.1, b.1))
            }
        }
    )*};
}
operator!(Add add add_f64s, Sub sub sub_f64s, Mul mul mul_f64s, Div div div_f64s);

impl<S: Simd> Neg for V<S> {
    type Output = Self;
    #[inline(always)]
    fn neg(self) -> Self {
        Self(self.0, self.0.neg_f64s(self.1))
    }
}
