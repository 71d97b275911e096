//! The route and the flown path as GPX 1.1 (topografix.com/GPX/1/1): heights are true altitude in metres, times are planned ones.

use super::marks::metres;
use super::xml::{Xml, document, leaf, legal};
use super::{Figures, MarkFigures, Point, TITLE};
use std::io;

/// Namespace of the format.
const NAMESPACE: &str = "http://www.topografix.com/GPX/1/1";
/// Where its schema is.
const SCHEMA: &str = "http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd";

/// One point, with what stands in it.
fn point(
    xml: &mut Xml,
    name: &str,
    (latitude_deg, longitude_deg): (f64, f64),
    within: impl FnOnce(&mut Xml) -> io::Result<()>,
) -> io::Result<()> {
    let (lat, lon) = (latitude_deg.to_string(), longitude_deg.to_string());
    xml.create_element(name)
        .with_attributes([("lat", lat.as_str()), ("lon", lon.as_str())])
        .write_inner_content(within)?;
    Ok(())
}

fn mark(xml: &mut Xml, name: &str, m: &MarkFigures) -> io::Result<()> {
    point(xml, name, (m.latitude_deg, m.longitude_deg), |xml| {
        leaf(xml, "ele", &metres(m.true_altitude_ft))?;
        leaf(xml, "time", &m.time_utc)?;
        leaf(xml, "name", &m.name)?;
        leaf(xml, "desc", &m.text)?;
        leaf(xml, "type", m.kind)
    })
}

fn track_point(xml: &mut Xml, p: &Point) -> io::Result<()> {
    point(xml, "trkpt", (p.latitude_deg, p.longitude_deg), |xml| {
        leaf(xml, "ele", &metres(p.true_altitude_ft))?;
        leaf(xml, "time", &p.time_utc)
    })
}

/// The plan as GPX: the marks as waypoints and as a route, and the path as a track.
///
/// # Errors
/// Only if the text cannot be put together, which would be our bug.
pub fn gpx(figures: &Figures) -> io::Result<String> {
    let name = legal(&format!("{}: {}", figures.trip.name, figures.route()));
    let caution = format!("{TITLE}. {}", figures.cautions.join(" "));
    document(|xml| {
        xml.create_element("gpx")
            .with_attributes([
                ("version", "1.1"),
                ("creator", "fellrun"),
                ("xmlns", NAMESPACE),
                ("xmlns:xsi", "http://www.w3.org/2001/XMLSchema-instance"),
                ("xsi:schemaLocation", SCHEMA),
            ])
            .write_inner_content(|xml| {
                xml.create_element("metadata").write_inner_content(|xml| {
                    leaf(xml, "name", &name)?;
                    leaf(xml, "desc", &caution)
                })?;
                for m in &figures.marks {
                    mark(xml, "wpt", m)?;
                }
                xml.create_element("rte").write_inner_content(|xml| {
                    leaf(xml, "name", &name)?;
                    leaf(xml, "desc", &figures.in_one_line)?;
                    figures.marks.iter().try_for_each(|m| mark(xml, "rtept", m))
                })?;
                xml.create_element("trk").write_inner_content(|xml| {
                    leaf(xml, "name", &name)?;
                    leaf(xml, "desc", "the path as planned, true altitude")?;
                    xml.create_element("trkseg").write_inner_content(|xml| {
                        figures.track.iter().try_for_each(|p| track_point(xml, p))
                    })?;
                    Ok(())
                })?;
                Ok(())
            })?;
        Ok(())
    })
}
