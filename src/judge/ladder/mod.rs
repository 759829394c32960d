//! The value ladder: which work, or which pair of works, buys most.
//!
//! The flow: `work` (what is offered), `state` (the trains after it), `exact` (what each train is worth), `drawn` (what
//! the figures that the evidence allows show through it), `rows` (gains, domination, order), `words`.

mod drawn;
mod exact;
mod options;
mod rows;
mod state;
mod words;
mod work;

use serde::{Deserialize, Serialize};

use self::drawn::{Drawn, Figures, Origin, Seen};
use self::exact::{Exact, dark_is_input, exact};
use self::rows::{Draws, LIGHT, STREHL, mark_dominated, put_in_order, score};
use self::state::{FigureOf, Ground, State, open_radius_mm, shadow_radius_mm};
use super::evidence::Evidence;
use crate::error::{Error, Result};
use crate::model::{MetalCoat, Train};
use crate::shop_test::Interval;
use crate::trace::obstruction_ratio;

pub use options::{LadderOptions, LadderWeights};
pub use rows::{GainBasis, LadderGain, LadderRow};
pub(super) use words::{brief_change, capital, money};
pub use work::{RefigureAfter, Work, WorkChange};

/// Most works of one ladder: with all pairs 820 rows.
const MOST_WORKS: usize = 40;

/// Works and pairs of works beside one another, by what they gain and what they cost.
///
/// Shapes: one row for each work and for each pair that makes sense, in the order of `order_rule`.
/// Method: light, usable field and Strehl are those of the exact train, its figure replaced by the plain one of the
/// evidence (from a sheet or a report: by spherical aberration of its RMS); without evidence the train's own figure is
/// taken as known, and its contrast is exact too. Intervals are quantiles of paired draws: the same figure before and
/// after, seen through a round ring with the train's shadow and mask. Their Strehls are moved by what the exact train
/// differs from that ring for the plain figure, their contrasts (and that of the plain figure) by what it differs for a
/// perfect paraboloid. A refigure that was measured is drawn beside the figure
/// before, through one mask of the tester's. Trains that differ by an even coat share one wavefront.
/// Leaves out: what vanes, clips and patches do to a figure's loss of contrast beyond what they do to a perfect
/// mirror's (below their share of the area times that loss: 0.002 for usual vanes); uncertain reflectances; the wear of
/// time; the work's own risk.
///
/// ```
/// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, LadderOptions, Primary, Train, Work, value_ladder};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).conic(-0.8))
///     .diagonal(Diagonal::new(70.0).reflectance(0.78))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let works = [Work::mask(290.0, 4.0), Work::recoat_diagonal(0.91, 35.0)];
/// let ladder = value_ladder(&train, None, &works, &LadderOptions::default())?;
/// assert_eq!(ladder.rows.len(), 3);
/// let coat = ladder.rows.iter().find(|r| r.name == "recoat of the diagonal").expect("a row");
/// assert!((coat.gains[2].after / coat.gains[2].before - 0.91 / 0.78).abs() < 1e-12, "light as the coats are");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Offered", into = "Offered")]
pub struct ValueLadder {
    /// The rows, in order.
    pub rows: Vec<LadderRow>,
    /// The rule of the order.
    pub order_rule: String,
    /// The rule of a proven gain.
    pub no_gain_rule: String,
    /// The rule of the usable field.
    pub field_rule: String,
    /// Works and pairs that were left out, each with its reason.
    pub left_out: Vec<String>,
    /// What is assumed.
    pub assumptions: Vec<String>,
    /// The train as given.
    pub train: Train,
    /// The same with the figure that stands for the evidence.
    pub train_now: Train,
    /// What is known of the figure; none: the train's own is taken as known.
    pub evidence: Option<Evidence>,
    /// The works that were offered.
    pub works: Vec<Work>,
    /// How they were compared.
    pub options: LadderOptions,
}

/// What a ladder is written down as; all else follows from it, bit for bit, and is compared anew when read back.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Offered {
    train: Train,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    evidence: Option<Evidence>,
    works: Vec<Work>,
    options: LadderOptions,
}

