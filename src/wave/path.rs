//! Straight lines from the mirror to a point of the image.

/// Distance and unit vector from a hit point to a reference point.
pub(super) fn line_of_sight(hit: [f64; 3], reference: [f64; 3]) -> (f64, [f64; 3]) {
    let gap = [reference[0] - hit[0], reference[1] - hit[1], reference[2] - hit[2]];
    let distance = dot(&gap, &gap).sqrt();
    (distance, gap.map(|g| g / distance))
}

/// The line from a point of an ideal pupil of unit radius to its image.
pub(super) fn ideal_line(x: f64, y: f64, focal_ratio: f64) -> [f64; 3] {
    let (mx, my) = (-x / (2.0 * focal_ratio), -y / (2.0 * focal_ratio));
    [mx, my, (1.0 - mx * mx - my * my).max(0.0).sqrt()]
}

/// The product of two vectors.
#[inline]
pub(super) fn dot(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
