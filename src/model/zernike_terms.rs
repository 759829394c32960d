//! A figure layer given by Zernike coefficients.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::figure::{HEIGHT, HEIGHT_CAUSE, TALLEST_NM};
use crate::error::Findings;
use crate::numeric::zernike::{self, Indexing};

/// Highest radial order that is accepted: beyond, a map of heights is the better description.
const HIGHEST_ORDER: u32 = 40;

/// A sum of Zernike circle polynomials over the clear aperture.
///
/// The unit radius is half the clear aperture, whatever a mask leaves open. Azimuth runs from +x (the focuser's side)
/// toward +y, the mirror seen from the sky: m > 0 goes with cos(m azimuth), m < 0 with sin(|m| azimuth). Beyond the clear
/// aperture the height is held.
///
/// Units: nm of glass height (half of the wavefront, in the paraxial limit); positive is a hill. A Noll or OSA
/// coefficient is the term's RMS over the clear aperture; a fringe coefficient is the height of its radial part at the
/// rim, which is sqrt(n + 1) (m = 0) or sqrt(2 (n + 1)) times the RMS.
/// Errors: found by the train's check: indices that the numbering does not have or whose radial order is above 40,
/// heights that are not finite or beyond 0.1 mm.
/// Source: Noll 1976, J. Opt. Soc. Am. 66, 207; ANSI Z80.28; for fringe terms see [`Indexing`].
/// Leaves out: what the given terms do not hold. Piston and tilt are taken as they stand: both are harmless, since
/// a wavefront has its piston removed and a tilt only moves the image.
///
/// ```
/// use catoptric::{Indexing, ZernikeTerms};
/// // 12 nm RMS of astigmatism, sqrt(6) rho^2 sin(2 azimuth).
/// let figure = ZernikeTerms::new([(5, 12.0)], Indexing::Noll);
/// assert_eq!(figure.coefficients_nm[&5], 12.0);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ZernikeTerms {
    /// How the terms are numbered.
    pub indexing: Indexing,
    /// Glass height of each term by its number, nm.
    #[serde(with = "by_number")]
    pub coefficients_nm: BTreeMap<u32, f64>,
}

impl ZernikeTerms {
    /// A layer from its coefficients and the numbering that they follow.
    ///
    /// ```
    /// use catoptric::{Indexing, ZernikeTerms};
    /// assert_eq!(ZernikeTerms::new([(12, 3.0)], Indexing::Osa).indexing, Indexing::Osa);
    /// ```
    pub fn new(coefficients_nm: impl IntoIterator<Item = (u32, f64)>, indexing: Indexing) -> Self {
        Self { indexing, coefficients_nm: coefficients_nm.into_iter().collect() }
    }

    /// The terms as (n, m, RMS in nm); numbers without a term are left out.
    pub(crate) fn orders_nm(&self) -> Vec<(u32, i32, f64)> {
        let unit = |n, m| if self.indexing == Indexing::Fringe { zernike::norm(n, m) } else { 1.0 };
        let order =
            |(&j, &height): (&u32, &f64)| self.indexing.order(j).map(|(n, m)| (n, m, height / unit(n, m)));
        self.coefficients_nm.iter().filter_map(order).collect()
    }

    pub(super) fn note_problems(&self, findings: &mut Findings) {
        for (&j, &height) in &self.coefficients_nm {
            let field = format!("coefficients_nm[{j}]");
            if self.indexing.order(j).is_none_or(|(n, _)| n > HIGHEST_ORDER) {
                let allowed = match self.indexing {
                    Indexing::Noll => "a Noll index from 1 to 861 (radial order 40)",
                    Indexing::Osa => "an OSA index from 0 to 860 (radial order 40)",
                    Indexing::Fringe => "a fringe index from 1 to 37",
                };
                findings.fault(&field, format!("index {j}"), allowed, "another indexing?");
            }
            findings.number(&field, height, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
        }
    }
}

/// Numbers as the keys of a table: files know only text there.
mod by_number {
    use std::collections::BTreeMap;

    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(terms: &BTreeMap<u32, f64>, to: S) -> Result<S::Ok, S::Error> {
        to.collect_map(terms.iter().map(|(j, height)| (j.to_string(), height)))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<BTreeMap<u32, f64>, D::Error> {
        let mut terms = BTreeMap::new();
        for (key, height) in BTreeMap::<String, f64>::deserialize(from)? {
            let number = key.parse().ok().filter(|j: &u32| j.to_string() == key);
            let j =
                number.ok_or_else(|| Error::custom(format!("'{key}' where the index of a term is meant")))?;
            terms.insert(j, height);
        }
        Ok(terms)
    }
}