impl TryFrom<Offered> for ValueLadder {
    type Error = Error;

    fn try_from(offered: Offered) -> Result<Self> {
        value_ladder(&offered.train, offered.evidence.as_ref(), &offered.works, &offered.options)
    }
}

impl From<ValueLadder> for Offered {
    fn from(ladder: ValueLadder) -> Self {
        let ValueLadder { train, evidence, works, options, .. } = ladder;
        Self { train, evidence, works, options }
    }
}

impl ValueLadder {
    /// Diameter of the shadow over the diameter that gathers light, as the train is.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, LadderOptions, Primary, Train, value_ladder};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// let ladder = value_ladder(&train, None, &[], &LadderOptions::default())?;
    /// assert_eq!((ladder.obstruction_ratio(), ladder.rows.len()), (0.0, 0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn obstruction_ratio(&self) -> f64 {
        obstruction_ratio(&self.train_now)
    }
}

/// What the train is worth as it is: its exact values and the draws that go with them.
pub(super) struct AsItIs {
    pub(super) train_now: Train,
    pub(super) strehl: (f64, Interval),
    /// Of the first detail.
    pub(super) contrast: (f64, Interval),
    pub(super) light: f64,
}

/// Compares works, and pairs of them, by what they gain and what they cost.
///
/// Units: see [`LadderOptions`] and [`Work`].
/// Errors: [`Error::Input`] for options and works that cannot be, more than 40 works, names that stand twice, evidence
/// of another mirror, a work that leaves no train that could be built or no light; those of [`Prepared::wavefront`](crate::Prepared::wavefront) and
/// [`Wavefront::mtf`](crate::Wavefront::mtf).
/// Method and what it leaves out: see [`ValueLadder`].
///
/// ```
/// use catoptric::{FocalLengthMm, LadderOptions, Primary, Train, Work, value_ladder};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let twice = [Work::mask(180.0, 4.0), Work::mask(180.0, 5.0)];
/// assert!(value_ladder(&train, None, &twice, &LadderOptions::default()).is_err());
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn value_ladder(
    train: &Train,
    evidence: Option<&Evidence>,
    works: &[Work],
    options: &LadderOptions,
) -> Result<ValueLadder> {
    compared(train, evidence, works, options).map(|(ladder, _)| ladder)
}

/// The ladder, and what the train is worth as it is.
pub(super) fn compared(
    train: &Train,
    evidence: Option<&Evidence>,
    works: &[Work],
    options: &LadderOptions,
) -> Result<(ValueLadder, AsItIs)> {
    options.check()?;
    if works.len() > MOST_WORKS {
        let (found, allowed) = (works.len(), format!("up to {MOST_WORKS} works"));
        return Err(Error::input("works", found, allowed, ""));
    }
    let ground = Ground::new(train, evidence, works, options.wavelength_nm)?;
    let Plan { sets, states, left_out } = Plan::new(&ground, options)?;
    let mut left_out = left_out;
    let figures = Figures::new(&ground, options)?;
    let is_drawn: Vec<bool> = states.iter().map(|s| figures.sides(s.figure).after.is_some()).collect();
    let mut found = exact(&states, &is_drawn, options).into_iter();
    let now = found.next().unwrap_or_else(|| unreachable!("the train as it is comes first"))?;
    let mut lookup = Lookup { options, known: Vec::new() };
    let mut rows = Vec::with_capacity(sets.len());
    for ((set, state), exact) in sets.into_iter().zip(&states[1..]).zip(found) {
        let offered: Vec<&Work> = set.iter().map(|&i| &works[i]).collect();
        match exact {
            Ok(exact) => {
                let gains = gains(&mut lookup, &figures, (&states[0], &now), (state, &exact), &offered);
                rows.push(row(state, gains, &offered, options));
            }
            Err(Error::NoLight { .. }) if set.len() > 1 => {
                left_out.push(format!("{}: no light reaches the middle of the field.", name_of(&offered)));
            }
            Err(error) => return Err(dark_is_input(error, format!("works[{}]", set[0]), &offered[0].name)),
        }
    }
    mark_dominated(&mut rows);
    put_in_order(&mut rows);
    for row in &mut rows {
        row.words = words::row(row, options);
    }
    let of = |(value, draws): Side| {
        let point = Interval { low: value, high: value, share: 0.95 };
        (value, if draws.is_empty() { point } else { Interval::of(&draws) })
    };
    let (strehl, mut contrast) = side(&mut lookup, figures.sides(FigureOf::Now).before, &states[0], &now);
    let as_it_is = AsItIs {
        train_now: ground.now.clone(),
        strehl: of(strehl),
        contrast: of(contrast.swap_remove(0)),
        light: now.light,
    };
    let ladder = ValueLadder {
        rows,
        order_rule: words::order_rule(options),
        no_gain_rule: words::no_gain_rule(),
        field_rule: words::field_rule(options),
        left_out,
        assumptions: assumptions(&ground),
        train: train.clone(),
        train_now: ground.now,
        evidence: evidence.cloned(),
        works: works.to_vec(),
        options: options.clone(),
    };
    Ok((ladder, as_it_is))
}

