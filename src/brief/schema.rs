//! The JSON Schemas (draft 2020-12, json-schema.org) of what the commands write as JSON, made from the types that are written.

use super::json::pretty;
use super::{
    CompareFigures, Figures, FrontierFigures, GlideFigures, SeasonFigures, SettingsFigures,
    SpreadFigures, WindsFigures,
};
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};

/// A kind of JSON that a command writes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Document {
    /// A plan.
    Plan,
    /// Winds of a trip.
    Winds,
    /// Power settings.
    Settings,
    /// The glide.
    Glide,
    /// Fuel against time.
    Frontier,
    /// How sure a plan is.
    Spread,
    /// One trip by several aircraft.
    Compare,
    /// A year of trips.
    Season,
}

impl Document {
    /// Every one.
    pub const ALL: [Self; 8] = [
        Self::Plan,
        Self::Winds,
        Self::Settings,
        Self::Glide,
        Self::Frontier,
        Self::Spread,
        Self::Compare,
        Self::Season,
    ];

    /// The command that writes it.
    pub const fn command(self) -> &'static str {
        match self {
            Self::Plan => "plan",
            Self::Winds => "winds",
            Self::Settings => "settings",
            Self::Glide => "glide",
            Self::Frontier => "frontier",
            Self::Spread => "spread",
            Self::Compare => "compare",
            Self::Season => "season",
        }
    }
}

/// An object has the keys described and no other.
fn close(schema: &mut Schema) {
    if schema.get("properties").is_some() {
        schema.insert("additionalProperties".to_owned(), false.into());
    }
}

fn schema_of<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12()
        .for_serialize()
        .with_transform(RecursiveTransform(close))
        .into_generator()
        .into_root_schema_for::<T>()
}

/// The schema, pretty-printed, a newline at the end.
///
/// # Errors
/// Only if it cannot be written as JSON, which would be our bug.
pub fn schema(document: Document) -> Result<String, serde_json::Error> {
    let mut schema = match document {
        Document::Plan => schema_of::<Figures>(),
        Document::Winds => schema_of::<WindsFigures>(),
        Document::Settings => schema_of::<SettingsFigures>(),
        Document::Glide => schema_of::<GlideFigures>(),
        Document::Frontier => schema_of::<FrontierFigures>(),
        Document::Spread => schema_of::<SpreadFigures>(),
        Document::Compare => schema_of::<CompareFigures>(),
        Document::Season => schema_of::<SeasonFigures>(),
    };
    schema.insert(
        "title".to_owned(),
        format!("fellrun {} --json", document.command()).into(),
    );
    pretty(&schema)
}
