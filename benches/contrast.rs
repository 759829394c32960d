//! Contrast of fine detail beside the slow obvious way.

mod twins;

use catoptric::{Field, Focus, MtfOptions, Prepared, Spectrum, Wavefront};
use divan::{Bencher, black_box};
use twins::{Paths, WAVELENGTH_NM, crowded, mirror, parts, prepared};

fn main() {
    divan::main();
}

const FIELD: Field = Field::arcmin(4.0, -2.0);

fn wavefront(telescope: &Prepared) -> Wavefront {
    telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront")
}

fn options(frequencies: usize, spectrum: Option<Spectrum>) -> MtfOptions {
    let frequency_per_mm = (1..=frequencies).map(|k| 300.0 * k as f64 / frequencies as f64).collect();
    MtfOptions { frequency_per_mm: Some(frequency_per_mm), spectrum }
}

/// One azimuth at so many frequencies.
#[divan::bench(args = [1, 33])]
fn along(bencher: Bencher<'_, '_>, frequencies: usize) {
    let (wavefront, options) = (wavefront(&prepared(parts(mirror()))), options(frequencies, None));
    bencher.bench(|| wavefront.otf(0.0, black_box(&options)));
}

/// The slow twin of `along` at one frequency.
#[divan::bench(sample_count = 3)]
fn along_by_a_net(bencher: Bencher<'_, '_>) {
    let telescope = prepared(parts(mirror()));
    let wavefront = wavefront(&telescope);
    let paths = Paths::new(&telescope, FIELD, &wavefront);
    bencher.bench(|| paths.contrast(black_box(100.0)));
}

/// Vanes, clips and cuts from all sides.
#[divan::bench(sample_count = 5)]
fn along_a_crowded_train(bencher: Bencher<'_, '_>) {
    let (wavefront, options) = (wavefront(&crowded()), options(33, None));
    bencher.bench(|| wavefront.otf(0.0, black_box(&options)));
}

/// All azimuths in nine wavelengths.
#[divan::bench(sample_count = 3)]
fn all_around_by_day(bencher: Bencher<'_, '_>) {
    let wavefront = wavefront(&prepared(parts(mirror())));
    let options = options(33, Some(Spectrum::photopic()));
    bencher.bench(|| wavefront.mtf(black_box(&options)));
}
