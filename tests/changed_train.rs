//! A train compiled from another one: every number that it holds is that of a train compiled whole, whatever was changed.
//!
//! The changes come from the train's own JSON, leaf by leaf, so that a new field is changed as well without a word here.

mod common;

use std::fmt::{self, Write};

use catoptric::{
    AxisDirection, CentralHill, Coating, CoatingPatch, CoatingRing, Diagonal, Drawtube, EdgeRollOff,
    EdgeStep, Field, FilterRing, FlatEdge, FocalLengthMm, FocalPlane, FocuserBoard, HeightMap, Holder,
    Indexing, Metal, MetalCoat, MetalFilm, MirrorClips, Misplacement, Opening, Prepared, Primary,
    RadialProfile, ReflectanceMap, Ripple, SensorMask, Spider, ThicknessMap, ThinPatch, ThinRing, Train,
    TrainBuilder, TurnedEdge, ZernikeTerms, Zone,
};
use common::everything;
use ndarray::Array2;
use serde_json::{Map, Value};

/// The hash of a text: FNV-1a of 64 bits (Fowler, Noll, Vo; from memory).
struct Digest(u64);

impl Write for Digest {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        let mix = |hash: u64, byte: &u8| (hash ^ u64::from(*byte)).wrapping_mul(0x0100_0000_01b3);
        self.0 = text.as_bytes().iter().fold(self.0, mix);
        Ok(())
    }
}

/// All that a train holds once compiled, the table for many rays included: doubles are written so that each has a text
/// of its own, and the nets are so small that they are written whole.
fn held(prepared: &Prepared) -> u64 {
    // The loops over many rays are compiled when first needed; a dark train has no spot, and that is no matter here.
    let _ = prepared.spot_of_rings(Field::AXIS, 0.0, 2, 8);
    let mut digest = Digest(0xcbf2_9ce4_8422_2325);
    write!(digest, "{prepared:?}").expect("a hash takes everything");
    digest.0
}

fn net(of: impl Fn(f64, f64) -> f64) -> Array2<f64> {
    Array2::from_shape_fn((16, 17), |(i, j)| of(i as f64, j as f64))
}

/// Every kind of layer, coat and part.
fn uneven() -> TrainBuilder {
    let (rows, columns) = (AxisDirection::MinusY, AxisDirection::PlusX);
    let heights = HeightMap::new(net(|i, j| (0.4 * i).sin() * 20.0 + j), 24.0, rows, columns);
    let shares = ReflectanceMap::new(net(|i, j| 0.8 + 0.1 * (0.3 * i + 0.2 * j).sin()), 24.0, rows, columns);
    let metal_nm = ThicknessMap::new(net(|i, j| 70.0 + 9.0 * (0.2 * i - 0.3 * j).cos()), 24.0, rows, columns);
    let film = MetalFilm::new(Metal::Aluminium, 80.0);
    let coat = MetalCoat::new(film)
        .map(metal_nm)
        .ring(ThinRing::new(60.0, 80.0, 50.0).softness_mm(2.0))
        .patch(ThinPatch::new([20.0, -70.0], 15.0, 45.0).softness_mm(3.0));
    let coating = Coating::of_map(shares)
        .pinhole_share(0.002)
        .ring(CoatingRing::new(112.0, 139.0, 0.74))
        .patch(CoatingPatch::new([-46.0, 71.0], 20.0, 0.5).softness_mm(4.0))
        .metal(coat);
    let mut parts = round();
    parts.primary = parts
        .primary
        .coating(coating)
        .mask_diameter_mm(310.0)
        .layer(ZernikeTerms::new([(6, 20.0), (16, -9.0)], Indexing::Noll))
        .layer(heights)
        .layer(Ripple::new(4.0, 200.0, 90.0, 3));
    let crooked = Misplacement {
        toward_primary_mm: 0.8,
        toward_focuser_mm: 0.3,
        across_mm: -0.5,
        nod_arcmin: 6.0,
        turn_arcmin: 4.0,
        roll_arcmin: -9.0,
    };
    let flat = Diagonal::new(70.0)
        .offset_mm(3.25)
        .film(MetalFilm::new(Metal::Silver, 90.0))
        .thickness_mm(14.0, FlatEdge::SquareToFace)
        .bevel_mm(0.6)
        .misplaced(crooked);
    parts
        .diagonal(flat)
        .spider(Spider::new(4, 1.0).angle_deg(20.0))
        .holder(Holder::new(76.0).above_vertex_mm(1340.0))
        .mirror_clips(MirrorClips::new(3, 20.0, 6.0).angle_deg(30.0))
        .focuser_board(FocuserBoard::new(64.0, 180.0))
        .filter_ring(FilterRing::new(46.0, 40.0))
        .sensor_mask(SensorMask::new(44.0, 40.0, 10.0).rotation_deg(10.0))
}

