//! The value ladder and the judgement: against closed forms, the invented mirror's known surface, and brute force.

use catoptric::*;

const TRUTH: [(&str, f64); 1] = [("", 0.0)];

#[test]
fn try_it() {
    let _ = TRUTH;
    let t0 = std::time::Instant::now();
    let readings = KnifeEdgeReadings::from_csv_text(
        &std::fs::read_to_string("notebooks-demo/data/fenlight_before.csv").unwrap(),
        318.0,
        RadiusOfCurvatureMm(3116.0),
        TestSource::Moving,
        ReadingsIncrease::AwayFromMirror,
    )
    .unwrap();
    let options = ReduceOptions { obstruction_ratio: 70.0 / 318.0, ..Default::default() };
    let before = readings.reduce(options).unwrap();
    println!("reduce {:?}", t0.elapsed());
    let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).coating(Coating::new(0.85)))
        .diagonal(Diagonal::new(70.0).reflectance(0.85))
        .focal_plane(FocalPlane::new(235.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0))
        .spider(Spider::new(4, 1.0))
        .build()
        .unwrap();
    let works = [
        Work::mask(308.0, 4.0),
        Work::recoat_primary(0.91, 240.0),
        Work::refigure(RefigureAfter::PromisedRmsNm { least: 5.0, greatest: 20.0 }, 880.0).with_recoat(0.91),
        Work::change_diagonal(63.5, 60.0),
    ];
    let t = std::time::Instant::now();
    let evidence = Evidence::from(&before);
    let ladder = value_ladder(&train, Some(&evidence), &works, &LadderOptions::default()).unwrap();
    println!("ladder {:?}", t.elapsed());
    for row in &ladder.rows {
        println!(
            "{:.3} {:?}\n  {}\n  tied {:?} dom {:?}",
            row.score, row.score_interval, row.words, row.tied_with, row.dominated_by
        );
        for g in &row.gains {
            println!(
                "     {} {:.4} {:.4} {:.4} [{:.4} {:.4}] b[{:.4} {:.4}] a[{:.4} {:.4}]",
                g.name,
                g.before,
                g.after,
                g.gain,
                g.gain_interval.low,
                g.gain_interval.high,
                g.before_interval.low,
                g.before_interval.high,
                g.after_interval.low,
                g.after_interval.high
            );
        }
    }
    println!("{:#?}", ladder.left_out);
    let t = std::time::Instant::now();
    let j = judgement(&train, Some(&evidence), &works, &LadderOptions::default()).unwrap();
    println!("judgement {:?}", t.elapsed());
    println!("{}\n{:#?}\n{:#?}\n{:#?}\n{:#?}", j.verdict, j.numbers, j.next, j.reasons, j.assumptions);
}
