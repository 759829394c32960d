//! What a judgement says of mask, edge and coating beside its ladder; recoats that take all of an old coat away.

use std::fs;

use catoptric::{
    Coating, CoatingRing, Diagonal, Evidence, Field, FigureEstimate, FocalLengthMm, FocalPlane,
    KnifeEdgeReadings, LadderGain, LadderOptions, LadderRow, MaskAnswer, Metal, MetalCoat, MetalFilm,
    Prepared, Primary, RadiusOfCurvatureMm, ReadingsIncrease, ReduceOptions, SurfaceOrWavefront, TestSheet,
    TestSheetInput, TestSource, ThinRing, Train, TrainJudgement, TurnedEdge, Work, judgement, value_ladder,
};

/// The invented mirror of the notebooks; its surface is known, see notebooks-demo/data/README.md.
fn fenlight(draws: usize) -> FigureEstimate {
    let text = fs::read_to_string("notebooks-demo/data/fenlight_before.csv").expect("a file");
    let radius = RadiusOfCurvatureMm(3116.0);
    let readings = KnifeEdgeReadings::from_csv_text(
        &text,
        318.0,
        radius,
        TestSource::Moving,
        ReadingsIncrease::AwayFromMirror,
    );
    let options = ReduceOptions { obstruction_ratio: 70.0 / 318.0, draws, ..ReduceOptions::default() };
    readings.expect("readings").reduce(options).expect("a figure")
}

fn newtonian(primary: Primary, diagonal: Diagonal) -> Train {
    let parts = Train::builder(primary).diagonal(diagonal).focal_plane(FocalPlane::new(235.0));
    parts.build().expect("a train")
}

fn plain(primary: Primary) -> Train {
    newtonian(primary.coating(Coating::new(0.88)), Diagonal::new(70.0).reflectance(0.88))
}

fn mirror() -> Primary {
    Primary::new(318.0, FocalLengthMm(1558.0))
}

fn works() -> Vec<Work> {
    vec![
        Work::mask(308.0, 4.0),
        Work::recoat_primary(0.91, 240.0),
        Work::refigure(catoptric::RefigureAfter::PromisedRmsNm { least: 5.0, greatest: 20.0 }, 880.0)
            .with_recoat(0.91),
    ]
}

fn judged(train: &Train, evidence: Option<&Evidence>) -> TrainJudgement {
    judgement(train, evidence, &works(), &LadderOptions::default()).expect("a judgement")
}

fn gain<'a>(row: &'a LadderRow, name: &str) -> &'a LadderGain {
    row.gains.iter().find(|g| g.name == name).expect("a quantity of this name")
}

fn aluminium(thickness_nm: f64) -> MetalFilm {
    MetalFilm::new(Metal::Aluminium, thickness_nm)
}

/// A coat worn in every way that is round: the contrast of an uneven pupil takes a minute.
fn worn() -> Coating {
    let metal = MetalCoat::new(aluminium(80.0)).ring(ThinRing::new(60.0, 100.0, 22.0));
    Coating::default().ring(CoatingRing::new(100.0, 140.0, 0.7)).pinhole_share(0.01).metal(metal)
}

#[test]
fn a_recoat_takes_all_of_the_old_coat_away() {
    let train = newtonian(mirror().coating(worn()), Diagonal::new(70.0).film(aluminium(25.0)));
    let works = [
        Work::recoat_primary(0.91, 240.0),
        Work::recoat_diagonal(0.94, 35.0),
        Work::recoat_both(0.91, 0.94, 270.0),
        Work::change_diagonal(63.5, 60.0),
        Work::change_diagonal(63.5, 80.0).named("a smaller one in a new coat"),
    ];
    let mut works = works.to_vec();
    if let catoptric::WorkChange::ChangeDiagonal { reflectance, .. } = &mut works[4].change {
        *reflectance = Some(0.94);
    }
    let found = value_ladder(&train, None, &works, &LadderOptions::default()).expect("a ladder");
    let row = |name: &str| found.rows.iter().find(|r| r.name == name).expect("a row of this name");
    let coats = |row: &LadderRow| {
        let flat = row.train_after.diagonal().expect("a diagonal");
        (row.train_after.primary().coating.clone(), (flat.reflectance, flat.film))
    };
    let (fresh, film) = (Coating::new(0.91), aluminium(25.0));
    assert_eq!(coats(row("recoat of the primary")), (fresh.clone(), (1.0, Some(film))));
    assert_eq!(coats(row("recoat of the diagonal")), (worn(), (0.94, None)));
    assert_eq!(coats(row("recoat of both mirrors")), (fresh, (0.94, None)));
    // Another flat without a coat of its own returns what the present one does, its film included.
    assert_eq!(coats(row("diagonal of 63.5 mm")), (worn(), (1.0, Some(film))));
    assert_eq!(coats(row("a smaller one in a new coat")), (worn(), (0.94, None)));
    // The hollows of the thin metal are gone with it: a perfect glass is perfect.
    let strehl = gain(row("recoat of both mirrors"), "Strehl ratio");
    assert!(
        strehl.before < 0.9 && (strehl.after - 1.0).abs() < 1e-9,
        "{} to {}",
        strehl.before,
        strehl.after
    );
    // By hand: two fresh coats on what the 70 mm shadow leaves.
    let area = 1.0 - (70.0_f64 / 318.0).powi(2);
    assert!((gain(row("recoat of both mirrors"), "light").after - area * 0.91 * 0.94).abs() < 1e-9);
    // The film's own reflectance at 45 degrees.
    let returned = film.response(550.0, 45.0).expect("a film").reflectance();
    let light = gain(row("recoat of the primary"), "light").after;
    assert!((light - area * 0.91 * returned).abs() < 1e-9, "{light}");
    // The price of a gain is that of the gain that the order goes by.
    for row in &found.rows {
        for gain in &row.gains {
            assert_eq!(gain.gain_per_price, Some(gain.median_gain / row.price));
        }
    }
}