/// Which works are looked at alone and together, and the trains after them.
struct Plan {
    sets: Vec<Vec<usize>>,
    /// The train as it is, then one for each set.
    states: Vec<State>,
    left_out: Vec<String>,
}

impl Plan {
    fn new(ground: &Ground<'_>, options: &LadderOptions) -> Result<Self> {
        let (works, count) = (ground.works, ground.works.len());
        let as_it_is = State { train: ground.now.clone(), figure: FigureOf::Now };
        let mut plan = Self { sets: Vec::new(), states: vec![as_it_is], left_out: Vec::new() };
        let mut useful = vec![true; count];
        for i in 0..count {
            let state = ground.after(&[i], options.wavelength_nm)?;
            if let Some(why) = ground.is_idle(i) {
                useful[i] = false;
                plan.left_out.push(format!("{}: {why}.", works[i].name));
                continue;
            }
            plan.sets.push(vec![i]);
            plan.states.push(state);
        }
        for i in 0..count {
            for j in i + 1..count {
                if !(useful[i] && useful[j]) {
                    continue;
                }
                let name = name_of(&[&works[i], &works[j]]);
                if let Some(why) = works[i].excludes(&works[j]) {
                    plan.left_out.push(format!("{name}: {why}."));
                    continue;
                }
                match ground.after(&[i, j], options.wavelength_nm) {
                    Ok(state) => {
                        plan.sets.push(vec![i, j]);
                        plan.states.push(state);
                    }
                    Err(error) => plan.left_out.push(format!("{name}: {error}.")),
                }
            }
        }
        Ok(plan)
    }
}

/// What draws show through trains, each looked up once.
struct Lookup<'a> {
    options: &'a LadderOptions,
    known: Vec<(LookupKey, Seen)>,
}

/// The figures, the ring, and the exact values that they are moved to.
type LookupKey = (*const Drawn, [u64; 3], Vec<u64>);

impl Lookup<'_> {
    fn seen(&mut self, drawn: &Drawn, state: &State, exact: &Exact) -> &Seen {
        let ring =
            [shadow_radius_mm(&state.train), open_radius_mm(&state.train), exact.strehl].map(f64::to_bits);
        let key = (std::ptr::from_ref(drawn), ring, exact.contrast.iter().map(|c| c.to_bits()).collect());
        let place = self.known.iter().position(|(known, _)| *known == key).unwrap_or_else(|| {
            self.known.push((key, drawn.through(state, exact, self.options)));
            self.known.len() - 1
        });
        &self.known[place].1
    }
}

