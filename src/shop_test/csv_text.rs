//! Readings as a table of comma-separated values.

use super::opening::MaskOpening;
use crate::error::{Error, Result};

const WHAT: &str = "a table of readings";

/// What a column holds.
#[derive(Clone, Copy, PartialEq)]
enum Column {
    Inner,
    Outer,
    Radius,
    Run,
}

/// Openings and runs of a table with a header line.
pub(super) fn parse(text: &str) -> Result<(Vec<MaskOpening>, Vec<Vec<f64>>)> {
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| malformed(&e))?.clone();
    let columns = header.iter().map(column).collect::<Result<Vec<_>>>()?;
    let has = |kind| columns.contains(&kind);
    let radii = (has(Column::Inner) && has(Column::Outer)) != has(Column::Radius);
    if !radii || !has(Column::Run) {
        return Err(unreadable(
            "its first line",
            "it needs columns inner_radius_mm and outer_radius_mm, or radius_mm in their place, and a column run_..._mm \
             for each run",
        ));
    }
    let runs = columns.iter().filter(|c| **c == Column::Run).count();
    let (mut openings, mut runs_mm) = (Vec::new(), vec![Vec::new(); runs]);
    for record in reader.records() {
        let record = record.map_err(|e| malformed(&e))?;
        let line = record.position().map_or(0, csv::Position::line);
        let (mut inner, mut outer, mut run) = (0.0, 0.0, 0);
        for ((text, column), name) in record.iter().zip(&columns).zip(&header) {
            if *column == Column::Run && text.is_empty() {
                runs_mm[run].push(f64::NAN);
                run += 1;
                continue;
            }
            let value: f64 = text.parse().map_err(|_| {
                unreadable(&format!("line {line}, column {name}"), &format!("`{text}` is no number"))
            })?;
            match column {
                Column::Inner => inner = value,
                Column::Outer => outer = value,
                Column::Radius => (inner, outer) = (value, value),
                Column::Run => {
                    runs_mm[run].push(value);
                    run += 1;
                }
            }
        }
        openings.push(MaskOpening { inner_radius_mm: inner, outer_radius_mm: outer });
    }
    Ok((openings, runs_mm))
}

fn column(name: &str) -> Result<Column> {
    match name {
        "inner_radius_mm" => Ok(Column::Inner),
        "outer_radius_mm" => Ok(Column::Outer),
        "radius_mm" => Ok(Column::Radius),
        _ if name.starts_with("run") && name.ends_with("_mm") => Ok(Column::Run),
        _ => Err(unreadable(
            "its first line",
            &format!(
                "column `{name}` is not known; names end in their unit: inner_radius_mm, outer_radius_mm, radius_mm, run_1_mm"
            ),
        )),
    }
}

fn malformed(error: &csv::Error) -> Error {
    let line = error.position().map_or_else(|| "its lines".to_owned(), |p| format!("line {}", p.line()));
    unreadable(&line, &error.to_string())
}

fn unreadable(place: &str, message: &str) -> Error {
    Error::Unreadable { what: WHAT, place: place.to_owned(), message: message.to_owned() }
}
