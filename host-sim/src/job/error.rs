//! Everything that is wrong with a job file: each fault with its place, what is wrong, and how to mend it.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use core::fmt;
use core::ops::Range;

/// Width in columns to which errors are drawn, on every terminal, so that they read the same everywhere.
const WIDTH: usize = 100;

/// A file that was read: its name as people know it, and its text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Source {
    pub(super) name: String,
    pub(super) text: String,
}

/// A stretch of a source, in bytes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) source: usize,
    pub(super) span: Range<usize>,
}

/// What sort of mistake it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mistake {
    /// A file cannot be read.
    File,
    /// The text is not TOML; a key given twice is here, too.
    Syntax,
    /// A key is not known.
    UnknownKey,
    /// A key that must be given is not there.
    Missing,
    /// A value that a survey left blank, `"?"`.
    Blank,
    /// A value has the wrong type: text for a number, a table for a text.
    Type,
    /// A value has no unit, a unit of something else, or does not begin with a number.
    Unit,
    /// A value lies outside its range.
    Range,
    /// A word is none of those taken here.
    Word,
    /// Two values contradict each other.
    Contradiction,
}

impl Mistake {
    /// A word for machines; it never changes meaning.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::File => "file",
            Self::Syntax => "syntax",
            Self::UnknownKey => "unknown key",
            Self::Missing => "missing",
            Self::Blank => "blank",
            Self::Type => "type",
            Self::Unit => "unit",
            Self::Range => "range",
            Self::Word => "word",
            Self::Contradiction => "contradiction",
        }
    }
}

/// One thing that is wrong with a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobError {
    /// What sort of mistake it is.
    pub mistake: Mistake,
    /// The file it stands in, as named on the command line or in the job.
    pub file: String,
    /// Line, from 1.
    pub line: usize,
    /// Column, in characters, from 1.
    pub column: usize,
    /// The key with its tables, "machine.grip.latency"; empty where no key is to blame.
    pub key: String,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
    pub(super) place: Place,
    /// The other sides of a contradiction, each with what stands there.
    pub(super) also: Vec<(Place, String)>,
}

/// Everything that is wrong with a job, at once, in the order of files and lines.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobErrors {
    errors: Vec<JobError>,
    sources: Vec<Source>,
}

impl JobErrors {
    pub(super) fn new(mut errors: Vec<JobError>, sources: Vec<Source>) -> Self {
        errors.sort_by_key(|e| (e.place.source, e.place.span.start, e.mistake));
        Self { errors, sources }
    }

    /// The errors, in the order of files and lines.
    #[must_use]
    pub fn all(&self) -> &[JobError] {
        &self.errors
    }

    fn snippet<'a>(
        &'a self,
        place: &Place,
        kind: AnnotationKind,
        label: &'a str,
    ) -> Option<Snippet<'a, annotate_snippets::Annotation<'a>>> {
        let source = self.sources.get(place.source)?;
        Some(
            Snippet::source(source.text.as_str())
                .path(source.name.as_str())
                .annotation(kind.span(place.span.clone()).label(label)),
        )
    }

    fn draw(&self, e: &JobError, renderer: &Renderer) -> String {
        let title = if e.key.is_empty() { e.what.clone() } else { format!("{}: {}", e.key, e.what) };
        let mut group = Group::with_title(Level::ERROR.primary_title(title.as_str()));
        let readable = self.sources.get(e.place.source).is_some_and(|s| !s.text.is_empty());
        // All sides of a contradiction that stand in the same file share one picture.
        let mut others: Vec<&(Place, String)> = e.also.iter().collect();
        if readable && let Some(mut snippet) = self.snippet(&e.place, AnnotationKind::Primary, "here") {
            others.retain(|(place, label)| {
                if place.source != e.place.source {
                    return true;
                }
                let span = AnnotationKind::Context.span(place.span.clone()).label(label.as_str());
                snippet = core::mem::replace(&mut snippet, Snippet::source("")).annotation(span);
                false
            });
            group = group.element(snippet);
        } else {
            group = group.element(annotate_snippets::Origin::path(e.file.as_str()));
        }
        for (place, label) in others {
            if let Some(snippet) = self.snippet(place, AnnotationKind::Context, label) {
                group = group.element(snippet);
            }
        }
        // The renderer trims code to the width, and leaves words to us; "help: " and the margin take a dozen columns.
        let mend = textwrap::fill(&e.mend, WIDTH - 12);
        group = group.element(Level::HELP.message(mend.as_str()));
        renderer.render(&[group])
    }
}

impl fmt::Display for JobErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let renderer = Renderer::plain().term_width(WIDTH);
        for e in &self.errors {
            writeln!(f, "{}\n", self.draw(e, &renderer))?;
        }
        let n = self.errors.len();
        write!(f, "{n} mistake{} in the job", if n == 1 { "" } else { "s" })
    }
}

impl core::error::Error for JobErrors {}

/// Line and column, from 1, of a byte in a text.
pub(super) fn line_column(text: &str, at: usize) -> (usize, usize) {
    let before = text.get(..at.min(text.len())).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let column = before.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (line, column)
}
