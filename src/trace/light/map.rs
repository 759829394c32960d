//! Light over a sensor.

use serde::{Deserialize, Serialize};

use super::super::prepared::Prepared;
use super::super::stops::Part;
use super::illumination::{by_part, largest_error};
use super::{limiting, magnitudes};
use crate::error::{Error, Findings, Result};

/// Points along a side of a map.
const FEWEST: usize = 2;
const MOST: usize = 401;

/// A rectangle in the focal plane: where a sensor looks.
///
/// Units: mm, degrees; the side `along_mm` lies along the tube, and the whole is turned from `along` toward `across`
/// about its centre.
///
/// ```
/// let frame = catoptric::SensorFrame::new(17.6, 13.3).rotation_deg(90.0);
/// let [along, across] = frame.place_mm(8.8, 0.0);
/// assert!(along.abs() < 1e-12 && (across - 8.8).abs() < 1e-12);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorFrame {
    /// Length of the side along the tube, mm.
    pub along_mm: f64,
    /// Length of the side across, mm.
    pub across_mm: f64,
    /// Turned from `along` toward `across`, degrees.
    #[serde(default)]
    pub rotation_deg: f64,
    /// Where the centre lies along, mm.
    #[serde(default)]
    pub centre_along_mm: f64,
    /// Where the centre lies across, mm.
    #[serde(default)]
    pub centre_across_mm: f64,
}

impl SensorFrame {
    /// A sensor in the middle of the field, not turned.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorFrame::new(17.6, 13.3).centre_along_mm, 0.0);
    /// ```
    pub fn new(along_mm: f64, across_mm: f64) -> Self {
        Self { along_mm, across_mm, rotation_deg: 0.0, centre_along_mm: 0.0, centre_across_mm: 0.0 }
    }

    /// The same sensor turned, degrees.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorFrame::new(17.6, 13.3).rotation_deg(20.0).rotation_deg, 20.0);
    /// ```
    #[must_use]
    pub fn rotation_deg(self, rotation_deg: f64) -> Self {
        Self { rotation_deg, ..self }
    }

    /// The same sensor with its centre elsewhere: along, across, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorFrame::new(17.6, 13.3).centre_mm(2.0, -1.0).centre_across_mm, -1.0);
    /// ```
    #[must_use]
    pub fn centre_mm(self, along_mm: f64, across_mm: f64) -> Self {
        Self { centre_along_mm: along_mm, centre_across_mm: across_mm, ..self }
    }

    /// The place in the focal plane (along, across, mm) of a point of the sensor, from its centre along its own two
    /// sides.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorFrame::new(17.6, 13.3).place_mm(1.0, 2.0), [1.0, 2.0]);
    /// ```
    pub fn place_mm(&self, along_mm: f64, across_mm: f64) -> [f64; 2] {
        let (sin, cos) = self.rotation_deg.to_radians().sin_cos();
        [
            self.centre_along_mm + along_mm * cos - across_mm * sin,
            self.centre_across_mm + along_mm * sin + across_mm * cos,
        ]
    }

    /// Its four corners in turn, from that toward +along and +across.
    ///
    /// ```
    /// assert_eq!(catoptric::SensorFrame::new(2.0, 4.0).corners_mm()[0], [1.0, 2.0]);
    /// ```
    pub fn corners_mm(&self) -> [[f64; 2]; 4] {
        let (a, b) = (self.along_mm / 2.0, self.across_mm / 2.0);
        [(a, b), (-a, b), (-a, -b), (a, -b)].map(|(a, b)| self.place_mm(a, b))
    }

    fn check(&self, focal_mm: f64) -> Result<()> {
        let mut findings = Findings::default();
        for (name, length) in [("along_mm", self.along_mm), ("across_mm", self.across_mm)] {
            let allowed = "a length above 0 and below the focal length";
            findings.number(name, length, |l| l > 0.0 && l < focal_mm, allowed, "micrometres?");
        }
        let turns = |a: f64| a.abs() <= 360.0;
        findings.number("rotation_deg", self.rotation_deg, turns, "from -360 to 360 degrees", "arcminutes?");
        for (name, place) in
            [("centre_along_mm", self.centre_along_mm), ("centre_across_mm", self.centre_across_mm)]
        {
            let allowed = "a position within half a focal length";
            findings.number(name, place, |p| p.abs() <= focal_mm / 2.0, allowed, "micrometres?");
        }
        findings.refuse()
    }
}

/// Light over a sensor, at even points from edge to edge.
///
/// Units: mm in the focal plane. Shapes: `rows` points along the sensor's own side `along_mm` and `columns` along the
/// other; the lists hold `rows` times `columns` entries, row by row, from the corner toward -along and -across.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Part, Prepared, Primary, SensorFrame, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(63.0).offset_mm(0.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let map = Prepared::new(&train).light_map(SensorFrame::new(22.0, 15.0), 9)?;
/// let corner = map.darkest_corner();
/// assert!(corner.along_mm < 0.0 && corner.limited_by == Some(Part::Diagonal));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LightMap {
    /// Where the sensor lies.
    pub frame: SensorFrame,
    /// Points along its side `along_mm`.
    pub rows: usize,
    /// Points along its side `across_mm`.
    pub columns: usize,
    /// Share of the light on the clear aperture that arrives.
    pub absolute: Vec<f64>,
    /// The middle of the field: the same there.
    pub on_axis: f64,
    /// For each part the share it stops at every point, in the order in which light meets the parts.
    pub stopped: Vec<(Part, Vec<f64>)>,
    /// The opening that limits at every point: see [`super::Light::limited_by`].
    pub limited_by: Vec<Option<Part>>,
    /// Estimated error of the absolute values: the largest of all points.
    pub error_estimate: f64,
}

