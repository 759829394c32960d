//! The Gauss-Kronrod pair of 7 and 15 nodes: one sum and its companion from the same values.

/// Where, the weight of the 15-point sum, and that of the 7-point Gauss sum (0 where it has no node), on -1 to 1.
///
/// Source: QUADPACK, routine qk15 (Piessens, de Doncker-Kapenga, Ueberhuber & Kahaner 1983), from memory; the test
/// holds the degrees
/// to which both must be exact.
pub(crate) const PAIR: [(f64, f64, f64); 15] = {
    const HALF: [(f64, f64, f64); 7] = [
        (0.991_455_371_120_812_6, 0.022_935_322_010_529_224, 0.0),
        (0.949_107_912_342_758_5, 0.063_092_092_629_978_56, 0.129_484_966_168_869_7),
        (0.864_864_423_359_769_1, 0.104_790_010_322_250_19, 0.0),
        (0.741_531_185_599_394_5, 0.140_653_259_715_525_92, 0.279_705_391_489_276_7),
        (0.586_087_235_467_691_1, 0.169_004_726_639_267_9, 0.0),
        (0.405_845_151_377_397_2, 0.190_350_578_064_785_4, 0.381_830_050_505_118_9),
        (0.207_784_955_007_898_47, 0.204_432_940_075_298_89, 0.0),
    ];
    let mut all = [(0.0, 0.209_482_141_084_727_83, 0.417_959_183_673_469_4); 15];
    let mut i = 0;
    while i < 7 {
        let (x, fine, coarse) = HALF[i];
        all[i] = (-x, fine, coarse);
        all[14 - i] = (x, fine, coarse);
        i += 1;
    }
    all
};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_sums_are_exact_to_their_degrees() {
        // Closed form: the integral of x^n from -1 to 1 is 2/(n + 1) for even n.
        let sums = |n: i32| {
            PAIR.iter()
                .fold((0.0, 0.0), |(f, c), (x, fine, coarse)| (f + fine * x.powi(n), c + coarse * x.powi(n)))
        };
        for n in (0..=22).step_by(2) {
            let (fine, coarse) = sums(n);
            let exact = 2.0 / f64::from(n + 1);
            assert!((fine - exact).abs() < 1e-15, "15 nodes, degree {n}: {fine}");
            assert!(n > 12 || (coarse - exact).abs() < 1e-15, "7 nodes, degree {n}: {coarse}");
        }
        assert!((sums(14).1 - 2.0 / 15.0).abs() > 1e-6, "no rule of 7 nodes is exact to degree 14");
    }
}
