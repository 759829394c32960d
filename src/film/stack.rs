//! Layers on glass: amplitudes of reflection and transmission.
//!
//! Time runs as exp(-i omega t), so that an index n + i k with positive k absorbs. Both polarisations use signs in
//! which a perfect conductor returns -1, and agree at normal incidence.

use std::f64::consts::TAU;

use nalgebra::Complex;

/// Direction of the electric field: across the plane of incidence, or in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Polarisation {
    S,
    P,
}

/// A layer between two half spaces.
#[derive(Clone, Copy, Debug)]
pub(super) struct Layer {
    pub(super) index: Complex<f64>,
    pub(super) thickness_nm: f64,
}

/// Amplitudes for one polarisation; the transmitted one as the field's own.
#[derive(Clone, Copy, Debug)]
pub(super) struct Amplitudes {
    pub(super) reflected: Complex<f64>,
    pub(super) transmitted: Complex<f64>,
    /// Power carried on for each unit of |transmitted|^2, over that of the incident wave.
    pub(super) carried: f64,
}

/// What one meets from one side of the stack to the other.
#[derive(Clone, Debug)]
pub(super) struct Stack {
    pub(super) from: f64,
    pub(super) layers: Vec<Layer>,
    pub(super) to: f64,
}

impl Stack {
    /// The same layers met from the other side.
    pub(super) fn reversed(&self) -> Self {
        Self { from: self.to, layers: self.layers.iter().rev().copied().collect(), to: self.from }
    }

    /// Amplitudes for a wave whose direction has this sine, times the index it comes from: the same in all layers
    /// (Snell).
    pub(super) fn amplitudes(
        &self,
        wavelength_nm: f64,
        invariant: f64,
        polarisation: Polarisation,
    ) -> Amplitudes {
        let cosine = |index: Complex<f64>| {
            let sine = Complex::new(invariant, 0.0) / index;
            let cosine = (Complex::new(1.0, 0.0) - sine * sine).sqrt();
            // The wave that runs or decays into the stack.
            if (index * cosine).im < 0.0 { -cosine } else { cosine }
        };
        let real = |n: f64| Complex::new(n, 0.0);
        let indices: Vec<_> = [real(self.from)]
            .into_iter()
            .chain(self.layers.iter().map(|l| l.index))
            .chain([real(self.to)])
            .collect();
        let last = indices.len() - 1;
        let mut below = interface(&indices[last - 1..], cosine, polarisation);
        for (i, layer) in self.layers.iter().enumerate().rev() {
            let phase = Complex::new(0.0, TAU * layer.thickness_nm / wavelength_nm)
                * layer.index
                * cosine(layer.index);
            let (once, twice) = (phase.exp(), (phase + phase).exp());
            let above = interface(&indices[i..=i + 1], cosine, polarisation);
            // The geometric series of all round trips within the layer.
            let trips = Complex::new(1.0, 0.0) + above.0 * below.0 * twice;
            below = ((above.0 + below.0 * twice) / trips, above.1 * below.1 * once / trips);
        }
        let flow = |n: f64| n * cosine(real(n)).re;
        Amplitudes { reflected: below.0, transmitted: below.1, carried: flow(self.to) / flow(self.from) }
    }
}

/// Fresnel amplitudes of one surface: reflected, transmitted.
fn interface(
    pair: &[Complex<f64>],
    cosine: impl Fn(Complex<f64>) -> Complex<f64>,
    polarisation: Polarisation,
) -> (Complex<f64>, Complex<f64>) {
    let (n1, n2) = (pair[0], pair[1]);
    let (c1, c2) = (cosine(n1), cosine(n2));
    let two = Complex::new(2.0, 0.0);
    match polarisation {
        Polarisation::S => ((n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2), two * n1 * c1 / (n1 * c1 + n2 * c2)),
        Polarisation::P => ((n1 * c2 - n2 * c1) / (n1 * c2 + n2 * c1), two * n1 * c1 / (n1 * c2 + n2 * c1)),
    }
}
