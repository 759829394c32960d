//! What the test files share: the tables of outside truth, one rule of closeness, invented trains.

#![allow(dead_code)] // each test file uses its own part of this

pub(crate) mod coated;

use std::path::Path;

use catoptric::{
    Coating, CoatingRing, Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Opening, Prepared, Primary,
    Train, TrainBuilder, TurnedEdge, Zone,
};
use serde_json::{Map, Value};

/// One row of a table of truth: see `tests/data/README.md`.
pub(crate) struct Row(Map<String, Value>);

impl Row {
    /// A number that must be there.
    pub(crate) fn number(&self, key: &str) -> f64 {
        self.optional(key).unwrap_or_else(|| panic!("no number {key} in {:?}", self.0))
    }

    /// A number that may be null or absent.
    pub(crate) fn optional(&self, key: &str) -> Option<f64> {
        self.0.get(key).and_then(Value::as_f64)
    }

    /// A list of numbers; NaN stands for null.
    pub(crate) fn list(&self, key: &str) -> Vec<f64> {
        self.0.get(key).map_or_else(|| panic!("no list {key}"), numbers)
    }

    /// A list of such lists.
    pub(crate) fn table(&self, key: &str) -> Vec<Vec<f64>> {
        let rows = self.0.get(key).and_then(Value::as_array).unwrap_or_else(|| panic!("no table {key}"));
        rows.iter().map(numbers).collect()
    }

    /// A text, empty where there is none.
    pub(crate) fn text(&self, key: &str) -> &str {
        self.0.get(key).and_then(Value::as_str).unwrap_or("")
    }

    /// A yes or no.
    pub(crate) fn flag(&self, key: &str) -> bool {
        self.0.get(key).and_then(Value::as_bool).unwrap_or_else(|| panic!("no flag {key}"))
    }

    /// The keys that begin with a text, and the rest of each.
    pub(crate) fn keys_after<'a>(&'a self, beginning: &'a str) -> impl Iterator<Item = (&'a str, &'a str)> {
        self.0.keys().filter_map(move |k| k.strip_prefix(beginning).map(|rest| (k.as_str(), rest)))
    }
}

fn numbers(list: &Value) -> Vec<f64> {
    let list = list.as_array().expect("a list");
    list.iter().map(|value| value.as_f64().unwrap_or(f64::NAN)).collect()
}

/// The rows of `tests/data/<topic>.json` whose `key` is `value`; there must be some.
pub(crate) fn rows(topic: &str, key: &str, value: &str) -> Vec<Row> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/{topic}.json"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let table: Value = serde_json::from_str(&text).expect("a table of truth is JSON");
    let all = table["rows"].as_array().expect("a table of truth has rows");
    let rows: Vec<Row> =
        all.iter().filter(|r| r[key] == value).map(|r| Row(r.as_object().expect("a row").clone())).collect();
    assert!(!rows.is_empty(), "{topic}.json has no row with {key} = {value}");
    rows
}

/// The one rule of closeness: `found` lies within `tolerance` of `truth`, on either side.
///
/// `what` begins with the claim and goes on after a colon. NaN is close to nothing.
#[track_caller]
pub(crate) fn assert_close(found: f64, truth: f64, tolerance: f64, what: &str) {
    let difference = (found - truth).abs();
    println!("{what} | {found:.12e} | {truth:.12e} | {difference:.3e} | {tolerance:.3e}");
    assert!(
        difference <= tolerance,
        "{what}: {found} against {truth}, differs by {difference:.3e}, allowed {tolerance:.3e}"
    );
}

/// The same with a tolerance that is a share of the truth.
#[track_caller]
pub(crate) fn assert_close_relative(found: f64, truth: f64, share: f64, what: &str) {
    println!("{what} (relative) | reached {:.3e} | allowed {share:.3e}", ((found - truth) / truth).abs());
    assert_close(found, truth, share * truth.abs(), what);
}

/// A finished train, made ready.
pub(crate) fn prepare(parts: TrainBuilder) -> Prepared {
    Prepared::new(&parts.build().expect("a sound train"))
}

/// A bare mirror.
pub(crate) fn bare(primary: Primary) -> Prepared {
    prepare(Train::builder(primary))
}

/// A bare paraboloid.
pub(crate) fn paraboloid(clear_aperture_mm: f64, focal_length_mm: f64) -> Prepared {
    bare(Primary::new(clear_aperture_mm, FocalLengthMm(focal_length_mm)))
}

/// A mirror with a round, centred shadow and nothing else that acts on the axis: a flat without offset, so near to
/// the focal plane that the returning cone passes well inside of its rim.
pub(crate) fn with_shadow(primary: Primary, obstruction_ratio: f64) -> Prepared {
    if obstruction_ratio == 0.0 {
        return bare(primary);
    }
    let aperture_mm = primary.clear_aperture_mm;
    let flat = Diagonal::new(obstruction_ratio * aperture_mm).offset_mm(0.0);
    let telescope =
        prepare(Train::builder(primary).diagonal(flat).focal_plane(FocalPlane::new(0.501 * aperture_mm)));
    let lit = telescope.light(Field::AXIS).lit_fraction;
    assert_close(lit, 1.0 - obstruction_ratio.powi(2), 1e-9, "only the shadow acts");
    telescope
}

/// An invented 318 mm f/4.9 Newtonian with every part, a turned edge, a zone and a worn ring of the coating.
pub(crate) fn everything() -> TrainBuilder {
    let primary = Primary::new(318.0, FocalLengthMm(1558.0))
        .conic(-0.97)
        .layer(TurnedEdge::new(9.0, 90.0))
        .layer(Zone::new(95.0, 13.0, 28.0))
        .coating(Coating::new(0.88).ring(CoatingRing::new(120.0, 140.0, 0.71)));
    Train::builder(primary)
        .diagonal(Diagonal::new(70.0).reflectance(0.9))
        .focal_plane(FocalPlane::new(235.0))
        .front_opening(Opening::new(360.0, 1650.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0))
}

/// Sum of squares, rooted.
pub(crate) fn root_sum_square(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().map(|v| v * v).sum::<f64>().sqrt()
}