/// All quantities of one row.
fn gains(
    lookup: &mut Lookup<'_>,
    figures: &Figures,
    (base, now): (&State, &Exact),
    (state, then): (&State, &Exact),
    works: &[&Work],
) -> Vec<LadderGain> {
    let options = lookup.options;
    let sides = figures.sides(state.figure);
    let (strehl_before, contrast_before) = side(lookup, sides.before, base, now);
    let (strehl_after, contrast_after) = side(lookup, sides.after, state, then);
    let basis = basis(&sides, base, state, works);
    let (values, draws) = paired(&strehl_before, &strehl_after);
    let mut gains = vec![LadderGain::new(STREHL.to_owned(), "", values, draws, basis)];
    let mut in_air = Vec::new();
    for (k, detail) in options.details_arcsec.iter().enumerate() {
        let (values, draws) = paired(&contrast_before[k], &contrast_after[k]);
        if let Some(seeing) = &options.seeing {
            let left = seeing.transfer(1.0 / detail, options.wavelength_nm);
            let times = |list: &[f64]| list.iter().map(|v| v * left).collect::<Vec<f64>>();
            let name = format!(
                "contrast at {detail} arcsec in {:.1} arcsec of seeing",
                seeing.fwhm_arcsec(options.wavelength_nm)
            );
            let draws = draws.as_ref().map(|(before, after)| (times(before), times(after)));
            in_air.push(LadderGain::new(name, "", (values.0 * left, values.1 * left), draws, basis));
        }
        gains.push(LadderGain::new(format!("contrast at {detail} arcsec"), "", values, draws, basis));
    }
    gains.extend(in_air);
    let described = GainBasis::Described;
    gains.push(LadderGain::new(LIGHT.to_owned(), "", (now.light, then.light), None, described));
    let field = (now.field_mm, then.field_mm);
    gains.push(LadderGain::new("usable field".to_owned(), "mm", field, None, described));
    gains
}

/// A value, and that of every drawn figure where there are any.
type Side = (f64, Vec<f64>);

/// Strehl and contrasts of one side of a row.
fn side(lookup: &mut Lookup<'_>, drawn: Option<&Drawn>, state: &State, exact: &Exact) -> (Side, Vec<Side>) {
    if let Some(drawn) = drawn {
        let seen = lookup.seen(drawn, state, exact);
        return (seen.strehl.clone(), seen.contrast.clone());
    }
    let known = |value: &f64| (*value, Vec::new());
    (known(&exact.strehl), exact.contrast.iter().map(known).collect())
}

/// Values and draws before and after, as far as both go; a side that is known holds still.
fn paired((before, from): &Side, (after, to): &Side) -> ((f64, f64), Draws) {
    let draws = match (from.len(), to.len()) {
        (0, 0) => None,
        (count, 0) => Some((from.clone(), vec![*after; count])),
        (0, count) => Some((vec![*before; count], to.clone())),
        (a, b) => Some((from[..a.min(b)].to_vec(), to[..a.min(b)].to_vec())),
    };
    ((*before, *after), draws)
}

/// What the gains of Strehl and contrast rest on.
fn basis(sides: &drawn::Sides<'_>, base: &State, state: &State, works: &[&Work]) -> GainBasis {
    if works.iter().any(|work| is_perfect(work)) {
        return GainBasis::UpperBound;
    }
    let ring =
        |state: &State| [shadow_radius_mm(&state.train), open_radius_mm(&state.train)].map(f64::to_bits);
    let is = |origin: Origin| [sides.before, sides.after].into_iter().flatten().any(|d| d.origin == origin);
    if sides.before.is_none() && sides.after.is_none() {
        GainBasis::Described
    } else if is(Origin::Paper) && ring(base) != ring(state) {
        GainBasis::AssumedShape
    } else if is(Origin::Promise) {
        GainBasis::Promised
    } else {
        GainBasis::Drawn
    }
}

fn is_perfect(work: &Work) -> bool {
    matches!(&work.change, WorkChange::Refigure { after: RefigureAfter::PerfectParaboloid, .. })
}

fn name_of(works: &[&Work]) -> String {
    works.iter().map(|work| work.name.as_str()).collect::<Vec<_>>().join(" and ")
}

