//! Which faces of a plan are written where, and each face as bytes.

use super::PlanArgs;
use crate::brief::{self, Figures, Stops};
use crate::cli::Failure;
use crate::cli::beside::{Picture, page, picture};
use crate::cli::output::Target;
use jiff::tz::TimeZone;
use std::path::Path;

/// What a card is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Card {
    Html,
    Text,
    Markdown,
}

/// What a card is written as, and where.
fn card(path: &Path) -> Result<(Card, Target), Failure> {
    let target = Target::new(path);
    let card = match (&target, target.extension().as_deref()) {
        (Target::Stdout, _) | (_, Some("txt")) => Card::Text,
        (_, Some("html")) => Card::Html,
        (_, Some("md")) => Card::Markdown,
        _ => {
            return Err(Failure::input(format!(
                "--card {}: a card is .html, .txt or .md",
                path.display()
            ))
            .hint("give the file one of these endings"));
        }
    };
    Ok((card, target))
}

/// One answer besides the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Face {
    Chart(Picture),
    Card(Card),
    Page,
    Json,
    Csv,
    CsvSegments,
    Gpx,
    Kml,
    FitRows,
}

impl Face {
    /// Whether it shows the descent begun late or early, which is flown for it.
    pub(super) fn tells_late(self) -> bool {
        matches!(self, Self::Card(_) | Self::Page | Self::Json)
    }

    /// Whether a program reads it: every figure has its unit in its key, whatever units the sheet is in.
    pub(super) fn is_keyed(self) -> bool {
        matches!(
            self,
            Self::Json | Self::Csv | Self::CsvSegments | Self::FitRows
        )
    }
}

/// Arguments checked.
#[derive(Debug)]
pub(super) struct Options {
    pub(super) faces: Vec<(Face, Target)>,
    /// Times are shown in this zone as well.
    pub(super) zone: Option<TimeZone>,
}

/// A time zone by its name.
fn zone(name: &str) -> Result<TimeZone, Failure> {
    TimeZone::get(name).map_err(|_| {
        Failure::input(format!(
            "--zone {name}: there is no such zone in the time zone database"
        ))
        .hint("names are like America/Boise, Europe/Berlin or UTC")
    })
}

impl Options {
    pub(super) fn new(args: &PlanArgs) -> Result<Self, Failure> {
        let mut faces = Vec::new();
        for path in &args.chart {
            let (picture, target) = picture(path)?;
            faces.push((Face::Chart(picture), target));
        }
        for path in &args.card {
            let (card, target) = card(path)?;
            faces.push((Face::Card(card), target));
        }
        for path in &args.page {
            faces.push((Face::Page, page(path)?));
        }
        for (face, path) in [
            (Face::Json, &args.json),
            (Face::Csv, &args.csv),
            (Face::CsvSegments, &args.csv_segments),
            (Face::Gpx, &args.gpx),
            (Face::Kml, &args.kml),
            (Face::FitRows, &args.fit_rows),
        ] {
            faces.extend(path.iter().map(|p| (face, Target::new(p))));
        }
        if args.frontier
            && !faces
                .iter()
                .any(|(f, _)| matches!(f, Face::Page | Face::Json))
        {
            return Err(Failure::input(
                "--frontier adds to the page and to the JSON, and neither is asked for",
            )
            .hint("give --page or --json, or use fellrun frontier"));
        }
        let zone = args.zone.as_deref().map(zone).transpose()?;
        Ok(Self { faces, zone })
    }
}

pub(super) fn face(
    face: Face,
    figures: &Figures,
    stops: Option<&Stops>,
) -> Result<Vec<u8>, Failure> {
    match face {
        Face::Chart(picture) => picture.of(brief::svg(figures)),
        Face::Card(Card::Html) => Ok(brief::card_html(figures).into_bytes()),
        Face::Card(Card::Text) => Ok(brief::card_text(figures).into_bytes()),
        Face::Card(Card::Markdown) => Ok(brief::card_markdown(figures).into_bytes()),
        Face::Page => brief::page(figures, stops)
            .map(String::into_bytes)
            .map_err(Failure::bug),
        Face::Json => brief::json(figures)
            .map(String::into_bytes)
            .map_err(Failure::bug),
        Face::Csv => brief::track_csv(figures).map_err(Failure::bug),
        Face::CsvSegments => brief::segments_csv(figures).map_err(Failure::bug),
        Face::Gpx => brief::gpx(figures)
            .map(String::into_bytes)
            .map_err(Failure::bug),
        Face::Kml => brief::kml(figures)
            .map(String::into_bytes)
            .map_err(Failure::bug),
        Face::FitRows => fit_rows(figures),
    }
}

/// The rows for `fit`, of which there must be one.
fn fit_rows(figures: &Figures) -> Result<Vec<u8>, Failure> {
    let Some(flown) = &figures.as_flown else {
        return Err(Failure::bug("rows for fit were asked of no notes"));
    };
    if flown.fit_rows.is_empty() {
        let each: Vec<&str> = flown.no_fit_row.iter().map(|s| s.text.as_str()).collect();
        return Err(Failure::input(format!(
            "--fit-rows: no note gives a row: {}",
            each.join("; ")
        ))
        .hint(
            "note altitude_ft, oat_c, map_inhg, rpm, mixture, and ias_kt or fuel_flow_gph, at a place on the way or at TOD",
        ));
    }
    brief::fit_rows_csv(flown).map_err(Failure::bug)
}
