//! t
use catoptric::*;
#[test]
fn t() {
    let tr = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build().unwrap();
    let w = Prepared::new(&tr).wavefront(Field::AXIS, Focus::Paraxial, 550.0).unwrap();
    for u in [20.0, 60.0, 150.0, 200.0] {
        let s = std::time::Instant::now();
        let e = w.encircled_energy(&[u * 3.3]);
        println!("TT {u} {:?} {:?}", e, s.elapsed());
    }
}
