//! What a coating costs and what a recoat returns, in sentences.

use super::effect::CoatingEffect;
use super::recoat::RecoatComparison;
use super::recoat_rows::RecoatRow;

/// A shape that takes less than this of the peak hardly blurs.
const HARDLY: f64 = 0.02;

/// The sentences of an effect: light, shape, scatter.
pub(super) fn of_effect(e: &CoatingEffect) -> Vec<String> {
    let open_mm = e.train.primary().open_diameter_mm();
    let range = e
        .throughput_interval
        .map_or(String::new(), |i| format!(" ({:.1} to {:.1} %)", 100.0 * i.low, 100.0 * i.high));
    let mirrors = if e.train.diagonal().is_some() {
        format!(
            "The primary returns {:.1} % and the diagonal {:.1} %, together {:.1} %{range}",
            100.0 * e.primary_reflectance,
            100.0 * e.diagonal_reflectance,
            100.0 * e.throughput
        )
    } else {
        format!("The primary returns {:.1} %{range}", 100.0 * e.throughput)
    };
    let mut words = vec![
        format!("{mirrors}: {:.2} magnitudes are lost.", e.magnitudes_lost),
        format!(
            "Against the fresh coat \"{}\" {:.1} % of the light is lost ({:.2} magnitudes): {open_mm:.0} mm act like {:.0} mm freshly \
             coated, or like {:.0} mm that return all.",
            e.fresh.name,
            100.0 * e.light_loss,
            e.fresh_gain_magnitudes,
            e.acts_like_fresh_mm,
            e.acts_like_perfect_mm
        ),
        shape(e),
    ];
    if e.pinhole_scatter > 0.0 {
        words.push(format!(
            "Pinholes spread {:.2} % of the light over the whole field and beyond.",
            100.0 * e.pinhole_scatter
        ));
    }
    if let Some(halo) = &e.halo {
        words.push(format!(
            "Haze of {} nm scatters {:.2} % of the returned light, half of it within {:.0} arcsec.",
            halo.haze.rms_nm,
            100.0 * halo.scattered_share,
            halo.half_energy_radius_arcsec
        ));
        words.extend(halo.limits.iter().cloned());
    }
    if e.possible_share < 1.0 {
        words.push(format!(
            "{:.0} % of the draws were levels that no mirror of this film has; they were left out of the intervals.",
            100.0 * (1.0 - e.possible_share)
        ));
    }
    words
}

fn shape(e: &CoatingEffect) -> String {
    let heights = e.strehl_without_heights - e.strehl;
    // What rounding leaves of nothing has no sign.
    let shape_loss = if e.shape_loss.abs() < 5e-5 { 0.0 } else { e.shape_loss };
    if e.train.primary().coating.metal.is_none() {
        return format!(
            "As haze it leaves the wavefront alone: {} takes {:.2} % of the peak per light.",
            if e.shape_loss < HARDLY { "it dims and hardly blurs; its unevenness" } else { "its unevenness" },
            100.0 * shape_loss
        );
    }
    format!(
        "As thin metal it is a relief as well: the Strehl is {:.3} with its heights and {:.3} without them{}; the shape takes {:.2} % of \
         the peak per light.",
        e.strehl,
        e.strehl_without_heights,
        if heights > HARDLY { ", which is a loss of shape, not of light alone" } else { "" },
        100.0 * shape_loss
    )
}

/// The sentences of a comparison.
pub(super) fn of_recoat(comparison: &RecoatComparison) -> Vec<String> {
    let lost = comparison.effect.light_loss;
    let mut words = Vec::new();
    let worth = |row: &&RecoatRow| !row.dominated && row.gain > 0.0;
    let mut best: Vec<&RecoatRow> = comparison.rows.iter().filter(worth).collect();
    best.sort_by(|a, b| b.gain_per_price.unwrap_or(0.0).total_cmp(&a.gain_per_price.unwrap_or(0.0)));
    for row in &best {
        let price = row.price.map_or(String::new(), |p| format!(" for {p}"));
        let range = row
            .gain_interval
            .map_or(String::new(), |i| format!(" ({:.1} to {:.1})", 100.0 * i.low, 100.0 * i.high));
        words.push(format!(
            "{} with \"{}\"{price}: {:.1} % of the light more{range}, {:.2} magnitudes, {:.0} % of what was lost.",
            row.what.words(),
            row.coat,
            100.0 * row.gain,
            row.gain_magnitudes,
            100.0 * row.returned_of_lost
        ));
    }
    if best.is_empty() {
        words.push(format!("No recoat returns light: {:.1} % is lost against the first coat.", 100.0 * lost));
    }
    let dominated = comparison.rows.iter().filter(|row| row.dominated);
    let named: Vec<String> =
        dominated.map(|row| format!("{} with \"{}\"", row.what.words().to_lowercase(), row.coat)).collect();
    if !named.is_empty() {
        words
            .push(format!("Not worth a look, since another returns as much for less: {}.", named.join("; ")));
    }
    if let Some(ageing) = &comparison.options.ageing {
        words.push(format!(
            "Over {} years, if a fresh coat loses {:.1} % and the old one {:.1} % of its light a year: an assumption, not a measurement.",
            ageing.years,
            100.0 * ageing.fresh_loss_per_year,
            100.0 * ageing.old_loss_per_year
        ));
    }
    words
}
