//! The verb `survey`: a machine as it is, from a logic capture.

use super::args::SurveyArgs;
use super::files::{File, Files};
use super::{FINE, NO, WRONG_INPUT, say};
use crate::capture::Capture;
use crate::survey::map::Map;
use crate::survey::{draft, summary, survey};
use std::io::Write;

/// `survey`: no if the capture is damaged; everything before is measured all the same.
pub(super) fn run(a: &SurveyArgs, out: &mut dyn Write, err: &mut dyn Write) -> u8 {
    match tried(a, out) {
        Ok(code) => code,
        Err(why) => {
            say(err, &format!("{why}\n"));
            WRONG_INPUT
        }
    }
}

fn tried(a: &SurveyArgs, out: &mut dyn Write) -> Result<u8, String> {
    let capture = Capture::open(&a.capture)?;
    let name = a.map.display();
    let text =
        std::fs::read_to_string(&a.map).map_err(|e| format!("{name}: {e}; name a map of the capture's channels"))?;
    let map = Map::read(&text, capture.channels()).map_err(|e| format!("{name}: {e}"))?;
    let files = Files { force: false, out: a.out.clone() };
    if let Some(folder) = a.out.as_deref().filter(|f| f.exists() && !f.is_dir()) {
        return Err(format!("{} is there and no folder: give another name with --out", folder.display()));
    }
    let found = survey(capture, &map);
    let json = serde_json::to_string_pretty(&found).unwrap_or_default();
    let ready: Vec<File> = a
        .out
        .iter()
        .flat_map(|folder| {
            [("survey.json", format!("{json}\n")), ("job.toml", draft(&found, &map))]
                .map(|(name, text)| File { path: folder.join(name), content: text.into_bytes() })
        })
        .collect();
    files.write(&ready)?;
    if a.json {
        say(out, &format!("{json}\n"));
    } else {
        say(out, &summary(&found));
        if !ready.is_empty() {
            let names: Vec<String> = ready.iter().map(|f| f.path.display().to_string()).collect();
            say(out, &format!("\nWritten:\n  {}\n", names.join("\n  ")));
        }
    }
    Ok(if found.damage.is_none() { FINE } else { NO })
}
