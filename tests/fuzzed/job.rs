//! A job file: any text is read or refused in words that point into it, and what is read can be planned or is refused too.

use host_sim::job::Job;
use std::io;
use std::path::Path;

/// Files that a job may name; no other is there.
const FILES: [(&str, &str); 2] = [
    ("line/machine.toml", include_str!("../../host-sim/jobs/line/machine.toml")),
    ("line/elderflower.toml", include_str!("../../host-sim/jobs/line/elderflower.toml")),
];

fn fetch(path: &Path) -> io::Result<String> {
    let name = path.to_str().unwrap_or_default();
    let text = FILES.iter().find(|f| f.0 == name).ok_or(io::ErrorKind::NotFound)?;
    Ok(text.1.to_owned())
}

/// The text up to a zero byte is the job; what follows it, if anything, is the file `own.toml`, which the job may name.
pub fn job(bytes: &[u8]) {
    let mut parts = bytes.splitn(2, |b| *b == 0);
    let Some(Ok(text)) = parts.next().map(std::str::from_utf8) else { return };
    let own = parts.next().map_or(Ok(""), std::str::from_utf8).unwrap_or_default();
    let files = |path: &Path| if path == Path::new("own.toml") { Ok(own.to_owned()) } else { fetch(path) };
    match Job::parse_with("job.toml", text, &files) {
        Ok(job) => {
            if let Err(e) = host_sim::plan::plan(&job) {
                assert!(!e.to_string().is_empty(), "refused without a word");
            }
        }
        Err(errors) => {
            assert!(!errors.all().is_empty(), "refused without a reason");
            for e in errors.all() {
                assert!(!e.what.is_empty() && !e.mend.is_empty(), "{e:?}");
                let whole =
                    if e.file == "job.toml" { text.to_owned() } else { files(Path::new(&e.file)).unwrap_or_default() };
                let whole = whole.strip_prefix('\u{feff}').unwrap_or(&whole);
                let line = whole.split('\n').nth(e.line.checked_sub(1).expect("lines count from 1"));
                let line =
                    line.unwrap_or_else(|| panic!("line {} of {} lines: {e:?}", e.line, whole.split('\n').count()));
                assert!((1..=line.chars().count() + 1).contains(&e.column), "column {} of {line:?}: {e:?}", e.column);
            }
            // Drawn as people see it: each error's stretch of the text lies within it, or this panics.
            assert!(errors.to_string().contains("mistake"));
        }
    }
}