fn row(state: &State, mut gains: Vec<LadderGain>, works: &[&Work], options: &LadderOptions) -> LadderRow {
    let price: f64 = works.iter().map(|work| work.price).sum();
    for gain in &mut gains {
        gain.gain_per_price = (price > 0.0).then(|| gain.median_gain / price);
    }
    let (score, score_interval) = score(&gains, options);
    LadderRow {
        name: name_of(works),
        works: works.iter().map(|work| (*work).clone()).collect(),
        price,
        no_proven_gain: !gains.iter().any(|g| g.proven),
        upper_bound: works.iter().any(|work| is_perfect(work)),
        gains,
        score,
        score_interval,
        dominated_by: Vec::new(),
        tied_with: Vec::new(),
        words: String::new(),
        train_after: state.train.clone(),
    }
}

/// What the numbers of a ladder assume.
fn assumptions(ground: &Ground<'_>) -> Vec<String> {
    let mut list = Vec::new();
    match ground.evidence {
        Some(Evidence::Readings(_)) => list.push(
            "Intervals hold 95 % of the figures that the readings allow, each seen through the train's own shadow and \
             mask before and after. Only the round part of the mirror is judged."
                .to_owned(),
        ),
        Some(_) => list.push(
            "Numbers on paper give the size of the error and not its shape: it is taken to be spherical aberration, so \
             that the gain of a mask or of another shadow is not proven by them."
                .to_owned(),
        ),
        None => list.push(
            "Nothing was measured: the figure of the train is taken as described, without doubt.".to_owned(),
        ),
    }
    let own = ground.given.primary();
    if ground.evidence.is_some() && (own.conic.to_bits() != (-1.0_f64).to_bits() || !own.figure.is_empty()) {
        list.push("The train's own figure is set aside for that of the evidence.".to_owned());
    }
    let is_uneven = |m: &MetalCoat| !m.rings.is_empty() || !m.patches.is_empty() || m.map.is_some();
    if own.coating.metal.as_ref().is_some_and(is_uneven) && ground.evidence.is_some() {
        list.push(
            "The evidence is taken to be of the glass under the coat, and the hollows of its thin metal come on top: \
             evidence taken through this coat holds them already, and then the coat is to be given as haze."
                .to_owned(),
        );
    }
    list.push(
        "Light is counted with the reflectances as typed; they have no interval here. The error of a promise, of wear \
         and of the work itself is not in the numbers."
            .to_owned(),
    );
    for work in ground.works {
        if let WorkChange::Refigure { after, recoat_reflectance } = &work.change {
            if let RefigureAfter::PromisedRmsNm { least, greatest } = after {
                list.push(format!(
                    "\"{}\": a wavefront RMS of {least} to {greatest} nm is promised, not measured; it is carried as \
                     evenly spread, and as spherical aberration.",
                    work.name
                ));
            }
            if recoat_reflectance.is_none() {
                list.push(format!(
                    "\"{}\": figuring takes the coat off, and no new one is part of this work; the mirror is taken to \
                     return what it does now.",
                    work.name
                ));
            }
        }
        if let WorkChange::ChangeDiagonal { reflectance: None, .. } = &work.change {
            list.push(format!(
                "\"{}\": the new diagonal is taken to return what the present one does.",
                work.name
            ));
        }
    }
    list
}

#[cfg(test)]
mod tests {
    use super::state::of_work;
    use super::*;
    use crate::model::{Coating, Primary};
    use crate::units::FocalLengthMm;

    #[test]
    fn problems_name_the_work() {
        let error = of_work(Error::input("primary.mask_diameter_mm", 1, "more", ""), 3);
        assert_eq!(error.problems()[0].field, "works[3].primary.mask_diameter_mm");
    }

    #[test]
    fn trains_of_one_shape_are_computed_once() {
        let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).coating(Coating::new(0.8)));
        let train = train.build().expect("a train");
        let state = |reflectance: f64| {
            let mut parts = train.to_parts();
            parts.primary.coating = Coating::new(reflectance);
            State { train: parts.build().expect("a train"), figure: FigureOf::Now }
        };
        let found = exact(&[state(0.8), state(0.9)], &[false; 2], &LadderOptions::default());
        let [dull, bright] = [found[0].as_ref().expect("a value"), found[1].as_ref().expect("a value")];
        assert_eq!(dull.strehl.to_bits(), bright.strehl.to_bits());
        assert!((bright.light / dull.light - 0.9 / 0.8).abs() < 1e-15);
    }
}
