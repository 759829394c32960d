//! What a verdict says, in words.

use super::evidence::Evidence;
use super::refigure::Judgement;
use crate::shop_test::{Contribution, FigureEstimate, Measured, PairedDraws, ReduceOptions};

/// Fewer independent pairs than this mean that one common mask contradicts the readings.
const FEW_PAIRS: f64 = 100.0;

/// The verdict in one sentence; `share` is the chance of "better", `by_rms` tells what was compared.
pub(super) fn verdict(
    judgement: Judgement,
    share: &str,
    sides: [&Evidence; 2],
    by_rms: bool,
    too_small: bool,
) -> String {
    let from_to = |name: &str, digits: usize, of: fn(&Evidence) -> Measured| {
        let [before, after] = sides.map(|side| with_interval(&of(side), digits));
        format!("the {name} went from {before} to {after}")
    };
    let change = if by_rms {
        let rms = from_to("wavefront RMS in nm", 0, Evidence::rms_nm);
        format!("both figures are too far from finished to be told by their Strehl, but {rms}")
    } else {
        from_to("Strehl", 3, Evidence::strehl)
    };
    let of = if sides.iter().all(|side| side.readings().is_some()) {
        "of the figures that fit the readings"
    } else {
        "of the figures that fit what was measured"
    };
    let only = if share.starts_with("less") { "" } else { "only " };
    match judgement {
        Judgement::CannotTell if too_small => format!("There is no difference that could be seen: {change}."),
        Judgement::Better => format!("The mirror is better after the work: {change} (so say {share} {of})."),
        Judgement::ProbablyBetter => {
            format!("The mirror is probably better after the work: {change} (so say {share} {of}).")
        }
        Judgement::CannotTell => format!(
            "What was measured cannot tell whether the work helped: {change}, and {share} {of} are better afterwards."
        ),
        Judgement::ProbablyWorse => format!(
            "The mirror is probably worse after the work: {change} ({only}{share} {of} are better afterwards)."
        ),
        Judgement::Worse => {
            format!(
                "The mirror is worse after the work: {change} ({only}{share} {of} are better afterwards)."
            )
        }
    }
}

/// A probability in words that never claim more than the draws can show.
///
/// Of n draws that all agree the true share may still be 3/n lower (rule of three: Hanley & Lippman-Hand 1983, J. Am.
/// Med. Assoc. 249, 1743, from memory).
pub(super) fn percent(probability: f64, draws: usize) -> String {
    let least = (3.0 / draws as f64).clamp(0.001, 0.5);
    let digits = |p: f64| usize::from(!(0.01..=0.99).contains(&p));
    let shown = |p: f64| format!("{:.*} %", digits(p), 100.0 * p);
    if probability > 1.0 - least {
        // Rounded down, so that it never claims more.
        format!("more than {:.1} %", (1000.0 * (1.0 - least) + 1e-9).floor() / 10.0)
    } else if probability < least {
        format!("less than {:.1} %", (1000.0 * least - 1e-9).ceil() / 10.0)
    } else {
        shown(probability)
    }
}

/// The largest causes of doubt in one sentence.
pub(super) fn doubt(contributions: &[Contribution]) -> String {
    let named = contributions.iter().filter(|c| c.share >= 0.05).take(3).map(|c| {
        let set = c.set.as_ref().map_or(String::new(), |set| format!(" {set}"));
        format!("{}{set} ({:.0} %)", c.cause, 100.0 * c.share)
    });
    format!("The doubt about the gain comes from: {}.", named.collect::<Vec<_>>().join(", "))
}

fn with_interval(value: &Measured, digits: usize) -> String {
    format!("{:.digits$} ({:.digits$} to {:.digits$})", value.value, value.total.low, value.total.high)
}

