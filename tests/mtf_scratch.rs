use catoptric::*;
use std::time::Instant;
fn terms(t: &[(u32,f64)], eps: f64) -> Wavefront {
    Wavefront::from_zernikes(&t.iter().copied().collect(), Indexing::Noll, eps, Some(5.0), 550.0).unwrap()
}
#[test]
fn scratch() {
    let cut = 1.0/(550e-6*5.0);
    let freqs: Vec<f64> = (0..=64).map(|k| cut*k as f64/64.0).collect();
    let opt = MtfOptions{frequency_per_mm: Some(freqs.clone()), spectrum: None};
    for eps in [0.0,0.2,0.33] {
        let w = terms(&[], eps);
        let t=Instant::now();
        let m = w.otf(20.0,&opt).unwrap();
        let dt=t.elapsed();
        let worst = m.real.iter().zip(&freqs).map(|(c,f)| (c-perfect_mtf(f/cut,eps).unwrap()).abs()).fold(0.0,f64::max);
        println!("eps {eps}: worst {worst:e} est {:e} time {dt:?}", m.error_estimate);
    }
    for (name, tr) in [
      ("f5 clear", Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build().unwrap()),
      ("f5 diag", Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)).build().unwrap()),
      ("f5 diag edge", Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 330.0))).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)).build().unwrap()),
      ("f5 diag edge zone", Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 330.0)).layer(Zone::new(95.0,13.0,28.0))).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0)).build().unwrap()),
    ] {
        for field in [Field::AXIS, Field::arcmin(10.0,5.0)] {
        let w = Prepared::new(&tr).wavefront(field, Focus::LeastRms, 550.0).unwrap();
        let t=Instant::now();
        let m = w.mtf(&MtfOptions::default()).map(|m| (m.contrast_along[24], m.contrast_across[24], m.contrast_mean[24], m.perfect_clear[24], m.error_estimate, m.cutoff_per_mm, m.textbook_cutoff_per_mm));
        println!("{name} {:?}: {:?} time {:?}", field, m, t.elapsed());
        }
    }
}
