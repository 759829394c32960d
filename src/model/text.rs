//! Trains as text: JSON and TOML, and files of either.

use std::path::Path;

use serde::de::DeserializeOwned;
use serde_path_to_error as located;

use super::train::{Train, TrainBuilder};
use crate::error::{Error, Result};

/// Whether a number is its default, so that files leave it out; -0 is kept, so that it comes back bit for bit.
pub(super) fn is_zero(value: &f64) -> bool {
    value.to_bits() == 0
}

impl Train {
    /// The train as JSON, every number written so that it comes back bit for bit.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(0.1 + 0.2, FocalLengthMm(1.0))).build()?;
    /// assert_eq!(Train::from_json(&train.to_json())?, train);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn to_json(&self) -> String {
        serde_json::to_string_pretty(self)
            .unwrap_or_else(|_| unreachable!("a checked train holds finite numbers"))
    }

    /// A train from JSON.
    ///
    /// Errors: [`Error::Unreadable`] where the text is no train (with the field or line; unknown
    /// keys included), [`Error::Input`] with every fault of a train that cannot be.
    ///
    /// ```
    /// let error = catoptric::Train::from_json(r#"{"primary": {"aperture": 318}}"#).unwrap_err();
    /// assert!(error.to_string().contains("aperture"));
    /// ```
    pub fn from_json(text: &str) -> Result<Self> {
        from_json::<TrainBuilder>("a train's JSON", text)?.build()
    }

    /// The train as TOML, every number written so that it comes back bit for bit.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// assert_eq!(Train::from_toml(&train.to_toml())?, train);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn to_toml(&self) -> String {
        toml::to_string(self).unwrap_or_else(|_| unreachable!("a train is made of tables and numbers"))
    }

    /// A train from TOML.
    ///
    /// Errors: as [`Train::from_json`].
    ///
    /// ```
    /// let train = catoptric::Train::from_toml("primary = { clear_aperture_mm = 200, focal_length_mm = 1200 }")?;
    /// assert_eq!(train.primary().conic, -1.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn from_toml(text: &str) -> Result<Self> {
        let unreadable =
            |place: String, message: String| Error::Unreadable { what: "a train's TOML", place, message };
        let reader = toml::Deserializer::parse(text)
            .map_err(|e| unreadable("the whole text".to_owned(), e.to_string()))?;
        let parts: TrainBuilder = located::deserialize(reader)
            .map_err(|e| unreadable(e.path().to_string(), e.inner().message().to_owned()))?;
        parts.build()
    }

    /// Reads a train from a file whose name ends in `.json` or `.toml`.
    ///
    /// Errors: [`Error::File`], and those of [`Train::from_json`].
    ///
    /// ```
    /// assert!(matches!(catoptric::Train::load("nowhere.toml"), Err(catoptric::Error::File { .. })));
    /// ```
    pub fn load(path: impl AsRef<Path>) -> Result<Self> {
        let path = path.as_ref();
        let read = read_text(path)?;
        match ending(path)? {
            Ending::Json => Self::from_json(&read),
            Ending::Toml => Self::from_toml(&read),
        }
    }

    /// Writes the train to a file whose name ends in `.json` or `.toml`.
    ///
    /// Errors: [`Error::File`].
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
    /// assert!(train.save("train.odt").is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn save(&self, path: impl AsRef<Path>) -> Result<()> {
        let path = path.as_ref();
        let text = match ending(path)? {
            Ending::Json => self.to_json(),
            Ending::Toml => self.to_toml(),
        };
        std::fs::write(path, text).map_err(|e| file_error(path, &e))
    }
}

/// Deserialises JSON and says which field a complaint is about.
pub(crate) fn from_json<T: DeserializeOwned>(what: &'static str, text: &str) -> Result<T> {
    let reader = &mut serde_json::Deserializer::from_str(text);
    let value = located::deserialize(&mut *reader).map_err(|e| Error::Unreadable {
        what,
        place: e.path().to_string(),
        message: e.inner().to_string(),
    })?;
    let place = "the end of the text".to_owned();
    reader.end().map_err(|e| Error::Unreadable { what, place, message: e.to_string() })?;
    Ok(value)
}

/// The text of a file.
pub(crate) fn read_text(path: &Path) -> Result<String> {
    std::fs::read_to_string(path).map_err(|e| file_error(path, &e))
}

enum Ending {
    Json,
    Toml,
}

fn ending(path: &Path) -> Result<Ending> {
    match path.extension().and_then(|e| e.to_str()) {
        Some("json") => Ok(Ending::Json),
        Some("toml") => Ok(Ending::Toml),
        _ => Err(Error::input("path", path.display(), "a name that ends in .json or .toml", "")),
    }
}

fn file_error(path: &Path, error: &std::io::Error) -> Error {
    Error::File { path: path.display().to_string(), kind: error.kind(), message: error.to_string() }
}
