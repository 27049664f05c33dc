//! `events.csv`: every event the core told, one a line.

use crate::show::words;
use crate::trace::Trace;

/// The columns, in order.
pub const COLUMNS: [&str; 6] = ["t_us", "kind", "why", "detail", "value", "sentence"];

/// The events as comma-separated values (RFC 4180), with a heading line.
///
/// `t_us` is microseconds since power-up; `detail` and `value` are as [`timing_core::EventKind`] says; `sentence` is for people.
#[must_use]
pub fn events(trace: &Trace) -> String {
    let mut out = csv::Writer::from_writer(Vec::with_capacity(trace.events.len() * 80 + 64));
    // Writing to memory has no way to fail, and every record has the heading's number of fields.
    let mut put = |record: [&str; 6]| out.write_record(record).unwrap_or_default();
    put(COLUMNS);
    for (t, e) in &trace.events {
        put([
            &t.to_string(),
            words::kind(e.kind),
            e.why.words(),
            &e.detail.to_string(),
            &e.value.to_string(),
            &words::sentence(e),
        ]);
    }
    String::from_utf8(out.into_inner().unwrap_or_default()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use timing_core::{Event, EventKind, Why};

    #[test]
    fn a_field_with_commas_comes_back_whole() {
        let event =
            Event { kind: EventKind::Fault, why: Why::Fault, detail: timing_core::Fault::Jam.code(), value: -3 };
        let text = events(&Trace { events: vec![(7, event)], ..Trace::default() });
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let record = reader.records().next().and_then(Result::ok).expect("one record");
        assert_eq!(record.iter().take(5).collect::<Vec<_>>(), ["7", "fault", "fault", "8", "-3"]);
        assert_eq!(record.get(5), Some(words::sentence(&event).as_str()));
        assert_eq!(events(&Trace::default()).trim_end(), COLUMNS.join(","));
    }
}
