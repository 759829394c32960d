//! The mirror made ready: its surface in one colour and its coating, and where a quadrature over it must stop.

use std::sync::{Arc, OnceLock};

use super::coat::{Coat, FilmSurface};
use super::figure::Break;
use super::kernel::Table;
use super::mirror::Mirror;
use crate::model::Primary;
use crate::units::DEFAULT_WAVELENGTH_NM;

/// All that depends on the primary and the colour alone: trains that differ elsewhere share it.
#[derive(Clone, Debug)]
pub(super) struct Glass {
    pub(super) mirror: Mirror,
    pub(super) coat: Arc<Coat>,
    /// Radii on the open mirror at which a quadrature must stop, ascending, ends left out.
    pub(super) breaks: Vec<Break>,
    /// How far the figure throws light aside on its way to the focus, at most, mm.
    pub(super) thrown_mm: f64,
    /// The colour for which films of metal are made ready.
    pub(super) wavelength_nm: f64,
    /// The round figure as the loops over many rays look it up, made when first needed.
    table: Arc<OnceLock<Option<Arc<Table>>>>,
}

impl Glass {
    pub(super) fn new(primary: &Primary) -> Self {
        Self::made(primary, None)
    }

    /// The glass of another primary, made anew only in what changed since this one was made from `was`: the same bits as
    /// made whole.
    pub(super) fn changed(self: &Arc<Self>, was: &Primary, primary: &Primary) -> Arc<Self> {
        let is_same = was == primary && is_default(self.wavelength_nm);
        if is_same { Arc::clone(self) } else { Arc::new(Self::made(primary, Some((self, was)))) }
    }

    fn made(primary: &Primary, before: Option<(&Arc<Self>, &Primary)>) -> Self {
        // Layers and coats are tied to the clear aperture.
        let before = before.filter(|(_, was)| same(was.clear_aperture_mm, primary.clear_aperture_mm));
        let coat = match before {
            Some((glass, was)) if was.coating == primary.coating => Arc::clone(&glass.coat),
            _ => Arc::new(Coat::new(&primary.coating, primary.clear_aperture_mm / 2.0)),
        };
        let glass = match before {
            Some((glass, was)) => glass.mirror.changed(&was.figure, primary),
            None => Mirror::new(primary),
        };
        let is_conic = |was: &Primary| {
            same(was.focal_length_mm, primary.focal_length_mm) && same(was.conic, primary.conic)
        };
        // The film's heights stand on the conic.
        let film_before = before
            .filter(|(glass, was)| {
                Arc::ptr_eq(&glass.coat, &coat) && is_conic(was) && is_default(glass.wavelength_nm)
            })
            .and_then(|(glass, _)| glass.mirror.shared_film());
        let film =
            film_before.or_else(|| FilmSurface::new(&coat, primary, DEFAULT_WAVELENGTH_NM).map(Arc::new));
        let mirror = glass.with_film(film);
        let breaks = breaks(primary, &mirror, &coat);
        let same_surface = before.filter(|(glass, was)| is_conic(was) && glass.mirror.shares_with(&mirror));
        let same_table = same_surface.filter(|(glass, was)| {
            same(was.open_diameter_mm(), primary.open_diameter_mm()) && glass.breaks == breaks
        });
        Self {
            thrown_mm: same_surface
                .map_or_else(|| thrown_mm(primary, &mirror, &coat), |(glass, _)| glass.thrown_mm),
            table: same_table.map_or_else(Arc::default, |(glass, _)| Arc::clone(&glass.table)),
            mirror,
            coat,
            breaks,
            wavelength_nm: DEFAULT_WAVELENGTH_NM,
        }
    }

    /// The same glass in another colour; the wavelength has passed its check.
    pub(super) fn in_colour(&self, primary: &Primary, wavelength_nm: f64) -> Self {
        let film = FilmSurface::new(&self.coat, primary, wavelength_nm).map(Arc::new);
        Self { mirror: self.mirror.with_film(film), wavelength_nm, table: Arc::default(), ..self.clone() }
    }

    /// The table of the figure; `make` makes it when it is first asked for.
    pub(super) fn table(&self, make: impl FnOnce() -> Option<Table>) -> Option<Arc<Table>> {
        self.table.get_or_init(|| make().map(Arc::new)).clone()
    }
}

fn same(a: f64, b: f64) -> bool {
    a.to_bits() == b.to_bits()
}

fn is_default(wavelength_nm: f64) -> bool {
    same(wavelength_nm, DEFAULT_WAVELENGTH_NM)
}

fn thrown_mm(primary: &Primary, mirror: &Mirror, coat: &Coat) -> f64 {
    const LOOKS: u32 = 8;
    if mirror.bare_conic().is_some() {
        return 0.0;
    }
    let rim_mm = primary.clear_aperture_mm / 2.0;
    let mut ends: Vec<f64> = mirror.breaks().into_iter().map(|b| b.radius_mm).chain([rim_mm]).collect();
    if mirror.film().is_some() {
        // Metal that fades is steep in its soft rims.
        ends.extend(coat.cuts_mm().into_iter().filter(|r| *r > 0.0 && *r < rim_mm));
        ends.sort_by(f64::total_cmp);
    }
    let slope = |r: f64| (mirror.height_and_slope(r).1 - mirror.conic_height_and_slope(r).1).abs();
    // Edges are steepest at the very rim.
    let (mut from, mut steepest) = (0.0, slope(rim_mm));
    for to in ends {
        for k in 0..LOOKS {
            steepest = steepest.max(slope(from + (to - from) * (f64::from(k) + 0.5) / f64::from(LOOKS)));
        }
        from = to;
    }
    2.0 * steepest * primary.focal_length_mm
}

fn breaks(primary: &Primary, mirror: &Mirror, coat: &Coat) -> Vec<Break> {
    let rim_mm = primary.open_diameter_mm() / 2.0;
    let mut breaks = mirror.breaks();
    breaks.extend(coat.breaks());
    // Closer than this two breaks are one: a panel so short holds no light.
    let shortest_mm = 1e-9 * rim_mm;
    // The very centre stays where a tip begins there.
    let is_tip = |b: &Break| b.radius_mm == 0.0 && b.fractional;
    breaks.retain(|b| is_tip(b) || b.radius_mm > shortest_mm && b.radius_mm < rim_mm - shortest_mm);
    breaks.sort_by(|a, b| a.radius_mm.total_cmp(&b.radius_mm));
    breaks.dedup_by(|later, kept| {
        let same = later.radius_mm - kept.radius_mm < shortest_mm;
        kept.fractional |= same && later.fractional;
        same
    });
    breaks
}