#[test]
fn a_refigure_with_a_coat_strips_the_metal_and_one_without_keeps_it() {
    let train = newtonian(mirror().coating(worn()), Diagonal::new(70.0).reflectance(0.9));
    let after = catoptric::RefigureAfter::PerfectParaboloid;
    let works = [
        Work::refigure(after.clone(), 800.0).named("glass alone"),
        Work::refigure(after, 900.0).named("glass and coat").with_recoat(0.91),
    ];
    let evidence = Evidence::from(&fenlight(200));
    let found = value_ladder(&train, Some(&evidence), &works, &LadderOptions::default()).expect("a ladder");
    let coat = |name: &str| {
        let row = found.rows.iter().find(|r| r.name == name).expect("a row of this name");
        row.train_after.primary().coating.clone()
    };
    assert_eq!((coat("glass alone"), coat("glass and coat")), (worn(), Coating::new(0.91)));
    assert!(found.assumptions.iter().any(|a| a.contains("glass under the coat")), "{:?}", found.assumptions);
}

#[test]
fn readings_bring_mask_edge_and_coating_to_the_record() {
    let train = plain(mirror());
    let found = judged(&train, Some(&Evidence::from(&fenlight(400))));
    let sweep = found.mask.as_ref().expect("a sweep of masks");
    // The invented mirror's own Strehl ratios at the peak focus: shared with its readings' page.
    let at = |diameter_mm: f64| {
        let row = sweep.rows.iter().find(|r| (r.diameter_mm - diameter_mm).abs() < 1e-9);
        row.expect("a row of this diameter").strehl
    };
    for (diameter_mm, truth) in [(312.0, 0.862), (308.0, 0.892)] {
        let (low, high) = at(diameter_mm).ends();
        assert!(low < truth && truth < high, "{diameter_mm} mm: {low} to {high} misses {truth}");
    }
    let (low, high) = sweep.plateau_mm.expect("a plateau");
    assert!(low <= 308.0 && high >= 312.0 && sweep.answer == MaskAnswer::MaskHelps, "{low} to {high}");
    assert_eq!(found.edge.len(), 1);
    assert!(found.edge[0].contains("mm") && found.edge[0].contains("nm"), "{}", found.edge[0]);
    // Closed form: two mirrors of 0.88 against two of 0.91 on offer.
    let coating = found.coating.as_ref().expect("an effect");
    assert!((coating.throughput - 0.88 * 0.88).abs() < 1e-9);
    assert_eq!((coating.fresh.primary_reflectance, coating.fresh.diagonal_reflectance), (0.91, 0.91));
    assert!(!coating.words.is_empty());
    // Saved as its question, judged anew to the same bits.
    let text = serde_json::to_string(&found).expect("a text");
    assert!(!text.contains("verdict") && !text.contains("plateau"), "only the question is written down");
    assert_eq!(serde_json::from_str::<TrainJudgement>(&text).expect("a judgement"), found);
    // One sentence that can be taken in: the numbers of one gain, and who it is tied with.
    assert!(found.verdict.ends_with('.') && found.verdict.len() < 260, "{}", found.verdict);
    assert!(found.verdict.starts_with("First: mask of 308 mm (price 4)"), "{}", found.verdict);
}

#[test]
fn a_described_train_has_a_mask_from_its_own_figure_and_no_edge_that_was_read() {
    let turned = plain(mirror().layer(TurnedEdge::new(9.0, 400.0)));
    let found = judged(&turned, None);
    let sweep = found.mask.as_ref().expect("a sweep");
    let strehl = sweep.unmasked.strehl;
    assert_eq!(strehl.ends(), (strehl.value, strehl.value), "a described figure has no doubt");
    let gained = sweep.rows.iter().map(|r| r.strehl.value).fold(0.0, f64::max);
    assert!(gained > strehl.value + 0.05, "an edge as steep as this is worth a mask");
    assert!(found.edge.is_empty() && found.coating.is_some());
    // Nothing to mask on a mirror without any error, and no coat to compare with where none is offered.
    let perfect = judgement(&plain(mirror()), None, &[Work::mask(308.0, 4.0)], &LadderOptions::default());
    let perfect = perfect.expect("a judgement");
    assert!(perfect.mask.is_none() && perfect.edge.is_empty() && perfect.coating.is_none());
    let text = serde_json::to_string(&found).expect("a text");
    assert_eq!(serde_json::from_str::<TrainJudgement>(&text).expect("a judgement"), found);
}

#[test]
fn numbers_on_paper_bring_neither_mask_nor_edge() {
    let sheet = TestSheet::new(TestSheetInput {
        rms_nm: Some(40.0),
        ..TestSheetInput::new(318.0, 318.0, SurfaceOrWavefront::Wavefront, 632.8)
    });
    let evidence = Evidence::from(&sheet.expect("a sheet").figure(550.0).expect("a figure"));
    let found = judged(&plain(mirror()), Some(&evidence));
    assert!(found.mask.is_none() && found.edge.is_empty());
    assert!(found.next.iter().any(|n| n.contains("do not say where")), "{:?}", found.next);
    let coating = found.coating.as_ref().expect("an effect");
    assert!((coating.throughput - 0.88 * 0.88).abs() < 1e-9);
    let text = serde_json::to_string(&found).expect("a text");
    assert_eq!(serde_json::from_str::<TrainJudgement>(&text).expect("a judgement"), found);
    assert!(Prepared::new(&found.train_now).light(Field::AXIS).lit_fraction > 0.9);
}