pub(super) fn reasons(before: &Evidence, after: &Evidence, gain: &Measured, by_rms: bool) -> Vec<String> {
    let sides = [("Before", before), ("After", after)];
    let shadow = before.obstruction_ratio().or(after.obstruction_ratio());
    let shadow =
        shadow.map_or(String::new(), |ratio| format!(", with a shadow of {ratio:.3} of the diameter"));
    let mut reasons = vec![format!(
        "Wavefront RMS at the focus of least RMS: {} nm before, {} nm after. Strehl is at {} nm{shadow}.",
        with_interval(&before.rms_nm(), 1),
        with_interval(&after.rms_nm(), 1),
        before.wavelength_nm()
    )];
    let readings = sides.iter().filter(|(_, evidence)| evidence.readings().is_some()).count();
    if readings > 0 {
        reasons.push(
            "Strehl from readings is the exact pupil integral at the brightest focus, which is how an observer focuses; \
             intervals hold 95 % of the figures that give these readings within noise and radii, unseen turned edges and \
             zones among them."
                .to_owned(),
        );
    }
    if readings == 2 && !by_rms {
        reasons.push(format!(
            "Reading noise alone would leave a gain between {:.3} and {:.3}; with what the readings cannot see it \
             lies between {:.3} and {:.3}.",
            gain.noise.low, gain.noise.high, gain.total.low, gain.total.high
        ));
    } else if !by_rms {
        reasons.push(format!(
            "The gain in Strehl lies between {:.3} and {:.3}.",
            gain.total.low, gain.total.high
        ));
    }
    for (when, evidence) in sides {
        let strehl = evidence.strehl();
        if strehl.value < strehl.total.low || strehl.value > strehl.total.high {
            reasons.push(format!(
                "{when}: the plain reduction's {:.3} lies outside of its total interval: it spreads over an opening what falls within \
                 a part of it.",
                strehl.value
            ));
        }
    }
    if matches!(
        (before, after),
        (Evidence::Report(_), Evidence::Readings(_)) | (Evidence::Readings(_), Evidence::Report(_))
    ) {
        reasons.push(
            "The report's Strehl is at the focus of least RMS, that of the readings at the brightest: with a turned edge the \
             latter is the greater."
                .to_owned(),
        );
    }
    for (when, evidence) in sides {
        if let Some(figure) = evidence.readings() {
            reasons.extend(of_readings(figure).into_iter().map(|remark| format!("{when}: {remark}")));
        } else {
            let head = format!("{when}, from {}", evidence.name());
            reasons.extend(evidence.remarks().into_iter().map(|remark| format!("{head}: {remark}")));
        }
    }
    reasons
}

/// What is to be said of one set of readings.
pub(super) fn of_readings(figure: &FigureEstimate) -> Vec<String> {
    let mut remarks = Vec::new();
    if figure.options.reading_sigma_mm.is_some() {
        remarks.push("the noise of the readings is taken as stated.".to_owned());
    } else if figure.readings.runs_mm().len() == 1 {
        remarks.push(
            "one run: its noise is not known from repeats but assumed (half of the Airy radius at the knife).".to_owned(),
        );
    }
    let assumption = figure.assumption();
    if !assumption.is_empty() {
        remarks.push(assumption);
    }
    remarks.extend(second_looks(figure));
    remarks
}

/// What in a set of readings deserves a second look.
fn second_looks(figure: &FigureEstimate) -> Vec<String> {
    let opening = |index: usize| {
        let opening = figure.readings.openings()[index];
        format!("opening {} ({:.1} to {:.1} mm)", index + 1, opening.inner_radius_mm, opening.outer_radius_mm)
    };
    let mut looks: Vec<String> = figure
        .readings
        .outliers()
        .iter()
        .map(|outlier| {
            let (run, place) = (outlier.run + 1, opening(outlier.opening));
            format!("run {run} is {:.1} sigma off the other runs in {place}: misread?", outlier.sigmas.abs())
        })
        .collect();
    looks.extend(figure.zone_checks.iter().filter(|check| check.is_suspect()).map(|check| {
        format!(
            "the readings of {} are {:.2} mm off what the other openings predict (p {:.4}): read them again.",
            opening(check.opening),
            check.error_mm.abs(),
            check.probability
        )
    }));
    if figure.second_look {
        looks.push("the readings ask for the largest narrow zones there are: were those of two neighbours exchanged?".to_owned());
    }
    if figure.readings.openings().len() < 4 {
        looks.push("three openings leave the figure between them to the assumptions: the wide interval is the answer.".to_owned());
    }
    looks
}

/// What is taken of the radii of the openings.
pub(super) fn radii(pairs: &PairedDraws) -> String {
    let said = |options: &ReduceOptions| {
        let how = if options.radius_sigma_mm.is_some() { "stated" } else { "assumed" };
        format!("{} mm ({how})", options.radius_sigma_mm())
    };
    let [before, after] = &pairs.analyses;
    let mut text = match (said(&before.options), said(&after.options)) {
        (first, second) if first == second => format!("Radii of the openings are good to {first}"),
        (first, second) => format!("Radii of the openings are good to {first} before and {second} after"),
    };
    text.push_str(if pairs.one_mask {
        "; the openings are the same, so one mask is taken to have served both."
    } else {
        ", before and after independent of each other."
    });
    if pairs.effective_pairs < FEW_PAIRS {
        text.push_str(" The two sets of readings hardly agree on that one mask: was another one used?");
    }
    text
}

pub(super) fn cautions() -> Vec<String> {
    [
        "This is advice for a decision, not a certificate; local codes and qualified people come first.",
        "Never point a large mirror at the Sun, or leave one uncovered where the Sun can reach it.",
        "Heavy glass: two people lift it; a tipped mirror hurts.",
        "Stripping a coating uses chemicals that burn, and that etch some glass: leave it to a coating shop.",
    ]
    .map(str::to_owned)
    .to_vec()
}

/// The same for whoever plans works on a whole train.
pub(super) fn all_cautions() -> Vec<String> {
    let more = [
        "Laser collimators: take the lowest class, and never let the beam go toward an eye.",
        "Ladders in the dark: stand them on firm ground, with someone beside them.",
    ];
    cautions().into_iter().chain(more.map(str::to_owned)).collect()
}
