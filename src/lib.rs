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
    Ageing, Aim, AimWeights, Ceiling, Change, CoatingEffect, Criterion, DiagonalBatch, DiagonalBatchInput,
    DiagonalComparison, DiagonalRow, EffectOptions, Evidence, FreshCoat, GainBasis, Judgement, LadderGain,
    LadderOptions, LadderRow, LadderWeights, LeftAfterMask, MaskAnswer, MaskOptions, MaskRow, MaskSubject,
    MaskSweep, MaskValue, MaskingBound, MeasuredCoating, NamedInterval, OffsetRule, ReadingDetails,
    RecoatComparison, RecoatOptions, RecoatPrices, RecoatRow, RecoatWhat, Recommendation, RefigureAfter,
    RowChunks, SizeScore, TrainJudgement, ValueLadder, Verdict, Work, WorkChange, Worth, coating_effect,
    judge_refigure, judgement, mask_sweep, mask_sweep_counting, masking_bound, recoat, value_ladder,
};
pub use model::{
    AxisDirection, CentralHill, Coating, CoatingPatch, CoatingRing, Diagonal, Drawtube, EdgeRollOff,
    EdgeStep, FigureLayer, FilterRing, FlatEdge, FocalPlane, FocuserBoard, HeightMap, Holder, Joined,
    MetalCoat, MirrorClips, Misplacement, Opening, Primary, PrimaryInput, RadialProfile, ReflectanceMap,
    RingProfile, Ripple, SensorMask, Spider, ThicknessMap, ThinPatch, ThinRing, Train, TrainBuilder,
    TurnedEdge, ZernikeTerms, Zone,
};
pub use numeric::zernike::Indexing;
pub use shop_test::{
    AssumedEnds, Astigmatism, AstigmatismEstimate, AstigmatismOrigin, Background, BenchScatter, Bounds,
    Cause, CoatingEstimate, CoatingLevel, CoatingOutline, CoatingSpot, CoatingSpots, CoatingSpotsInput,
    CoefficientUnit, ConicEstimate, ConicFit, Contribution, Correction, Draws, EdgeDirection, EdgeFinding,
    EdgeFit, EdgeFitOptions, EdgeFits, EdgePoint, EdgeShape, Estimated, FigureEstimate, FigureOperator,
    GratingBench, GratingPicture, Interval, KnifeBench, KnifeEdgeReadings, KnifeFrom, KnifePicture,
    KnownPatch, LayerFit, LayerKind, MaskOpening, Measured, NextMeasurement, NoiseStudy, NoiseStudyOptions,
    Normalisation, Outlier, OutlinePatch, OutlineRing, PhotoCheck, RatioOutlier, ReadingsIncrease,
    ReadingsInput, ReduceOptions, ReflectancePhoto, ReflectancePhotoInput, Settling, SheetFigure,
    SmoothFigure, SpotResidual, SurfaceOrWavefront, TestPlace, TestSheet, TestSheetInput, TestSource,
    ThinBranch, ThinMetalPart, TurnedRun, TurnedRuns, TurnedRunsInput, Wear, ZernikeFigure, ZernikeReport,
    ZernikeReportInput, ZoneCheck, bench_scatter, expected_readings, fit_zone, grating_picture,
    knife_edge_picture,
};
pub use structure::{
    Camera, ClosingBaffle, ClosingFront, Enclosure, FocusItem, FocusLadder, FocusMove, FocusMoves, Focused,
    Focuser, MoveOptions, Mover, OppositeBaffle, Poles, Rung, SectionLine, SectionRay, SightField,
    SightLines, SightPoint, TrainSection,
};
pub use trace::{
    CoatingPicture, ConeClearance, ConeOnFlat, ConeRule, DiagonalFit, DiagonalShadow, FieldStopLight,
    Illumination, ImageShift, Light, LightBySize, LightMap, LitCircle, MisplacementEffects, Part, Prepared,
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
    Airy, ArtificialStar, Autocorrelation, DetailContrast, Focus, FocusSteps, HazeHalo, HazeScatter, MapPsf,
    Mtf, MtfOptions, NightsThatShow, Otf, Psf, PsfSize, PupilMap, RingEnergy, Seeing, SeenSize, SeenStar,
    ShowsWhen, SpectralStrehl, Spectrum, Spikes, StrehlApproximations, ThroughFocus, TypicalFault, Wavefront,
    WavefrontMap, nights_that_show, perfect_mtf, scatter_loss, typical_faults,
};

/// The README's Rust code is a test.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
