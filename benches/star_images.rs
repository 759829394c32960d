//! Strehl and star images of a whole train and of a caller's own map, each beside the slow obvious way.

use std::f64::consts::TAU;

use catoptric::{
    AxisDirection, Diagonal, Field, FocalLengthMm, FocalPlane, Focus, FocusSteps, Prepared, Primary, PsfSize,
    PupilMap, Spectrum, Train, TurnedEdge, Wavefront, Zone,
};
use divan::{Bencher, black_box};

fn main() {
    divan::main();
}

const FIELD: Field = Field::arcmin(4.0, -2.0);
const WAVELENGTH_NM: f64 = 550.0;

/// An invented 318 mm f/4.9 with a turned edge and a zone.
fn telescope() -> Prepared {
    let primary = Primary::new(318.0, FocalLengthMm(1558.0))
        .layer(TurnedEdge::new(9.0, 90.0))
        .layer(Zone::new(95.0, 13.0, 28.0));
    let train =
        Train::builder(primary).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)).build();
    Prepared::new(&train.expect("a sound train"))
}

fn wavefront() -> Wavefront {
    telescope().wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront")
}

#[divan::bench]
fn wavefront_at_least_rms(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.wavefront(black_box(FIELD), Focus::LeastRms, WAVELENGTH_NM));
}

#[divan::bench]
fn wavefront_at_the_peak(bencher: Bencher<'_, '_>) {
    let telescope = telescope();
    bencher.bench(|| telescope.wavefront(black_box(FIELD), Focus::Peak, WAVELENGTH_NM));
}

/// The slow twin of the Strehl in `wavefront_at_least_rms`, at a given focus: even polar samples, kept or dropped.
#[divan::bench]
fn strehl_by_even_samples(bencher: Bencher<'_, '_>) {
    let (telescope, wavefront) = (telescope(), wavefront());
    bencher.bench(|| even_samples(&telescope, &wavefront, black_box(&[[0.0, 0.0]])));
}

/// Star images of the default width, with so many pixels on a side.
#[divan::bench(args = [33, 129, 257])]
fn star_image(bencher: Bencher<'_, '_>, pixels: usize) {
    let wavefront = wavefront();
    bencher.bench(|| wavefront.psf(black_box(PsfSize { half_width_um: None, pixels })));
}

/// The same in nine wavelengths.
#[divan::bench(args = [33, 257])]
fn star_image_by_day(bencher: Bencher<'_, '_>, pixels: usize) {
    let (wavefront, light) = (wavefront(), Spectrum::photopic());
    bencher.bench(|| wavefront.psf_of(black_box(PsfSize { half_width_um: None, pixels }), &light));
}

/// A bare mirror on the axis: one radius instead of the whole pupil.
#[divan::bench]
fn round_star_image_by_day(bencher: Bencher<'_, '_>) {
    let primary = Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 90.0));
    let telescope = Prepared::new(&Train::builder(primary).build().expect("a sound train"));
    let wavefront = telescope.wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let light = Spectrum::photopic();
    bencher.bench(|| wavefront.psf_of(black_box(PsfSize { half_width_um: None, pixels: 257 }), &light));
}

/// Eleven pictures of twelve wavelengths times the focal ratio, 2.5 waves to either side of focus.
#[divan::bench]
fn eleven_pictures_through_focus(bencher: Bencher<'_, '_>) {
    let (wavefront, light) = (wavefront(), Spectrum::line(WAVELENGTH_NM).expect("a line"));
    let steps = FocusSteps::Waves((0..11).map(|k| 0.5 * f64::from(k) - 2.5).collect());
    let size = PsfSize { half_width_um: Some(12.0 * 0.55 * 1558.0 / 318.0), pixels: 256 };
    bencher.bench(|| wavefront.through_focus(&steps, black_box(size), &light));
}

/// The slow twin of `star_image` with 33 pixels: every pixel a sum over all samples.
#[divan::bench(sample_count = 3)]
fn star_image_by_even_samples(bencher: Bencher<'_, '_>) {
    let (telescope, wavefront) = (telescope(), wavefront());
    let pixel_um = 24.0 * 0.55 * 1558.0 / 318.0 / 33.0;
    let places: Vec<[f64; 2]> =
        (0..33 * 33).map(|k| [k % 33, k / 33].map(|i| (f64::from(i) - 16.0) * pixel_um)).collect();
    bencher.bench(|| even_samples(&telescope, &wavefront, black_box(&places)));
}

/// A star on the axis, whose pupil is the same above and below.
#[divan::bench]
fn star_image_on_the_axis(bencher: Bencher<'_, '_>) {
    let wavefront = telescope().wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    bencher.bench(|| wavefront.psf(black_box(PsfSize { half_width_um: None, pixels: 256 })));
}

