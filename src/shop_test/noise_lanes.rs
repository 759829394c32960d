//! The inner loops of a noise study: many repeats side by side, from random words to a Strehl ratio each.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use crate::numeric::counter::{Column, LANES, Runs, polynomial};
use crate::numeric::simd::{Instructions, add_product, each_set};

/// Half of a piece's phase difference, radians, up to which the series here are good to 5e-10.
pub(super) const MOST_RAD: f64 = 1.25;
/// sin(d)/d and cos(d) in powers of d^2 up to there: the polynomials that pass through them at Chebyshev's points (mpmath 1.4.1
/// at 40 digits).
const SINC: [f64; 5] = [
    0.999_999_999_555_578_5,
    -0.166_666_652_442_312_58,
    0.008_333_260_427_553_914,
    -0.000_198_281_745_486_720_54,
    2.659_449_051_650_811e-6,
];
const COSINE: [f64; 6] = [
    0.999_999_999_985_543_6,
    -0.499_999_999_333_769,
    0.041_666_661_689_055_284,
    -0.001_388_875_279_233_871_2,
    2.478_474_785_182_778e-5,
    -2.659_431_998_966_885e-7,
];

/// A stretch of the pupil, over which the phase is straight: see [`super::noise_pieces`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Piece {
    /// Half of its phase difference, radians: for a height of 1 nm at the beginning of its opening, an error of 1 mm of the
    /// opening's reading, and a unit of defocus.
    pub(super) by_height: f64,
    pub(super) by_error: f64,
    pub(super) by_focus: f64,
    /// Its share of the light.
    pub(super) light: f64,
    /// Where on the piece the light is centred, with the ends at -1 and 1, and the light times the mean square of the distance
    /// from there.
    pub(super) centre: f64,
    pub(super) second: f64,
    /// What a lean of the light along the piece adds beside its mean phasor, at a right angle: d, d^3, d^5.
    pub(super) lean: [f64; 3],
}

/// One opening: what a reading that is 1 mm too long does.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Zone {
    /// What the mean reading is too long by, mm.
    pub(super) error_mm: f64,
    /// Rise of the surface from its inner rim to its outer one, nm.
    pub(super) rise_nm: f64,
    /// Defocus of least squares.
    pub(super) focus: f64,
    pub(super) pieces: Vec<Piece>,
}

/// How the errors of the readings are made from independent normal draws.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Spread {
    /// Standard deviations, mm: a draw for each opening.
    Independent(Vec<f64>),
    /// A row for each opening, mm, and how long a row is.
    Together(Vec<f64>, usize),
}

/// All that the repeats of a study share.
#[derive(Clone, Debug)]
pub(super) struct Study {
    pub(super) runs: Runs,
    pub(super) zones: Vec<Zone>,
    pub(super) spread: Spread,
    /// Equally probable factors on the noise; a single one is 1.
    pub(super) scales: Vec<f64>,
    pub(super) nm_per_rad: f64,
}

/// Columns that begin where lines of the cache do: what crosses lines takes twice as long.
#[derive(Clone, Copy, Debug)]
#[repr(align(64))]
pub(super) struct Lined<T>(pub(super) T);

/// Room for the repeats that are side by side.
#[derive(Clone, Debug, Default)]
pub(super) struct Room {
    normals: Vec<Lined<[Column; 4]>>,
    /// Errors of the readings, opening by opening, mm.
    pub(super) errors_mm: Vec<Lined<Column>>,
}

/// Answers of the repeats that are side by side.
#[derive(Clone, Debug)]
#[repr(align(64))]
pub(super) struct Answers {
    pub(super) strehl: Column,
    pub(super) rms_nm: Column,
    /// Square of the largest half phase difference of a piece: beyond that of [`MOST_RAD`] the answers are not good.
    pub(super) worst: Column,
}

impl Answers {
    pub(super) fn new() -> Self {
        Self { strehl: [0.0; LANES], rms_nm: [0.0; LANES], worst: [0.0; LANES] }
    }
}

/// Fills the answers of repeats number `first` and on.
pub(super) fn repeats(set: Instructions, study: &Study, first: u64, room: &mut Room, answers: &mut Answers) {
    let draws = match &study.spread {
        Spread::Independent(sigmas) => sigmas.len(),
        Spread::Together(_, draws) => *draws,
    };
    room.normals.resize(draws.div_ceil(4), Lined([[0.0; LANES]; 4]));
    room.errors_mm.resize(study.zones.len(), Lined([0.0; LANES]));
    repeats_in_lanes(set, study, first, room, answers);
}

each_set! {
    fn repeats_in_lanes(study: &Study, first: u64, room: &mut Room, answers: &mut Answers) = repeats_with;
}

