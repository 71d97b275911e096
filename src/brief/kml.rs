//! The flown path in three dimensions as KML 2.2 (Open Geospatial Consortium 07-147r2): heights are true altitude in metres.

use super::marks::metres;
use super::wording::name_of;
use super::words::{feet, inches, number, revs};
use super::xml::{Xml, document, leaf, legal};
use super::{Figures, MarkFigures, Point, SegmentFigures, TITLE};
use std::io;

/// Namespace of the format.
const NAMESPACE: &str = "http://www.opengis.net/kml/2.2";
/// Styles of the path: name, line, and the curtain below it; colours are alpha, blue, green, red.
const STYLES: [(&str, &str, &str); 3] = [
    ("climb", "ff2b5a8a", "502b5a8a"),
    ("cruise", "ff3a2b1d", "503a2b1d"),
    ("descent", "ff8f6f2f", "508f6f2f"),
];
/// Style of the points.
const MARK_STYLE: &str = "mark";

fn coordinate(p: &Point) -> String {
    format!(
        "{},{},{}",
        p.longitude_deg,
        p.latitude_deg,
        metres(p.true_altitude_ft)
    )
}

/// What stands between a geometry's tags: the curtain to the ground, the height, the coordinates.
fn geometry(xml: &mut Xml, name: &str, coordinates: &str) -> io::Result<()> {
    xml.create_element(name).write_inner_content(|xml| {
        leaf(xml, "extrude", "1")?;
        leaf(xml, "altitudeMode", "absolute")?;
        leaf(xml, "coordinates", coordinates)
    })?;
    Ok(())
}

fn placemark(
    xml: &mut Xml,
    (name, text, style): (&str, &str, &str),
    (kind, coordinates): (&str, &str),
) -> io::Result<()> {
    xml.create_element("Placemark").write_inner_content(|xml| {
        leaf(xml, "name", name)?;
        leaf(xml, "description", text)?;
        leaf(xml, "styleUrl", &format!("#{style}"))?;
        geometry(xml, kind, coordinates)
    })?;
    Ok(())
}

/// One segment with its part of the track, up to where the next begins.
fn segment(xml: &mut Xml, s: &SegmentFigures, track: &[Point], fixed: bool) -> io::Result<()> {
    let points = track.iter().filter(|t| t.segment == s.start.segment);
    let mut coordinates: Vec<String> = points.chain([&s.end]).map(coordinate).collect();
    coordinates.dedup();
    if let [one] = coordinates.as_slice() {
        // a line has two ends, if at one place
        let same = one.clone();
        coordinates.push(same);
    }
    let (a, b) = (&s.start, &s.end);
    let style = match s.kind {
        "cruise" => "cruise",
        _ if b.true_altitude_ft > a.true_altitude_ft => "climb",
        _ => "descent",
    };
    let map = if fixed {
        String::new()
    } else {
        format!("{} in / ", inches(a.map_inhg))
    };
    let text = format!(
        "{} to {} ft, {map}{} rpm, {} min",
        feet(a.indicated_altitude_ft),
        feet(b.indicated_altitude_ft),
        revs(a.rpm),
        number(s.time_min, 1)
    );
    placemark(
        xml,
        (name_of(s.kind), &text, style),
        ("LineString", &coordinates.join(" ")),
    )
}

fn mark(xml: &mut Xml, m: &MarkFigures) -> io::Result<()> {
    let text = format!(
        "{}; {} ft, {} nm along, {}",
        m.text,
        feet(m.indicated_altitude_ft),
        number(m.distance_nm, 1),
        m.time_utc
    );
    let coordinates = format!(
        "{},{},{}",
        m.longitude_deg,
        m.latitude_deg,
        metres(m.true_altitude_ft)
    );
    placemark(xml, (&m.name, &text, MARK_STYLE), ("Point", &coordinates))
}

fn styles(xml: &mut Xml) -> io::Result<()> {
    let style = |xml: &mut Xml, id: &str, within: &dyn Fn(&mut Xml) -> io::Result<()>| {
        xml.create_element("Style")
            .with_attribute(("id", id))
            .write_inner_content(|xml| within(xml))
            .map(|_| ())
    };
    let coloured = |xml: &mut Xml, name: &str, colour: &str, width: Option<&str>| {
        xml.create_element(name)
            .write_inner_content(|xml| {
                leaf(xml, "color", colour)?;
                width.map_or(Ok(()), |w| leaf(xml, "width", w))
            })
            .map(|_| ())
    };
    for (id, line, curtain) in STYLES {
        style(xml, id, &|xml| {
            coloured(xml, "LineStyle", line, Some("3"))?;
            coloured(xml, "PolyStyle", curtain, None)
        })?;
    }
    style(xml, MARK_STYLE, &|xml| {
        coloured(xml, "LineStyle", "ff3a2b1d", Some("1"))
    })
}

/// The plan as KML: the path segment by segment with a curtain to the ground, and the marks.
///
/// # Errors
/// Only if the text cannot be put together, which would be our bug.
pub fn kml(figures: &Figures) -> io::Result<String> {
    let name = legal(&format!("{}: {}", figures.trip.name, figures.route()));
    let text = format!(
        "{}. {TITLE}. {}",
        figures.in_one_line,
        figures.cautions.join(" ")
    );
    let fixed = figures.trip.fixed_pitch;
    document(|xml| {
        xml.create_element("kml")
            .with_attribute(("xmlns", NAMESPACE))
            .write_inner_content(|xml| {
                xml.create_element("Document").write_inner_content(|xml| {
                    leaf(xml, "name", &name)?;
                    leaf(xml, "description", &text)?;
                    styles(xml)?;
                    xml.create_element("Folder").write_inner_content(|xml| {
                        leaf(xml, "name", "Path")?;
                        let mut all = figures.segments.iter();
                        all.try_for_each(|s| segment(xml, s, &figures.track, fixed))
                    })?;
                    xml.create_element("Folder").write_inner_content(|xml| {
                        leaf(xml, "name", "Points")?;
                        figures.marks.iter().try_for_each(|m| mark(xml, m))
                    })?;
                    Ok(())
                })?;
                Ok(())
            })?;
        Ok(())
    })
}