/// A round figure of every kind: the loops over many rays have a table of it.
fn round() -> TrainBuilder {
    let mut parts = everything()
        .diagonal(Diagonal::new(70.0).reflectance(0.9))
        .focal_plane(FocalPlane::new(235.0))
        .front_opening(Opening::new(360.0, 1650.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0));
    parts.primary = Primary::new(318.0, FocalLengthMm(1558.0))
        .conic(-0.97)
        .mask_diameter_mm(316.0)
        .layer(TurnedEdge::new(9.0, 90.0))
        .layer(EdgeRollOff::new(4.0, 60.0))
        .layer(EdgeStep::new(3.0, 20.0))
        .layer(Zone::new(95.0, 13.0, 28.0))
        .layer(CentralHill::new(30.0, 25.0))
        .layer(RadialProfile::new(vec![0.0, 80.0, 159.0], vec![0.0, 1.5, -2.5]))
        .coating(Coating::new(0.88).ring(CoatingRing::new(120.0, 140.0, 0.71).softness_mm(2.0)));
    parts
}

/// A round figure under an even film of metal, whose thickness makes a height.
fn filmed() -> TrainBuilder {
    let mut parts = round();
    let film = MetalFilm::new(Metal::Aluminium, 80.0);
    let coat = MetalCoat::new(film).ring(ThinRing::new(60.0, 80.0, 50.0).softness_mm(2.0));
    parts.primary = parts.primary.mask_diameter_mm(312.0).coating(Coating::new(0.95).metal(coat));
    parts.primary.figure.retain(|layer| !matches!(layer, catoptric::FigureLayer::EdgeStep(_)));
    parts
}

/// One change: the place of a leaf or of a part, and what stands there then; nothing: it is taken out.
#[derive(Clone, Debug)]
struct Change {
    place: Vec<String>,
    value: Option<Value>,
}

impl Change {
    fn is_in_a_net(&self) -> bool {
        self.place.iter().any(|key| ["height_nm", "reflectance", "thickness_nm"].contains(&key.as_str()))
            && self.place.iter().filter(|key| key.parse::<usize>().is_ok()).count() >= 2
    }

    fn of(&self, train: &Value) -> Value {
        fn at<'a>(value: &'a mut Value, key: &str) -> Option<&'a mut Value> {
            match value {
                Value::Array(list) => list.get_mut(key.parse::<usize>().ok()?),
                Value::Object(map) => map.get_mut(key),
                _ => None,
            }
        }
        let mut changed = train.clone();
        let (last, way) = self.place.split_last().expect("a place");
        let mut here = &mut changed;
        for key in way {
            match at(here, key) {
                Some(next) => here = next,
                None => return train.clone(),
            }
        }
        match (&self.value, &mut *here) {
            (None, Value::Object(map)) => drop(map.remove(last)),
            (None, Value::Array(list)) => {
                if let Some(place) = last.parse::<usize>().ok().filter(|k| *k < list.len()) {
                    list.remove(place);
                }
            }
            (Some(value), here) => {
                if let Some(leaf) = at(here, last) {
                    *leaf = value.clone();
                }
            }
            (None, _) => {}
        }
        changed
    }
}

/// All changes of one leaf or part of a train.
fn changes(train: &Value) -> Vec<Change> {
    fn walk(value: &Value, place: &mut Vec<String>, found: &mut Vec<Change>) {
        let mut add = |value: Option<Value>| found.push(Change { place: place.clone(), value });
        match value {
            Value::Number(number) => {
                let number = number.as_f64().expect("a number");
                // Some leaves have neighbours on one side only, and whole numbers want a whole one.
                for factor in [1.001, 0.999] {
                    add(Some(Value::from(if number == 0.0 { 1e-3 } else { number * factor })));
                }
                if number.fract() == 0.0 && number >= 0.0 {
                    add(Some(Value::from(number as u64 + 1)));
                }
            }
            Value::Bool(flag) => add(Some(Value::from(!flag))),
            Value::String(_) => {
                let words = [
                    "+x",
                    "-y",
                    "silver",
                    "aluminium",
                    "along_tube",
                    "smooth",
                    "osa",
                    "spline",
                    "straight_in_area",
                ];
                for word in words {
                    add(Some(Value::from(word)));
                }
            }
            Value::Array(list) => {
                add(None);
                // Of a net two pixels stand for all.
                let step = if list.len() > 12 { 9 } else { 1 };
                for (k, entry) in list.iter().enumerate().step_by(step) {
                    place.push(k.to_string());
                    walk(entry, place, found);
                    place.pop();
                }
            }
            Value::Object(map) => {
                if !place.is_empty() {
                    add(None);
                }
                for (key, entry) in map {
                    place.push(key.clone());
                    walk(entry, place, found);
                    place.pop();
                }
            }
            Value::Null => {}
        }
    }
    let mut found = Vec::new();
    walk(train, &mut Vec::new(), &mut found);
    found
}

fn as_json(train: &Train) -> Value {
    serde_json::from_str(&train.to_json()).expect("JSON")
}

