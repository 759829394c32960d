//! What a ladder says, in words.

use super::options::LadderOptions;
use super::rows::{GainBasis, LEAST_GAIN, LEAST_GAIN_MM, LEAVE_IT, LadderGain, LadderRow};

/// The rule of the order.
pub(super) fn order_rule(options: &LadderOptions) -> String {
    let w = options.weights;
    let detail = if options.seeing.is_some() {
        "0.05 of contrast in the stated seeing"
    } else {
        "0.05 of contrast or 0.1 of Strehl, their mean"
    };
    format!(
        "Order: first what has a proven gain and is not dominated, then what is dominated, then upper bounds, last \
         what has no proven gain; within each what costs nothing, then by weighted steps for a unit of money (a loss \
         by its steps alone): {} for each {detail}, {} for each 0.1 magnitudes of light, {} for each tenth of the \
         field's diameter (your weights; steps are common practice, no source). Rows whose intervals of this overlap \
         are called tied.",
        w.contrast, w.light, w.field
    )
}

pub(super) fn no_gain_rule() -> String {
    format!(
        "A gain is proven where its whole 95 % interval lies above {LEAST_GAIN} (of the field: {LEAST_GAIN_MM} mm); a \
         row without one has no proven gain. An assumed shape and an upper bound prove nothing; a promise is taken at \
         its word, and is no measurement."
    )
}

pub(super) fn field_rule(options: &LadderOptions) -> String {
    format!(
        "The usable field is the circle in the focal plane within which the darkest azimuth has lost less than {} \
         magnitudes against the middle, for a perfect paraboloid; coma and the eyepiece are left out.",
        options.field_loss_magnitudes
    )
}

/// A number of money with its word.
pub(in crate::judge) fn money(price: f64, options: &LadderOptions) -> String {
    match (price > 0.0, options.currency.as_str()) {
        (false, _) => "free".to_owned(),
        (true, "") => format!("price {price}"),
        (true, word) => format!("{price} {word}"),
    }
}

/// A quantity from before to after, with its gain where that has an interval.
fn change(gain: &LadderGain) -> String {
    written(gain, "", " by the figures allowed")
}

/// The same without a word on where the interval comes from.
pub(in crate::judge) fn brief_change(gain: &LadderGain) -> String {
    written(gain, "likely ", "")
}

fn written(gain: &LadderGain, likely: &str, by: &str) -> String {
    let digits = usize::from(gain.unit.is_empty()) + 1;
    let unit = if gain.unit.is_empty() { String::new() } else { format!(" {}", gain.unit) };
    let shown = |v: f64| format!("{v:.digits$}");
    let interval = gain.gain_interval;
    let doubt = if interval.high - interval.low > 0.0 {
        format!(
            " ({likely}{}{by}, 95 % {} to {}{unit})",
            signed(gain.median_gain, digits),
            signed(interval.low, digits),
            signed(interval.high, digits)
        )
    } else {
        String::new()
    };
    format!("{} from {} to {}{unit}{doubt}", gain.name, shown(gain.before), shown(gain.after))
}

fn signed(value: f64, digits: usize) -> String {
    let text = format!("{value:+.digits$}");
    // Nothing has no sign.
    if text[1..].chars().all(|c| c == '0' || c == '.') { text[1..].to_owned() } else { text }
}

/// Whether a quantity is certain to be less by what could be seen.
fn is_lost(gain: &LadderGain) -> bool {
    gain.gain_interval.high < if gain.unit == "mm" { -LEAST_GAIN_MM } else { -LEAST_GAIN }
}

/// A row in one sentence, and a few words where it deserves them.
pub(super) fn row(row: &LadderRow, options: &LadderOptions) -> String {
    let list = |wanted: fn(&LadderGain) -> bool| -> Vec<String> {
        row.gains.iter().filter(|g| wanted(g)).map(change).collect()
    };
    let (gained, lost) = (list(|g| g.proven), list(is_lost));
    let mut parts = Vec::new();
    if !gained.is_empty() {
        parts.push(format!("raises {}", gained.join(", ")));
    }
    if row.upper_bound {
        let bounds: Vec<String> =
            row.gains.iter().filter(|g| g.basis == GainBasis::UpperBound).map(change).collect();
        parts.push(format!("at most {}", bounds.join(", ")));
    } else if gained.is_empty() {
        parts.push("no gain is proven".to_owned());
    }
    if !lost.is_empty() {
        parts.push(format!("lowers {}", lost.join(", ")));
    }
    let proviso = if row.gains.iter().any(|g| g.basis == GainBasis::Promised) {
        "if the promise is kept, "
    } else if row.gains.iter().any(|g| g.basis == GainBasis::AssumedShape) {
        "on a shape that is assumed, "
    } else {
        ""
    };
    let (name, price) = (capital(&row.name), money(row.price, options));
    let mut text = format!("{name} ({price}): {proviso}{}.", parts.join("; "));
    if let Some(first) = row.dominated_by.first() {
        let better =
            if first == LEAVE_IT { "leaving it as it is".to_owned() } else { format!("\"{first}\"") };
        text = format!("{text} {} gives no less for no more money.", capital(&better));
    }
    text
}

pub(in crate::judge) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