/// A corner of a sensor, and the light there.
///
/// ```
/// use catoptric::{FocalLengthMm, Prepared, Primary, SensorFrame, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
/// let corner = Prepared::new(&train).light_map(SensorFrame::new(22.0, 15.0), 3)?.darkest_corner();
/// assert!(corner.limited_by.is_none() && (corner.relative - 1.0).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SensorCorner {
    /// Where it lies along, mm.
    pub along_mm: f64,
    /// Where it lies across, mm.
    pub across_mm: f64,
    /// Light over that in the middle of the field.
    pub relative: f64,
    /// The opening that limits there.
    pub limited_by: Option<Part>,
}

impl SensorCorner {
    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    ///
    /// ```
    /// let corner = catoptric::SensorCorner { along_mm: 9.0, across_mm: 7.0, relative: 1.0, limited_by: None };
    /// assert_eq!(corner.magnitudes(), 0.0);
    /// ```
    pub fn magnitudes(&self) -> f64 {
        magnitudes(self.relative)
    }
}

impl LightMap {
    /// The place of a point in the focal plane: along, across, mm.
    fn place_mm(&self, i: usize) -> [f64; 2] {
        place(&self.frame, (self.rows, self.columns), i)
    }

    /// Positions of all points along, mm.
    pub fn along_mm(&self) -> Vec<f64> {
        (0..self.absolute.len()).map(|i| self.place_mm(i)[0]).collect()
    }

    /// Positions of all points across, mm.
    pub fn across_mm(&self) -> Vec<f64> {
        (0..self.absolute.len()).map(|i| self.place_mm(i)[1]).collect()
    }

    /// Light over that in the middle of the field.
    pub fn relative(&self) -> Vec<f64> {
        self.absolute.iter().map(|a| a / self.on_axis).collect()
    }

    /// Loss against the middle of the field, magnitudes; infinite where no light arrives.
    pub fn magnitudes(&self) -> Vec<f64> {
        self.absolute.iter().map(|a| magnitudes(a / self.on_axis)).collect()
    }

    /// The corner with the least light; of several alike the first of [`SensorFrame::corners_mm`].
    pub fn darkest_corner(&self) -> SensorCorner {
        let last = self.absolute.len() - 1;
        // In the order of the frame's corners.
        let corners = [last, self.columns - 1, 0, last + 1 - self.columns];
        // Corners that only rounding tells apart are alike.
        let darker = |a: usize, b: usize| {
            if self.absolute[b] < self.absolute[a] - 1e-11 { b } else { a }
        };
        let darkest = corners[1..].iter().fold(corners[0], |a, &b| darker(a, b));
        let [along_mm, across_mm] = self.place_mm(darkest);
        let relative = self.absolute[darkest] / self.on_axis;
        SensorCorner { along_mm, across_mm, relative, limited_by: self.limited_by[darkest] }
    }

    /// The opening that takes most over the whole sensor.
    pub fn limited_mostly_by(&self) -> Option<Part> {
        limiting(self.stopped.iter().map(|(part, shares)| (*part, shares.iter().sum())))
    }
}

fn place(frame: &SensorFrame, (rows, columns): (usize, usize), i: usize) -> [f64; 2] {
    let at = |k: usize, count: usize| k as f64 / (count - 1) as f64 - 0.5;
    frame.place_mm(frame.along_mm * at(i / columns, rows), frame.across_mm * at(i % columns, columns))
}

impl Prepared {
    /// The light over a sensor: `points` along its longer side, and as many along the other as keep the spacing,
    /// edges included.
    ///
    /// Units: mm. `points` is a count from 2 to 401.
    /// Errors: [`Error::Input`] for sizes and places that no sensor has, and for the count, with the memory that it
    /// would take;
    /// [`Error::NoLight`] where the middle of the field is dark. Points beyond the drawtube are dark: zeros.
    /// Method, and what it leaves out: [`Prepared::light`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Prepared, Primary, SensorFrame, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// let map = Prepared::new(&train).light_map(SensorFrame::new(12.0, 24.0), 25)?;
    /// assert_eq!((map.rows, map.columns), (13, 25));
    /// assert!(Prepared::new(&train).light_map(SensorFrame::new(12.0, 24.0), 100_000).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn light_map(&self, frame: SensorFrame, points: usize) -> Result<LightMap> {
        frame.check(self.focal_length_mm())?;
        let longer = frame.along_mm.max(frame.across_mm);
        let along_side = |side: f64| {
            let spaces = (points.saturating_sub(1) as f64 * side / longer).round();
            (spaces.max(1.0) as usize).saturating_add(1)
        };
        let (rows, columns) = (along_side(frame.along_mm), along_side(frame.across_mm));
        if !(FEWEST..=MOST).contains(&points) {
            // The share of each part, the light and what limits it; while it is made, a record a point.
            let bytes = rows as f64 * columns as f64 * (32 * self.parts().len() + 96) as f64;
            return Err(Error::input(
                "points",
                points,
                format!("{FEWEST} to {MOST} points along the longer side"),
                format!("{rows} by {columns} points would take {:.1} MB", bytes / 1e6),
            ));
        }
        let on_axis = self.light_on_axis()?.lit_fraction;
        let places: Vec<[f64; 2]> = (0..rows * columns).map(|i| place(&frame, (rows, columns), i)).collect();
        let lights = self.lights_at(&places);
        Ok(LightMap {
            frame,
            rows,
            columns,
            absolute: lights.iter().map(|l| l.lit_fraction).collect(),
            on_axis,
            stopped: by_part(self, &lights),
            limited_by: lights.iter().map(|l| l.limited_by).collect(),
            error_estimate: largest_error(&lights),
        })
    }
}
