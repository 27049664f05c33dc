//! Which stretch of time a chart shows.

use crate::trace::{Moment, Trace};
use timing_core::{EventKind, FeedStep};

/// A stretch of time, µs; `from_us < to_us` in every chart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Span {
    /// Its beginning, µs.
    pub from_us: u64,
    /// Its end, µs.
    pub to_us: u64,
}

impl Span {
    /// Its length, µs; at least 1.
    #[must_use]
    pub fn length_us(self) -> u64 {
        self.to_us.saturating_sub(self.from_us).max(1)
    }

    /// Whether `t_us` lies in it, both ends included.
    #[must_use]
    pub fn holds(self, t_us: u64) -> bool {
        (self.from_us..=self.to_us).contains(&t_us)
    }
}

/// What a chart shows: a heading, and the stretch of time, or `None` for the automatic choice of [`panels`].
#[derive(Clone, Debug, Default)]
pub struct View {
    /// One line above the chart, usually the job's title.
    pub title: String,
    /// The stretch of time asked for.
    pub span: Option<Span>,
}

/// One part of a chart: a stretch of time with its own axis.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Panel {
    /// What it shows, for people.
    pub caption: String,
    /// The stretch of time.
    pub span: Span,
}

/// Longest span of the automatic first panel, µs.
const FIRST_US: u64 = 30_000_000;

/// The panels that a chart shows: the span asked for, or else the first three cycles, and the surroundings of the first
/// fault if there is one.
#[must_use]
pub fn panels(trace: &Trace, asked: Option<Span>) -> Vec<Panel> {
    let end = trace.end_us.max(trace.moments.last().map_or(0, |m| m.t_us)).max(1);
    if let Some(span) = asked {
        let from = span.from_us.min(end.saturating_sub(1));
        let span = Span { from_us: from, to_us: span.to_us.clamp(from + 1, end.max(from + 1)) };
        return vec![Panel { caption: "The span asked for".to_owned(), span }];
    }
    let first = first_cycles(trace, end);
    let mut panels = vec![first];
    let fault = trace.events.iter().find(|(_, e)| e.kind == EventKind::Fault);
    if let Some((t, e)) = fault {
        let name = super::words::fault(e.detail);
        let span = Span {
            from_us: t.saturating_sub(3_000_000),
            to_us: (t + 2_000_000).min(end).max(t.saturating_sub(3_000_000) + 1),
        };
        panels.push(Panel { caption: format!("Around the first fault: {name}"), span });
    }
    panels
}

fn first_cycles(trace: &Trace, end: u64) -> Panel {
    let registered: Vec<u64> =
        trace.events.iter().filter(|(_, e)| e.kind == EventKind::Registered).map(|(t, _)| *t).take(4).collect();
    let Some(&first) = registered.first() else {
        let to_us = end.min(10_000_000);
        return Panel {
            caption: "The beginning; no bottle was registered".to_owned(),
            span: Span { from_us: 0, to_us },
        };
    };
    // From the release that let the first bottle go, with a little of the rest before it.
    let before = cut(&trace.moments, Span { from_us: 0, to_us: first });
    let opened = before.iter().rev().take_while(|m| m.feed == FeedStep::Releasing).last().map_or(first, |m| m.t_us);
    let from_us = opened.saturating_sub(400_000);
    let (caption, to_us) = match registered.get(3) {
        Some(&fourth) => ("The first three cycles", fourth + 300_000),
        None => ("The first cycles", end),
    };
    let to_us = to_us.min(end).min(from_us + FIRST_US).max(from_us + 1);
    Panel { caption: caption.to_owned(), span: Span { from_us, to_us } }
}

/// The moments that hold within `span`: the one in force at its beginning, and all that follow until its end.
#[must_use]
pub fn cut(moments: &[Moment], span: Span) -> &[Moment] {
    let first = moments.partition_point(|m| m.t_us <= span.from_us).saturating_sub(1);
    let last = moments.partition_point(|m| m.t_us <= span.to_us);
    moments.get(first..last.max(first)).unwrap_or(&[])
}

/// Ticks of a time axis: about one per 70 units over `width`, at 1, 2 or 5 times a power of ten, with labels in seconds.
pub(crate) fn ticks(span: Span, width: f64) -> Vec<(u64, String)> {
    let wish = span.length_us() as f64 / (width / 70.0).max(1.0);
    let mut step: u64 = 1;
    'found: loop {
        for k in [1, 2, 5] {
            if (step * k) as f64 >= wish {
                step *= k;
                break 'found;
            }
        }
        step *= 10;
    }
    let places = match step {
        1_000_000.. => 0,
        100_000.. => 1,
        10_000.. => 2,
        1_000.. => 3,
        100.. => 4,
        10.. => 5,
        _ => 6,
    };
    let first = span.from_us.div_ceil(step);
    (first..=span.to_us / step)
        .map(|i| {
            let t = i * step;
            (t, seconds(t, places))
        })
        .collect()
}

/// Microseconds as seconds with `places` digits after the point, rounded down.
pub(crate) fn seconds(t_us: u64, places: u32) -> String {
    let (whole, rest) = (t_us / 1_000_000, t_us % 1_000_000);
    if places == 0 {
        return whole.to_string();
    }
    let digits = format!("{rest:06}");
    format!("{whole}.{}", digits.get(..places as usize).unwrap_or(&digits))
}

/// From a time to an x of the drawing.
#[derive(Clone, Copy)]
pub(crate) struct TimeScale {
    pub(crate) span: Span,
    pub(crate) left: f64,
    pub(crate) width: f64,
}

impl TimeScale {
    /// The x of `t_us`, kept within the plot.
    pub(crate) fn x(&self, t_us: u64) -> f64 {
        self.x_of(t_us as f64).clamp(self.left, self.left + self.width)
    }

    /// The x of `t_us`, wherever it is.
    pub(crate) fn x_of(&self, t_us: f64) -> f64 {
        self.left + (t_us - self.span.from_us as f64) / self.span.length_us() as f64 * self.width
    }

    /// Microseconds per unit of the drawing.
    pub(crate) fn us_per_unit(&self) -> f64 {
        self.span.length_us() as f64 / self.width
    }

    pub(crate) fn right(&self) -> f64 {
        self.left + self.width
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_in_the_span_and_not_too_many() {
        for (from, to) in [(0, 10_000_000), (1_234_567, 1_244_567), (5, 25), (0, 28_800_000_000)] {
            let span = Span { from_us: from, to_us: to };
            let ticks = ticks(span, 700.0);
            assert!((2..=11).contains(&ticks.len()), "{span:?}: {ticks:?}");
            assert!(ticks.iter().all(|(t, _)| span.holds(*t)));
            let mut labels: Vec<&String> = ticks.iter().map(|(_, l)| l).collect();
            labels.dedup();
            assert_eq!(labels.len(), ticks.len(), "labels must differ: {ticks:?}");
        }
    }

    #[test]
    fn an_empty_trace_still_has_a_panel() {
        let p = panels(&Trace::default(), None);
        assert_eq!(p.len(), 1);
        assert!(p.iter().all(|p| p.span.from_us < p.span.to_us));
        let p = panels(&Trace::default(), Some(Span { from_us: 9, to_us: 3 }));
        assert!(p.iter().all(|p| p.span.from_us < p.span.to_us));
    }
}
