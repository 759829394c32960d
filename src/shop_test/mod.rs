//! Bench readings in, a figure with its uncertainty out; a figure in, what the tester will read and see.

mod bench_picture;
mod bench_ray;
mod bench_scatter;
mod bench_wave;
mod coating_estimate;
mod coating_fit;
mod coating_outline;
mod coating_photo;
mod coating_spots;
mod coating_wear;
mod coating_words;
mod conic_fit;
mod csv_text;
mod edge_fit;
mod edge_fit_words;
mod edge_search;
mod edge_shape;
mod estimate;
mod evidence;
mod expected_readings;
mod grating_picture;
mod grating_wave;
mod guards;
mod input;
mod knife_picture;
mod layer_fit;
mod layer_shape;
mod noise;
mod noise_lanes;
mod noise_pieces;
mod noise_study;
mod null_term;
mod opening;
mod options;
mod plain;
mod readings;
mod reduce;
mod sheet_figure;
mod test_sheet;
mod turned_estimate;
mod turned_runs;
mod two_way;
mod unseen;
mod zernike_figure;
mod zernike_report;

pub use bench_scatter::{BenchScatter, bench_scatter};
pub use coating_estimate::{CoatingEstimate, CoatingLevel, RatioOutlier, SpotResidual, Wear};
pub use coating_outline::{CoatingOutline, OutlinePatch, OutlineRing};
pub use coating_photo::{KnownPatch, PhotoCheck, ReflectancePhoto, ReflectancePhotoInput};
pub use coating_spots::{CoatingSpot, CoatingSpots, CoatingSpotsInput};
pub use coating_wear::{ThinBranch, ThinMetalPart};
pub use conic_fit::{ConicEstimate, ConicFit, Correction};
pub use edge_fit::{EdgeDirection, EdgeFit, EdgeFitOptions, EdgeFits, EdgePoint};
pub use edge_shape::EdgeShape;
pub use estimate::{Draws, Estimated, FigureEstimate, Interval, Measured};
pub use evidence::{Bounds, SurfaceOrWavefront};
pub use expected_readings::expected_readings;
pub use grating_picture::{GratingBench, GratingPicture, grating_picture};
pub use input::ReadingsInput;
pub use knife_picture::{KnifeBench, KnifeFrom, KnifePicture, knife_edge_picture};
pub use layer_fit::{Background, LayerFit, fit_zone};
pub use layer_shape::LayerKind;
pub use noise::Outlier;
pub use noise_study::{NoiseStudy, NoiseStudyOptions};
pub use opening::{MaskOpening, ReadingsIncrease, TestSource};
pub use options::ReduceOptions;
pub use readings::KnifeEdgeReadings;
pub use reduce::FigureOperator;
pub use sheet_figure::SheetFigure;
pub use test_sheet::{TestSheet, TestSheetInput};
pub use turned_estimate::{Astigmatism, AstigmatismEstimate, AstigmatismOrigin};
pub use turned_runs::{TurnedRun, TurnedRuns, TurnedRunsInput};
pub(crate) use unseen::{
    AllowedFigures, PairedDraws, Quadratic, RingQuality, RoundRing, WELL_MEASURED_MM, contributions,
    figures_at, looked_through, next_measurements, paired_draws, pieces_of_draws, settling, sights,
};
pub use unseen::{
    AssumedEnds, Cause, Contribution, EdgeFinding, NextMeasurement, Settling, SmoothFigure, ZoneCheck,
};
pub use zernike_figure::ZernikeFigure;
pub use zernike_report::{CoefficientUnit, Normalisation, TestPlace, ZernikeReport, ZernikeReportInput};
