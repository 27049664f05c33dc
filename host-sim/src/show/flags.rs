//! What both charts share: fault flags that never overlap, numbered circles, and the time axis.

use super::span::{Panel, TimeScale, ticks};
use super::svg::{Anchor, Canvas, GRID, INK, MID, TROUBLE, text_width};
use crate::trace::Trace;
use timing_core::EventKind;

/// Size of flag and axis labels.
pub(crate) const LABEL: f64 = 11.5;
const ROW: f64 = 18.0;
const ROWS: usize = 4;

/// One flag: where its pole stands, where its text begins, in which row.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Flag {
    pub(crate) x: f64,
    pub(crate) left: f64,
    pub(crate) width: f64,
    pub(crate) row: usize,
    pub(crate) text: String,
}

/// The flags of a panel, and how many faults found no room for their names.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Flags {
    pub(crate) flags: Vec<Flag>,
    pub(crate) poles: Vec<f64>,
    pub(crate) unnamed: usize,
}

impl Flags {
    /// Places the names of the panel's faults, each in the first row where it overlaps none.
    pub(crate) fn place(trace: &Trace, scale: &TimeScale) -> Self {
        let mut out = Self::default();
        let mut ends: Vec<Vec<(f64, f64)>> = vec![Vec::new(); ROWS];
        let first = trace.events.partition_point(|(t, _)| *t < scale.span.from_us);
        let here = trace.events.iter().skip(first).take_while(|(t, _)| *t <= scale.span.to_us);
        for (t, e) in here.filter(|(_, e)| e.kind == EventKind::Fault) {
            let x = scale.x(*t);
            if out.poles.last().is_none_or(|p| (x - p).abs() > 0.5) {
                out.poles.push(x);
            }
            let text = super::words::fault(e.detail);
            // Bold runs wider.
            let width = text_width(&text, LABEL) * 1.1 + 12.0;
            let left = if x + width > scale.right() { (x - width).max(scale.left) } else { x };
            let free = ends.iter().position(|row| row.iter().all(|(l, r)| left > r + 3.0 || left + width < l - 3.0));
            match free.and_then(|row| ends.get_mut(row).map(|r| (row, r))) {
                Some((row, taken)) => {
                    taken.push((left, left + width));
                    out.flags.push(Flag { x, left, width, row, text });
                }
                None => out.unnamed += 1,
            }
        }
        out
    }

    /// Height that the rows take.
    pub(crate) fn height(&self) -> f64 {
        self.flags.iter().map(|f| f.row + 1).max().map_or(0.0, |rows| rows as f64 * ROW + 4.0)
    }

    /// Draws poles down to `bottom` and flags from `top`.
    pub(crate) fn draw(&self, c: &mut Canvas, top: f64, bottom: f64) {
        for &x in &self.poles {
            c.line(x, top, x, bottom, &format!("stroke=\"{TROUBLE}\" stroke-width=\"1.6\" stroke-dasharray=\"7 3\""));
        }
        for f in &self.flags {
            let y = top + f.row as f64 * ROW;
            c.rect(
                f.left,
                y,
                f.width,
                ROW - 3.0,
                &format!("fill=\"#ffffff\" stroke=\"{TROUBLE}\" stroke-width=\"1.6\""),
            );
            c.text(f.left + 6.0, y + 11.5, LABEL, Anchor::Start, "font-weight=\"bold\" class=\"fault\"", &f.text);
        }
    }

    /// A remark for the panel's heading, or nothing.
    pub(crate) fn remark(&self) -> String {
        match self.unnamed {
            0 => String::new(),
            n => format!(" — {n} more faults here are listed in events.csv"),
        }
    }
}

/// A panel's heading: number, caption and remark.
pub(crate) fn heading(c: &mut Canvas, x: f64, y: f64, panel: &Panel, remark: &str) {
    c.text(x, y, 13.0, Anchor::Start, "font-weight=\"bold\"", &format!("{}{remark}", panel.caption));
}

/// Vertical grid lines from `top` to `bottom`, and the labelled axis below.
pub(crate) fn grid(c: &mut Canvas, scale: &TimeScale, top: f64, bottom: f64) {
    for (t, _) in ticks(scale.span, scale.width) {
        let x = scale.x(t);
        c.line(x, top, x, bottom, &format!("stroke=\"{GRID}\" stroke-width=\"1\""));
    }
}

/// The axis at `y`; returns the y below it.
pub(crate) fn axis(c: &mut Canvas, scale: &TimeScale, y: f64) -> f64 {
    c.line(scale.left, y, scale.right(), y, &format!("stroke=\"{INK}\" stroke-width=\"1.2\""));
    for (t, label) in ticks(scale.span, scale.width) {
        let x = scale.x(t);
        c.line(x, y, x, y + 5.0, &format!("stroke=\"{INK}\" stroke-width=\"1.2\""));
        let half = text_width(&label, LABEL) / 2.0;
        c.text(x.min(scale.right() + 18.0 - half), y + 17.0, LABEL, Anchor::Middle, "", &label);
    }
    c.text(scale.left - 30.0, y + 17.0, LABEL, Anchor::End, &format!("fill=\"{MID}\""), "time, s");
    y + 26.0
}

/// A bottle's number in a circle.
pub(crate) fn number(c: &mut Canvas, x: f64, y: f64, n: i64) {
    let text = n.to_string();
    let half = (text_width(&text, LABEL) / 2.0 + 3.0).max(8.5);
    c.rect(
        x - half,
        y - 8.5,
        2.0 * half,
        17.0,
        &format!("rx=\"8.5\" fill=\"#ffffff\" stroke=\"{INK}\" stroke-width=\"1.2\""),
    );
    c.text(x, y + 4.0, LABEL, Anchor::Middle, "font-weight=\"bold\"", &text);
}

/// Half the width of [`number`].
pub(crate) fn number_half(n: i64) -> f64 {
    (text_width(&n.to_string(), LABEL) / 2.0 + 3.0).max(8.5)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::show::span::Span;
    use timing_core::{Actuator, Event, Fault, Why};

    #[test]
    fn names_of_faults_at_one_time_go_into_rows_and_the_rest_is_counted() {
        let scale = TimeScale { span: Span { from_us: 0, to_us: 1_000_000 }, left: 100.0, width: 800.0 };
        let code = Fault::StrokeOverdue(Actuator::Plunger).code();
        let fault = |t| (t, Event { kind: EventKind::Fault, why: Why::Fault, detail: code, value: 0 });
        let trace = Trace { events: (0..9).map(|i| fault(990_000 + i * 1_000)).collect(), ..Trace::default() };
        let flags = Flags::place(&trace, &scale);
        assert_eq!((flags.flags.len(), flags.unnamed), (4, 5));
        assert!(
            flags
                .flags
                .iter()
                .all(|f| f.left >= 100.0 && f.left + f.width <= 900.0 && f.text == "stroke overdue (plunger)")
        );
    }
}
