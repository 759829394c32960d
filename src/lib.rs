//! What the optics of a Newtonian telescope are worth.
//!
//! This crate traces and diffracts the whole optical train of a Newtonian reflector (primary, diagonal,
//! focal plane, and all that stops or spoils light on the way), reduces knife-edge readings to a figure
//! of the mirror, and judges whether a refigure made it better. Answers carry their uncertainty.
//!
//! The flow, and the only one:
//!
//! ```text
//! readings ──> figure ──┐
//! sizes, coatings ──────┴─> Train ──> Prepared ──> rays ──> Spot, Illumination
//!                                         └──────> Wavefront ──> Strehl, Psf, encircled energy, View
//! judge: takes what is known of a figure before and after (readings, sheets, reports), returns numbers,
//!        intervals and a verdict
//! ```
//!
//! Axes: the origin is the primary's vertex, +z points along its axis toward the sky, the focuser is on
//! +x. Units: lengths in mm, glass heights, wavefronts and wavelengths in nm, spots in um, field angles
//! in arcmin; each name says its own. A hill of glass is positive.
//!
//! ```
//! use catoptric::{Diagonal, Field, Focus, FocalLengthMm, FocalPlane, Prepared, Primary, Train, TurnedEdge};
//!
//! let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 330.0)))
//!     .diagonal(Diagonal::new(70.0))
//!     .focal_plane(FocalPlane::new(235.0))
//!     .build()?;
//! let telescope = Prepared::new(&train);
//! let wavefront = telescope.wavefront(Field::AXIS, Focus::Peak, 550.0)?;
//! assert!(wavefront.strehl > 0.7 && wavefront.strehl < 0.85);
//! # Ok::<(), catoptric::Error>(())
//! ```

mod error;
mod film;
mod judge;
mod model;
pub mod numeric;
#[cfg(feature = "python")]
pub mod python;
mod shop_test;
mod structure;
mod trace;
mod units;
mod view;
mod wave;

pub use error::{Error, Problem, Result, Severity};
pub use film::{FilmResponse, Metal, MetalFilm, Overcoat, ThicknessFinding, ThicknessRange};
pub use judge::{
    Aim, AimWeights, Ceiling, Change, Criterion, DiagonalBatch, DiagonalBatchInput, DiagonalComparison,
    DiagonalRow, Evidence, Judgement, OffsetRule, ReadingDetails, Recommendation, RowChunks, SizeScore,
    Verdict, Worth, judge_refigure,
};
pub use model::{
    AxisDirection, Coating, CoatingPatch, CoatingRing, Diagonal, Drawtube, FigureLayer, FilterRing, FlatEdge,
    FocalPlane, FocuserBoard, HeightMap, Holder, Joined, MirrorClips, Misplacement, Opening, Primary,
    PrimaryInput, RadialProfile, Ripple, SensorMask, Spider, Train, TrainBuilder, TurnedEdge, ZernikeTerms,
    Zone,
};
pub use numeric::zernike::Indexing;
pub use shop_test::{
    AssumedEnds, Astigmatism, AstigmatismEstimate, AstigmatismOrigin, BenchScatter, Bounds, Cause,
    CoefficientUnit, ConicEstimate, ConicFit, Contribution, Correction, Draws, EdgeFinding, Estimated,
    FigureEstimate, FigureOperator, GratingBench, GratingPicture, Interval, KnifeBench, KnifeEdgeReadings,
    KnifeFrom, KnifePicture, MaskOpening, Measured, NextMeasurement, Normalisation, Outlier,
    ReadingsIncrease, ReadingsInput, ReduceOptions, Settling, SheetFigure, SmoothFigure, SurfaceOrWavefront,
    TestPlace, TestSheet, TestSheetInput, TestSource, TurnedRun, TurnedRuns, TurnedRunsInput, ZernikeFigure,
    ZernikeReport, ZernikeReportInput, ZoneCheck, bench_scatter, expected_readings, grating_picture,
    knife_edge_picture,
};
pub use structure::{
    Camera, ClosingBaffle, ClosingFront, Enclosure, FocusItem, FocusLadder, FocusMove, FocusMoves, Focused,
    Focuser, MoveOptions, Mover, OppositeBaffle, Poles, Rung, SectionLine, SectionRay, SightField,
    SightLines, SightPoint, TrainSection,
};
pub use trace::{
    ConeClearance, ConeOnFlat, ConeRule, DiagonalFit, DiagonalShadow, FieldStopLight, Illumination,
    ImageShift, Light, LightBySize, LightMap, LitCircle, MisplacementEffects, Part, Prepared,
    RadialIllumination, Ray, RayColumn, RaySpot, Rays, RaysOut, RuleError, SensorCorner, SensorFrame, Share,
    Spot, SpotPoints, Star, TracedRays, cone_on_flat, smallest_diagonal,
};
pub use units::{
    ARCSEC_PER_RADIAN, DEFAULT_WAVELENGTH_NM, Field, FocalLengthMm, NM_PER_MM, RADIANS_PER_ARCMIN,
    RadiusOfCurvatureMm, UM_PER_MM, inches,
};
pub use view::{
    BandedDisc, BrightnessUnit, DiscSpot, DoubleStar, EdgeLight, EdgeSpot, Eyepiece, EyepieceFacts,
    EyepieceOptions, FieldStar, Scene, Sensor, SensorFacts, StarField, Through, View, ViewDifference,
    ViewOptions, eye_mtf,
};
pub use wave::{
    Airy, ArtificialStar, DetailContrast, Focus, FocusSteps, Mtf, MtfOptions, NightsThatShow, Otf, Psf,
    PsfSize, RingEnergy, Seeing, SeenSize, SeenStar, ShowsWhen, SpectralStrehl, Spectrum, Spikes,
    StrehlApproximations, ThroughFocus, TypicalFault, Wavefront, WavefrontMap, nights_that_show, perfect_mtf,
    scatter_loss, typical_faults,
};

/// The README's Rust code is a test.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
