//! One analysis, so many times, and nothing else: `guard.py` counts its instructions.
//!
//! ```sh
//! counts                 # the analyses, with the pieces of one run
//! counts sets            # the sets of instructions that this processor has
//! counts NAME TIMES
//! ```

mod twins;

use std::hint::black_box;

use catoptric::RayColumn::{Each, Same};
use catoptric::numeric::simd::Instructions;
use catoptric::{
    Diagonal, Field, FocalLengthMm, FocalPlane, Focus, MaskOptions, MtfOptions, NoiseStudyOptions, Prepared,
    Primary, PsfSize, RadialProfile, Rays, ReduceOptions, Spectrum, Train, Wavefront, mask_sweep,
};
use twins::{
    FOCAL_MM, OBSTRUCTION, Paths, RIM_MM, WAVELENGTH_NM, masks_one_by_one, mirror, parts, prepared, readings,
    strehl_read_again, sunflower,
};

const FIELD: Field = Field::arcmin(10.0, 0.0);

/// What is run again and again.
type Run = Box<dyn Fn()>;

/// A name, how many pieces of what one run has, and what makes it ready.
type Analysis = (&'static str, usize, &'static str, fn(usize) -> Run);

/// The library's ways, each followed by its slow obvious twin.
const ANALYSES: [Analysis; 17] = [
    ("given_rays", 32_768, "ray", given_rays),
    ("ring_rays", 32_768, "ray", ring_rays),
    ("rays_one_by_one", 1024, "ray", rays_one_by_one),
    ("star", 128 * 128, "pixel", star),
    ("star_of_nine_colours", 64 * 64, "pixel", star_of_nine_colours),
    ("round_star", 128 * 128, "pixel", round_star),
    ("star_path_by_path", 8, "pixel", star_path_by_path),
    ("repeats", 1000, "repeat", repeats),
    ("noise_study", 10_000, "repeat", noise_study),
    ("repeats_one_by_one", 4, "repeat", repeats_one_by_one),
    ("light_by_sizes", 4000, "size", light_by_sizes),
    ("light_by_rays", 10_000, "ray", light_by_rays),
    ("rays_at_one_size", 2000, "ray", rays_at_one_size),
    ("masks", 1000, "Strehl", masks),
    ("masks_one_by_one", 4, "Strehl", masks_by_twin),
    ("contrast", 2, "frequency", contrast),
    ("contrast_by_a_net", 1, "frequency", contrast_by_a_net),
];

fn main() {
    let given: Vec<String> = std::env::args().skip(1).filter(|a| !a.starts_with("--")).collect();
    match &given.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        [] => ANALYSES.iter().for_each(|(name, pieces, piece, _)| println!("{name} {pieces} {piece}")),
        ["sets"] => {
            let there = Instructions::ALL.into_iter().filter(|set| set.is_there());
            there.for_each(|set| println!("{}", format!("{set:?}").to_lowercase()));
        }
        [name, times] => {
            let analysis = ANALYSES.iter().find(|(known, ..)| known == name).expect("a known analysis");
            let run = (analysis.3)(analysis.1);
            (0..times.parse().expect("a number of runs")).for_each(|_| run());
        }
        _ => panic!("one analysis and how many times"),
    }
}

/// A paraboloid with a spline of 16 pieces, its diagonal and focal plane.
fn spline() -> Prepared {
    let radius_mm: Vec<f64> = (0..=16).map(|k| RIM_MM * f64::from(k) / 16.0).collect();
    let height_nm = radius_mm.iter().map(|r| 30.0 * (r / 14.0).sin()).collect();
    let primary = Primary::new(2.0 * RIM_MM, FocalLengthMm(FOCAL_MM));
    prepared(parts(primary.layer(RadialProfile::new(radius_mm, height_nm))))
}

/// Places in a plane 2 m up, and the one direction, of a parallel beam over the mirror.
fn beam(count: usize) -> (Vec<[f64; 2]>, [f64; 3]) {
    let [x, y, z] = FIELD.towards();
    let places = sunflower(RIM_MM, count).map(|p| [p[0] + 2000.0 * x / z, p[1] + 2000.0 * y / z]).collect();
    (places, [-x, -y, -z])
}

fn given_rays(count: usize) -> Run {
    let (telescope, (places, way)) = (spline(), beam(count));
    let columns = [0, 1].map(|axis| places.iter().map(|p| p[axis]).collect::<Vec<_>>());
    Box::new(move || {
        let origin = [Each(&columns[0]), Each(&columns[1]), Same(2000.0)];
        let rays = Rays::new(origin, way.map(Same)).expect("rays");
        black_box(telescope.spot_of_rays(&rays, 0.0).expect("a spot"));
    })
}

fn ring_rays(count: usize) -> Run {
    let telescope = spline();
    Box::new(move || {
        black_box(telescope.spot_of_rings(FIELD, 0.0, count / 256, 256).expect("a spot"));
    })
}

fn rays_one_by_one(count: usize) -> Run {
    let (telescope, (places, way)) = (spline(), beam(count));
    Box::new(move || {
        let (mut passed, mut along, mut square) = (0.0, 0.0, 0.0);
        for [x, y] in &places {
            let Some(ray) = telescope.ray_from([*x, *y, 2000.0], way) else { continue };
            if telescope.passes(FIELD, ray.hit_mm[0], ray.hit_mm[1]) {
                let [x, y] = ray.at_height_mm(FOCAL_MM);
                passed += 1.0;
                along += x;
                square += x * x + y * y;
            }
        }
        black_box([passed, along, square]);
    })
}

