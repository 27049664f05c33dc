//! Comma-separated values: a column of time, then a column for each channel.
//!
//! The first line that is no comment (`#` or `;`) names the columns; the first column is time, in the unit that its name carries
//! (`t_us`, `Time [ms]`, `time (ns)`; without one in seconds). Columns are parted by commas, semicolons or tabs.

use super::{Change, Channel, Ended};
use std::io::{BufRead, BufReader, Read};

pub(super) struct Table<R> {
    rows: csv::Reader<BufReader<R>>,
    /// Lines before the rows that the reader sees.
    skipped: u64,
    ns_per_unit: f64,
    columns: usize,
}

/// Longest heading, bytes.
const HEADING: u64 = 1 << 16;

pub(super) fn open<R: Read>(from: R) -> Result<(Vec<Channel>, Table<R>), String> {
    let mut from = BufReader::new(from);
    let mut skipped = 0;
    let heading = loop {
        let mut line = String::new();
        let read = (&mut from).take(HEADING).read_line(&mut line);
        let n = read.map_err(|_| {
            format!("line {}: is no text; a VCD, a CSV or a logic analyser's archive is due", skipped + 1)
        })?;
        if n == 0 {
            return Err("has no heading: the first line names the columns, time first".to_owned());
        }
        skipped += 1;
        let text = line.trim();
        if !text.is_empty() && !text.starts_with(['#', ';']) {
            break text.to_owned();
        }
    };
    let delimiter =
        *[b',', b';', b'\t'].iter().max_by_key(|d| heading.bytes().filter(|b| b == *d).count()).unwrap_or(&b',');
    let names: Vec<&str> = heading.split(char::from(delimiter)).map(|n| n.trim().trim_matches('"').trim()).collect();
    let [time, channels @ ..] = names.as_slice() else { return Err("has no columns".to_owned()) };
    let ns_per_unit = unit(time).ok_or_else(|| {
        format!("line {skipped}: the first column, \"{time}\", is no time: name it time, with its unit, as in \"time (ms)\" or t_us")
    })?;
    if channels.is_empty() {
        return Err(format!("line {skipped}: has no column but the time"));
    }
    let channels: Vec<Channel> = channels.iter().map(|n| Channel { name: (*n).to_owned(), width: 64 }).collect();
    let rows = csv::ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(from);
    let columns = channels.len();
    Ok((channels, Table { rows, skipped, ns_per_unit, columns }))
}

/// Nanoseconds of a unit of time, by the column's name.
fn unit(name: &str) -> Option<f64> {
    let lower = name.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric() && c != 'µ').filter(|w| !w.is_empty()).collect();
    let (first, last) = (words.first()?, words.last()?);
    let named = first.starts_with("time") || *first == "t";
    match *last {
        "ns" => Some(1.0),
        "us" | "µs" => Some(1e3),
        "ms" => Some(1e6),
        "s" | "sec" | "seconds" => Some(1e9),
        _ if named => Some(1e9),
        _ => None,
    }
    .filter(|_| named)
}

impl<R: Read> Table<R> {
    pub(super) fn each(mut self, mut f: impl FnMut(Change)) -> Ended {
        let mut ended = Ended::default();
        let mut was: Vec<Option<u64>> = vec![None; self.columns];
        let mut row = csv::ByteRecord::new();
        loop {
            let line = self.rows.position().line() + self.skipped;
            let damaged =
                |e: Ended, what: &str| e.damaged(format!("damaged in line {line}: {what}; what came before was read"));
            match self.rows.read_byte_record(&mut row) {
                Ok(true) => {}
                Ok(false) => return ended,
                Err(e) => return damaged(ended, &e.to_string()),
            }
            if row.len() != self.columns + 1 {
                return damaged(ended, &format!("{} columns, where {} are due", row.len(), self.columns + 1));
            }
            let text = |i: usize| std::str::from_utf8(row.get(i).unwrap_or_default()).unwrap_or("");
            let at = text(0).parse::<f64>().ok().map(|t| t * self.ns_per_unit);
            let Some(at) = at.filter(|t| (0.0..1.8e19).contains(t)) else {
                return damaged(ended, "the time is no number of 0 or more");
            };
            // To the nearest: decimal fractions of a second are not exact.
            let at_ns = libm::round(at) as u64;
            if at_ns < ended.until_ns {
                return damaged(ended, "time goes back");
            }
            ended.until_ns = at_ns;
            for (i, was) in was.iter_mut().enumerate() {
                let field = text(i + 1);
                let Some(value) = level(field) else {
                    if field.is_empty() || matches!(field, "x" | "X" | "z" | "Z") {
                        ended.unknown += 1;
                        continue;
                    }
                    return damaged(ended, &format!("\"{field}\" is no level and no whole number"));
                };
                if *was != Some(value) {
                    *was = Some(value);
                    ended.changes += 1;
                    f(Change { at_ns, channel: u32::try_from(i).unwrap_or(u32::MAX), value });
                }
            }
        }
    }
}

fn level(field: &str) -> Option<u64> {
    field.parse::<u64>().ok().or_else(|| field.parse::<i64>().ok().map(i64::cast_unsigned))
}
