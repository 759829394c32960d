//! Which instructions the vector loops use: the best of the processor, or those that are asked for.

use std::sync::OnceLock;

/// A set of vector instructions.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instructions {
    /// Eight numbers side by side, fused products (x86 with AVX-512).
    Avx512,
    /// Four numbers side by side, fused products (x86 with AVX2 and FMA).
    Avx2,
    /// What every processor of its kind has.
    Portable,
}

impl Instructions {
    /// All sets, the widest first.
    pub const ALL: [Self; 3] = [Self::Avx512, Self::Avx2, Self::Portable];

    /// The set that loops use in this process.
    ///
    /// The variable `CATOPTRIC_SIMD` names the widest set that may be used: `avx512`, `avx2` or `portable`; it is read
    /// once, and other values are passed over. Loops that are asked for a set which the processor has not take the
    /// portable one.
    /// Leaves out: last bits differ between the sets, as fused products round once.
    ///
    /// ```
    /// use catoptric::numeric::simd::Instructions;
    /// assert!(Instructions::ALL.contains(&Instructions::in_use()));
    /// ```
    pub fn in_use() -> Self {
        static SET: OnceLock<Instructions> = OnceLock::new();
        *SET.get_or_init(|| {
            let asked = std::env::var("CATOPTRIC_SIMD").ok().and_then(|name| Self::from_name(name.trim()));
            let widest = asked.unwrap_or(Self::Avx512);
            let possible = |set: &&Self| **set == Self::Portable || set.is_there();
            let from = Self::ALL.iter().position(|set| *set == widest).unwrap_or(0);
            Self::ALL[from..].iter().find(possible).copied().unwrap_or(Self::Portable)
        })
    }

    /// Whether the processor has the set.
    ///
    /// ```
    /// assert!(catoptric::numeric::simd::Instructions::Portable.is_there());
    /// ```
    pub fn is_there(self) -> bool {
        match self {
            #[cfg(target_arch = "x86_64")]
            Self::Avx512 => {
                std::arch::is_x86_feature_detected!("avx512f")
                    && std::arch::is_x86_feature_detected!("avx512vl")
                    && std::arch::is_x86_feature_detected!("avx512dq")
                    // Processors before these had to slow down for wide instructions.
                    && std::arch::is_x86_feature_detected!("avx512vbmi2")
                    && std::arch::is_x86_feature_detected!("fma")
            }
            #[cfg(target_arch = "x86_64")]
            Self::Avx2 => {
                std::arch::is_x86_feature_detected!("avx2") && std::arch::is_x86_feature_detected!("fma")
            }
            #[cfg(not(target_arch = "x86_64"))]
            Self::Avx512 | Self::Avx2 => false,
            Self::Portable => true,
        }
    }

    /// The set of a name, as `CATOPTRIC_SIMD` has it.
    ///
    /// ```
    /// use catoptric::numeric::simd::Instructions;
    /// assert_eq!(Instructions::from_name("avx2"), Some(Instructions::Avx2));
    /// assert_eq!(Instructions::from_name("fast"), None);
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "avx512" => Some(Self::Avx512),
            "avx2" => Some(Self::Avx2),
            "portable" => Some(Self::Portable),
            _ => None,
        }
    }
}

/// a b + c, in one rounding where the processor has it.
// A helper that is not inlined is compiled without the instructions of its caller.
#[allow(clippy::inline_always)]
#[inline(always)]
pub(crate) fn add_product<const FUSED: bool>(a: f64, b: f64, c: f64) -> f64 {
    if FUSED { a.mul_add(b, c) } else { a * b + c }
}

/// One function for each set of instructions, and one in front that chooses: its first argument says which.
///
/// The work itself is an `#[inline(always)]` function with the same arguments and one constant, whether products are
/// fused (`mul_add` costs a call where the processor has none). What it calls has to be `#[inline(always)]` too, or it
/// is compiled without the instructions. Other processors than x86 take the portable one, which knows their own.
///
/// ```text
/// each_set! {
///     /// Adds a list to sums.
///     pub(super) fn add(list: &[f64], sums: &mut [f64; 8]) -> bool = add_with;
/// }
/// #[inline(always)]
/// fn add_with<const FUSED: bool>(list: &[f64], sums: &mut [f64; 8]) -> bool { .. }
/// ```
macro_rules! each_set {
    ($(#[$about:meta])* $shown:vis fn $name:ident($($arg:ident: $kind:ty),* $(,)?) $(-> $gives:ty)? = $work:ident;) => {
        $(#[$about])*
        #[allow(clippy::too_many_arguments)]
        #[inline]
        $shown fn $name(set: $crate::numeric::simd::Instructions, $($arg: $kind),*) $(-> $gives)? {
            use $crate::numeric::simd::Instructions;
            #[multiversion::multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma"))]
            fn avx512($($arg: $kind),*) $(-> $gives)? {
                multiversion::target::match_target! {
                    "x86_64+fma" => $work::<true>($($arg),*),
                    _ => $work::<false>($($arg),*),
                }
            }
            #[multiversion::multiversion(targets("x86_64+avx2+fma"))]
            fn avx2($($arg: $kind),*) $(-> $gives)? {
                multiversion::target::match_target! {
                    "x86_64+fma" => $work::<true>($($arg),*),
                    _ => $work::<false>($($arg),*),
                }
            }
            match set {
                Instructions::Avx512 => avx512($($arg),*),
                Instructions::Avx2 => avx2($($arg),*),
                Instructions::Portable => $work::<false>($($arg),*),
            }
        }
    };
}
pub(crate) use each_set;