/// An annulus of so many pixels on a side, with a wave in it.
fn map(side: usize) -> PupilMap<'static> {
    let middle = 0.5 * (side as f64 - 1.0);
    let path_nm = ndarray::Array2::from_shape_fn((side, side), |(i, j)| {
        let (y, x) = ((i as f64 - middle) / middle, (j as f64 - middle) / middle);
        if (0.22..=1.0).contains(&x.hypot(y)) { 60.0 * x * y + 80.0 * x.powi(4) } else { f64::NAN }
    });
    PupilMap::new(path_nm, 318.0 / side as f64, 1558.0, AxisDirection::PlusY, AxisDirection::PlusX)
}

/// Pictures of 256 x 256 pixels behind a map.
#[divan::bench(args = [128, 512, 2048])]
fn star_of_a_map(bencher: Bencher<'_, '_>, side: usize) {
    let (map, light) = (map(side), Spectrum::line(WAVELENGTH_NM).expect("a line"));
    bencher.bench(|| map.psf(black_box(PsfSize { half_width_um: None, pixels: 256 }), &light));
}

/// The slow twin, 16 x 16 pixels of 512 x 512: every pixel a sum over the whole map.
#[divan::bench(sample_count = 3)]
fn star_of_a_map_pixel_by_pixel(bencher: Bencher<'_, '_>) {
    let map = map(512);
    let step_um = 24.0 * 0.55 * 1558.0 / 318.0 / 256.0;
    bencher.bench(|| {
        let places = (0..256).map(|k| [k % 16, k / 16].map(|i| f64::from(i) * step_um));
        let intensity = |place: [f64; 2]| {
            let (mut re, mut im, mut count) = (0.0, 0.0, 0.0);
            for ((i, j), path_nm) in map.path_nm.indexed_iter().filter(|(_, path)| !path.is_nan()) {
                let sines = [j, i].map(|k| (k as f64 - 255.5) * map.pixel_mm / map.focal_length_mm);
                let step_nm = 1000.0 * (sines[0] * place[0] + sines[1] * place[1]);
                let (s, c) = (TAU * (path_nm + step_nm) / WAVELENGTH_NM).sin_cos();
                (re, im, count) = (re + c, im + s, count + 1.0);
            }
            (re * re + im * im) / (count * count)
        };
        places.map(intensity).collect::<Vec<f64>>()
    });
}

#[divan::bench]
fn encircled_energy(bencher: Bencher<'_, '_>) {
    let wavefront = wavefront();
    bencher.bench(|| wavefront.encircled_energy(black_box(&[2.0, 5.0, 10.0, 20.0])));
}

/// Intensities at places in um about a reference point, from W = -(d.Q + |P - Q|) at 120 x 240 samples.
fn even_samples(telescope: &Prepared, wavefront: &Wavefront, places_um: &[[f64; 2]]) -> Vec<f64> {
    const RINGS: usize = 120;
    const ANGLES: usize = 240;
    let towards = FIELD.towards();
    let gaussian = FIELD.tangents().map(|t| -1558.0 * t);
    let moved = wavefront.reference_um().map(|v| v / 1000.0);
    let reference = [gaussian[0] + moved[0], gaussian[1] + moved[1], 1558.0 + wavefront.focus_shift_mm()];
    let mut samples = Vec::new();
    for ring in 0..RINGS {
        let r = 159.0 * ((ring as f64 + 0.5) / RINGS as f64).sqrt();
        for i in 0..ANGLES {
            let (sin, cos) = (TAU * i as f64 / ANGLES as f64).sin_cos();
            if telescope.passes(FIELD, r * cos, r * sin) {
                let ray = telescope.ray(FIELD, r * cos, r * sin);
                let gap = [0, 1, 2].map(|a| reference[a] - ray.hit_mm[a]);
                let distance = gap.iter().map(|g| g * g).sum::<f64>().sqrt();
                let down: f64 = (0..3).map(|a| -towards[a] * ray.hit_mm[a]).sum();
                samples.push((ray.beam, -(down + distance), [gap[0] / distance, gap[1] / distance]));
            }
        }
    }
    let (whole, first) = (samples.iter().map(|s| s.0).sum::<f64>(), samples[0].1);
    let per_mm = TAU * 1e6 / WAVELENGTH_NM;
    let intensity = |place: &[f64; 2]| {
        let (mut re, mut im) = (0.0, 0.0);
        for (weight, path, line) in &samples {
            let step = (line[0] * place[0] + line[1] * place[1]) / 1000.0;
            let (s, c) = (per_mm * (path - first - step)).sin_cos();
            re += weight * c;
            im += weight * s;
        }
        (re * re + im * im) / (whole * whole)
    };
    places_um.iter().map(intensity).collect()
}