fn wavefront(telescope: &Prepared) -> Wavefront {
    telescope.wavefront(FIELD, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront")
}

/// Twelve wavelengths times the focal ratio to each side.
fn size(pixels: usize) -> PsfSize {
    PsfSize { half_width_um: Some(12.0 * 0.55 * FOCAL_MM / (2.0 * RIM_MM)), pixels: pixels.isqrt() }
}

fn star(pixels: usize) -> Run {
    let wavefront = wavefront(&prepared(parts(mirror())));
    Box::new(move || {
        black_box(wavefront.psf(size(pixels)).expect("a star"));
    })
}

fn star_of_nine_colours(pixels: usize) -> Run {
    let (wavefront, light) = (wavefront(&prepared(parts(mirror()))), Spectrum::photopic());
    Box::new(move || {
        black_box(wavefront.psf_of(size(pixels), &light).expect("a star"));
    })
}

fn round_star(pixels: usize) -> Run {
    let telescope = prepared(Train::builder(mirror()));
    let wavefront = telescope.wavefront(Field::AXIS, Focus::LeastRms, WAVELENGTH_NM).expect("a wavefront");
    let light = Spectrum::photopic();
    Box::new(move || {
        black_box(wavefront.psf_of(size(pixels), &light).expect("a star"));
    })
}

fn star_path_by_path(pixels: usize) -> Run {
    let telescope = prepared(parts(mirror()));
    let wavefront = wavefront(&telescope);
    let places: Vec<[f64; 2]> = (0..pixels).map(|k| [0.7 * k as f64, 1.0]).collect();
    Box::new(move || {
        black_box(Paths::new(&telescope, FIELD, &wavefront).star(&places, |_| 1.0));
    })
}

fn options(draws: usize) -> ReduceOptions {
    ReduceOptions { obstruction_ratio: OBSTRUCTION, draws, ..ReduceOptions::default() }
}

fn repeats(draws: usize) -> Run {
    let readings = readings("before");
    Box::new(move || {
        black_box(readings.repeat_with_noise(&options(draws)).expect("repeats"));
    })
}

fn noise_study(repeats: usize) -> Run {
    let readings = readings("before");
    let options =
        NoiseStudyOptions { obstruction_ratio: OBSTRUCTION, repeats, ..NoiseStudyOptions::default() };
    Box::new(move || {
        black_box(readings.noise_study(&options).expect("a study"));
    })
}

/// Each set of readings solved for its heights, each figure's Strehl ring by ring.
fn repeats_one_by_one(draws: usize) -> Run {
    let readings = readings("before");
    Box::new(move || {
        for draw in 0..draws {
            black_box(strehl_read_again(&readings, draw));
        }
    })
}

/// An invented 406 mm f/5 with a flat of this size.
fn wide(minor_axis_mm: f64) -> Prepared {
    let parts = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)));
    prepared(parts.diagonal(Diagonal::new(minor_axis_mm)).focal_plane(FocalPlane::new(303.0)))
}

fn sizes_mm(count: usize) -> Vec<f64> {
    (0..count).map(|k| 60.0 + 50.0 * k as f64 / count as f64).collect()
}

/// Many sizes and few rays: what a size costs.
fn light_by_sizes(count: usize) -> Run {
    let (telescope, sizes) = (wide(70.0), sizes_mm(count));
    Box::new(move || {
        black_box(telescope.light_by_size(&sizes, &[FIELD], 100).expect("light"));
    })
}

/// A thousand sizes and many rays: what a ray costs.
fn light_by_rays(rays: usize) -> Run {
    let (telescope, sizes) = (wide(70.0), sizes_mm(1000));
    Box::new(move || {
        black_box(telescope.light_by_size(&sizes, &[FIELD], rays).expect("light"));
    })
}

/// The twin of `light_by_rays` for one of its sizes.
fn rays_at_one_size(rays: usize) -> Run {
    let telescope = wide(70.0);
    let places = telescope.rays_of_equal_light(FIELD, rays);
    Box::new(move || {
        black_box(places.iter().filter(|[x, y]| telescope.passes(FIELD, *x, *y)).count());
    })
}

/// Ten masks over figures that the readings allow, these drawn anew in each run.
fn masks(strehls: usize) -> Run {
    let figure = readings("before").reduce(options(strehls / 10)).expect("a figure");
    let masks_mm: Vec<f64> = (0..10).map(|k| 298.0 + 2.0 * f64::from(k)).collect();
    Box::new(move || {
        black_box(mask_sweep(&figure, &masks_mm, &MaskOptions::strehl_alone()).expect("a sweep"));
    })
}

fn masks_by_twin(masks: usize) -> Run {
    let masks_mm: Vec<f64> = (0..masks).map(|k| 298.0 + k as f64).collect();
    Box::new(move || {
        black_box(masks_one_by_one(330.0, &masks_mm));
    })
}

fn contrast(frequencies: usize) -> Run {
    let wavefront = wavefront(&prepared(parts(mirror())));
    let frequency_per_mm = (1..=frequencies).map(|k| 300.0 * k as f64 / frequencies as f64).collect();
    let options = MtfOptions { frequency_per_mm: Some(frequency_per_mm), spectrum: None };
    Box::new(move || {
        black_box(wavefront.otf(0.0, &options).expect("contrast"));
    })
}

fn contrast_by_a_net(frequencies: usize) -> Run {
    let telescope = prepared(parts(mirror()));
    let wavefront = wavefront(&telescope);
    Box::new(move || {
        let paths = Paths::new(&telescope, FIELD, &wavefront);
        for k in 0..frequencies {
            black_box(paths.contrast(100.0 + k as f64));
        }
    })
}