#[inline(always)]
fn repeats_with<const FUSED: bool>(study: &Study, first: u64, room: &mut Room, answers: &mut Answers) {
    draw::<FUSED>(study, first, room);
    // What the errors are worth: the phasor at the beginning of a piece, its sum over the light, phases and their sums.
    let (mut focus, mut height) = (Lined([0.0; LANES]), Lined([0.0; LANES]));
    for (zone, errors) in study.zones.iter().zip(&room.errors_mm) {
        for i in 0..LANES {
            focus.0[i] = add_product::<FUSED>(zone.focus, errors.0[i], focus.0[i]);
        }
    }
    let mut state = State::new();
    for (zone, errors) in study.zones.iter().zip(&room.errors_mm) {
        for piece in &zone.pieces {
            pass::<FUSED>(piece, &height.0, &errors.0, &focus.0, &mut state);
        }
        for i in 0..LANES {
            height.0[i] = add_product::<FUSED>(zone.rise_nm, errors.0[i], height.0[i]);
        }
    }
    for i in 0..LANES {
        let strehl = state.re[i] * state.re[i] + state.im[i] * state.im[i];
        // Rounding may carry a perfect figure beyond 1.
        answers.strehl[i] = if strehl < 1.0 { strehl } else { 1.0 };
        let square = state.square[i] - state.mean[i] * state.mean[i];
        answers.rms_nm[i] = study.nm_per_rad * (if square > 0.0 { square } else { 0.0 }).sqrt();
    }
    answers.worst = state.worst;
}

/// Draws the errors of the readings.
#[inline(always)]
fn draw<const FUSED: bool>(study: &Study, first: u64, room: &mut Room) {
    for (block, four) in room.normals.iter_mut().enumerate() {
        study.runs.four_normals::<FUSED>(first, block as u32, &mut four.0);
    }
    if study.scales.len() > 1 {
        let mut scale = [0.0; LANES];
        for (i, scale) in scale.iter_mut().enumerate() {
            let place = study.runs.uniform(first.wrapping_add(i as u64)) * study.scales.len() as f64;
            *scale = study.scales[(place as usize).min(study.scales.len() - 1)];
        }
        for column in room.normals.iter_mut().flat_map(|four| &mut four.0) {
            for i in 0..LANES {
                column[i] *= scale[i];
            }
        }
    }
    for (k, (zone, errors)) in study.zones.iter().zip(&mut room.errors_mm).enumerate() {
        let errors = &mut errors.0;
        *errors = [zone.error_mm; LANES];
        let mut add = |sigma: f64, draw: usize| {
            let column = &room.normals[draw / 4].0[draw % 4];
            for i in 0..LANES {
                errors[i] = add_product::<FUSED>(sigma, column[i], errors[i]);
            }
        };
        match &study.spread {
            Spread::Independent(sigmas) => add(sigmas[k], k),
            Spread::Together(rows, draws) => {
                rows[k * draws..(k + 1) * draws]
                    .iter()
                    .enumerate()
                    .for_each(|(draw, sigma)| add(*sigma, draw));
            }
        }
    }
}

/// Where the repeats stand on their way over the pupil.
#[repr(align(64))]
struct State {
    /// The phasor at the beginning of the next piece; that of the first is 1.
    x: Column,
    y: Column,
    /// Sum of light times phasor.
    re: Column,
    im: Column,
    /// The phase there, and the sums of light times phase and its square.
    phase: Column,
    mean: Column,
    square: Column,
    worst: Column,
}

impl State {
    #[inline(always)]
    fn new() -> Self {
        let none = [0.0; LANES];
        Self {
            x: [1.0; LANES],
            y: none,
            re: none,
            im: none,
            phase: none,
            mean: none,
            square: none,
            worst: none,
        }
    }
}

/// Adds one piece: with half its phase difference d, the mean of exp(i phase) over it is exp(i middle) sin(d)/d.
#[inline(always)]
fn pass<const FUSED: bool>(
    piece: &Piece,
    height: &Column,
    errors: &Column,
    focus: &Column,
    state: &mut State,
) {
    let Piece { by_height, by_error, by_focus, light, centre, second, lean } = *piece;
    for i in 0..LANES {
        let by_both = add_product::<FUSED>(by_height, height[i], by_error * errors[i]);
        let d = add_product::<FUSED>(-by_focus, focus[i], by_both);
        let d2 = d * d;
        let sinc = polynomial::<FUSED, 5>(&SINC, d2);
        let cosine = polynomial::<FUSED, 6>(&COSINE, d2);
        let aside = d * polynomial::<FUSED, 3>(&lean, d2);
        let (even, sine) = (light * sinc, d * sinc);
        let (x, y) = (state.x[i], state.y[i]);
        let (mx, my) =
            (add_product::<FUSED>(x, cosine, -(y * sine)), add_product::<FUSED>(x, sine, y * cosine));
        // The phasors at both ends add up to that of the middle times 2 cos(d).
        let double = cosine + cosine;
        state.x[i] = add_product::<FUSED>(double, mx, -x);
        state.y[i] = add_product::<FUSED>(double, my, -y);
        state.re[i] = add_product::<FUSED>(even, mx, add_product::<FUSED>(-aside, my, state.re[i]));
        state.im[i] = add_product::<FUSED>(even, my, add_product::<FUSED>(aside, mx, state.im[i]));
        let middle = state.phase[i] + d;
        state.phase[i] = middle + d;
        let mean = add_product::<FUSED>(centre, d, middle);
        let weighted = light * mean;
        state.mean[i] += weighted;
        state.square[i] =
            add_product::<FUSED>(weighted, mean, add_product::<FUSED>(second, d2, state.square[i]));
        state.worst[i] = if d2 > state.worst[i] { d2 } else { state.worst[i] };
    }
}
