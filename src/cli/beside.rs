//! The files that most commands write beside their text: charts, pages, JSON and CSV.

use super::Failure;
use super::output::{self, Output, Target};
use crate::brief::ChartError;
use std::fmt::Display;
use std::path::{Path, PathBuf};

/// What a chart is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Picture {
    Svg,
    Png,
}

/// What a chart is written as, and where.
pub(super) fn picture(path: &Path) -> Result<(Picture, Target), Failure> {
    let target = Target::new(path);
    let picture = match (&target, target.extension().as_deref()) {
        (Target::Stdout, _) | (_, Some("svg")) => Picture::Svg,
        (_, Some("png")) if cfg!(feature = "png") => Picture::Png,
        (_, Some("png")) => {
            return Err(Failure::input(format!(
                "cannot write {}: this build has no PNG support",
                path.display()
            ))
            .hint("ask for .svg, or build with the feature png"));
        }
        _ => {
            return Err(Failure::input(format!(
                "--chart {}: a chart is .svg or .png",
                path.display()
            ))
            .hint("give the file one of these endings"));
        }
    };
    Ok((picture, target))
}

/// Where a page goes.
pub(super) fn page(path: &Path) -> Result<Target, Failure> {
    let target = Target::new(path);
    match (&target, target.extension().as_deref()) {
        (Target::Stdout, _) | (_, Some("html" | "htm")) => Ok(target),
        _ => Err(
            Failure::input(format!("--page {}: a page is .html", path.display()))
                .hint("give the file this ending; a browser prints it as PDF"),
        ),
    }
}

#[cfg(feature = "png")]
fn pixels(svg: &str) -> Result<Vec<u8>, Failure> {
    crate::brief::in_pixels(svg).map_err(Failure::bug)
}

#[cfg(not(feature = "png"))]
fn pixels(_: &str) -> Result<Vec<u8>, Failure> {
    Err(Failure::bug("a PNG was asked of a build without it"))
}

impl Picture {
    /// A drawing as this kind of file.
    pub(super) fn of(self, svg: Result<String, ChartError>) -> Result<Vec<u8>, Failure> {
        let svg = svg.map_err(Failure::bug)?;
        match self {
            Self::Svg => Ok(svg.into_bytes()),
            Self::Png => pixels(&svg),
        }
    }
}

/// What is asked for, path by path.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Asked<'a> {
    pub charts: &'a [PathBuf],
    pub pages: &'a [PathBuf],
    pub json: Option<&'a PathBuf>,
    pub csv: Option<&'a PathBuf>,
}

/// The same, known to be writable and filled in as the answer is told.
#[derive(Debug)]
pub(super) struct Beside {
    charts: Vec<Picture>,
    /// Pages, JSON and CSV that are asked for.
    others: [usize; 3],
    targets: Vec<Target>,
    outputs: Vec<Output>,
    /// In the order of the targets: charts, pages, JSON, CSV.
    contents: [Vec<Vec<u8>>; 4],
}

const PAGES: usize = 0;
const JSON: usize = 1;
const CSV: usize = 2;

impl Asked<'_> {
    /// Checks that all of it can be written, and that nothing writes over one of the files that are read.
    ///
    /// # Errors
    /// As [`output::open`], and an ending that says nothing.
    pub(super) fn open(self, inputs: &[&Path]) -> Result<Beside, Failure> {
        let mut charts = Vec::new();
        let mut targets = Vec::new();
        for path in self.charts {
            let (kind, target) = picture(path)?;
            charts.push(kind);
            targets.push(target);
        }
        for path in self.pages {
            targets.push(page(path)?);
        }
        let [json, csv] = [self.json, self.csv];
        targets.extend([json, csv].into_iter().flatten().map(|p| Target::new(p)));
        let outputs = output::open(&targets, inputs)?;
        Ok(Beside {
            charts,
            others: [
                self.pages.len(),
                usize::from(json.is_some()),
                usize::from(csv.is_some()),
            ],
            targets,
            outputs,
            contents: Default::default(),
        })
    }
}

impl Beside {
    /// The drawing, for each chart that is asked for.
    pub(super) fn chart(
        mut self,
        svg: impl Fn() -> Result<String, ChartError>,
    ) -> Result<Self, Failure> {
        for kind in &self.charts {
            self.contents[0].push(kind.of(svg())?);
        }
        Ok(self)
    }

    /// The page, if one is asked for.
    pub(super) fn page<E: Display>(
        self,
        text: impl FnOnce() -> Result<String, E>,
    ) -> Result<Self, Failure> {
        self.other(PAGES, || text().map(String::into_bytes))
    }

    /// The JSON, if it is asked for.
    pub(super) fn json<E: Display>(
        self,
        text: impl FnOnce() -> Result<String, E>,
    ) -> Result<Self, Failure> {
        self.other(JSON, || text().map(String::into_bytes))
    }

    /// The CSV, if it is asked for.
    pub(super) fn csv<E: Display>(
        self,
        bytes: impl FnOnce() -> Result<Vec<u8>, E>,
    ) -> Result<Self, Failure> {
        self.other(CSV, bytes)
    }

    fn other<E: Display>(
        mut self,
        kind: usize,
        bytes: impl FnOnce() -> Result<Vec<u8>, E>,
    ) -> Result<Self, Failure> {
        if self.others[kind] > 0 {
            self.contents[1 + kind] = vec![bytes().map_err(Failure::bug)?; self.others[kind]];
        }
        Ok(self)
    }

    /// Puts all files into place, then says the text; it goes to standard error when standard output is taken.
    ///
    /// # Errors
    /// A file cannot be written: then none is touched.
    pub(super) fn with_text(self, text: &str) -> Result<(), Failure> {
        output::commit(self.outputs, &self.contents.concat())?;
        output::talk(text, &self.targets)
    }
}