fn read(json: &Value) -> Option<Train> {
    Train::from_json(&json.to_string()).ok()
}

/// The trains that are made as changed copies share the numbers of their maps with the first one.
fn sharing_maps(first: &Train, other: &Train) -> Train {
    let mut parts = other.to_parts();
    for (own, layer) in first.primary().figure.iter().zip(&mut parts.primary.figure) {
        if own == layer {
            *layer = own.clone();
        }
    }
    if first.primary().coating == parts.primary.coating {
        parts.primary.coating = first.primary().coating.clone();
    }
    parts.build().expect("the same train")
}

#[test]
fn one_change_of_any_field_gives_the_train_compiled_whole() {
    let (mut seen, mut asked) = (Map::new(), Map::new());
    for (name, parts) in [("uneven", uneven()), ("round", round()), ("filmed", filmed())] {
        let train = parts.build().expect("a train");
        let json = as_json(&train);
        let given = Prepared::new(&train);
        let unchanged = held(&given);
        assert_eq!(held(&given.changed(&train)), unchanged, "{name}: nothing changed");
        let all = changes(&json);
        let mut sound = 0;
        for change in &all {
            let Some(other) = read(&change.of(&json)).filter(|other| *other != train) else { continue };
            let other = sharing_maps(&train, &other);
            let whole = held(&Prepared::new(&other));
            assert_eq!(held(&given.changed(&other)), whole, "{name}: {change:?}");
            sound += 1;
            seen.insert(change.place.join("."), Value::Null);
        }
        println!("{name}: {sound} of {} changes are trains", all.len());
        let leaves = all.iter().filter(|c| c.value.as_ref().is_some_and(Value::is_number));
        asked.extend(leaves.map(|c| (c.place.join("."), Value::Null)));
    }
    // A film's own reflectance is fixed at 1 in one train and free in another.
    let missed: Vec<_> = asked.keys().filter(|place| !seen.contains_key(*place)).collect();
    assert!(missed.is_empty(), "numbers that were never changed: {missed:?}");
    assert!(seen.len() > 120, "{} places", seen.len());
}

#[test]
fn pairs_of_changes_one_after_the_other_give_the_train_compiled_whole() {
    const PAIRS: usize = 100;
    for (name, parts) in [("uneven", uneven()), ("round", round()), ("filmed", filmed())] {
        let train = parts.build().expect("a train");
        let (json, given) = (as_json(&train), Prepared::new(&train));
        let all: Vec<Change> = changes(&json).into_iter().filter(|c| !c.is_in_a_net()).collect();
        let (mut tried, mut place) = (0, 0);
        while tried < PAIRS {
            // Steps that share no factor with the count reach every pair in the end.
            place += 7919;
            let (first, second) =
                (&all[place % all.len()], &all[(place / all.len() * 31 + place) % all.len()]);
            tried += 1;
            let Some(one) = read(&first.of(&json)) else { continue };
            let Some(two) = read(&second.of(&as_json(&one))) else { continue };
            let (one, two) = (sharing_maps(&train, &one), sharing_maps(&train, &two));
            let whole = held(&Prepared::new(&two));
            // By way of the train between, used or not, and back again.
            assert_eq!(held(&given.changed(&one).changed(&two)), whole, "{name}: {first:?}, {second:?}");
            let between = given.changed(&one);
            held(&between);
            assert_eq!(held(&between.changed(&two)), whole, "{name}: {first:?} used, {second:?}");
            assert_eq!(held(&between.changed(&train)), held(&given), "{name}: {first:?} and back");
        }
    }
}

#[test]
fn a_train_in_another_colour_hands_on_nothing_of_it() {
    let train = filmed().build().expect("a train");
    let red = Prepared::new(&train).in_colour(700.0).expect("a colour");
    assert_ne!(held(&red), held(&Prepared::new(&train)));
    assert_eq!(held(&red.changed(&train)), held(&Prepared::new(&train)));
}

#[test]
fn answers_of_a_changed_train_have_the_same_bits() {
    use catoptric::Focus;
    let train = uneven().build().expect("a train");
    let given = Prepared::new(&train);
    let mut parts = train.to_parts();
    parts.diagonal = Some(Diagonal::new(76.0));
    parts.primary.mask_diameter_mm = Some(300.0);
    parts.primary.conic = -0.99;
    let other = parts.build().expect("a train");
    let answers = |prepared: &Prepared| {
        let star = Field::arcmin(3.0, -4.0);
        let wave = prepared.wavefront(star, Focus::LeastRms, 620.0).expect("a wavefront");
        let spot = prepared.spot_at(star, 0.1, 50).expect("a spot");
        let light = prepared.light(star);
        [wave.strehl, wave.rms_nm, wave.amplitude_factor, spot.rms_radius_um, light.lit_fraction]
            .map(f64::to_bits)
    };
    assert_eq!(answers(&given.changed(&other)), answers(&Prepared::new(&other)));
}
