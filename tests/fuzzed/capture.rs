//! Any bytes as a logic capture.

use host_sim::capture::Capture;
use host_sim::survey::map::Map;
use host_sim::survey::{draft, summary, survey};

/// Opened or refused in words; what is opened comes to an end with its time never going back, and can be surveyed with whatever of its
/// channels by whatever name.
///
/// # Panics
/// When something is not as it must be.
pub fn capture(bytes: &[u8]) {
    let open = || Capture::of_bytes(bytes.to_vec());
    let first = match open() {
        Ok(capture) => capture,
        Err(why) => {
            assert!(!why.is_empty());
            return;
        }
    };
    let channels = first.channels().to_vec();
    let (mut at, mut n) = (0, 0);
    let ended = first.each(|c| {
        assert!(c.at_ns >= at && (c.channel as usize) < channels.len());
        (at, n) = (c.at_ns, n + 1);
    });
    assert!(ended.changes == n && ended.until_ns >= at);
    let name = |i: usize| channels.get(i).map_or("", |c| c.name.as_str());
    let text = format!(
        "[contacts]\nrelease_eye = {:?}\ngrip_on_work = {:?}\nchain = {:?}\n[orders]\ngrip_work = {:?}\nspin = {:?}\n\
         [belt]\na = {:?}\nb = {:?}\nencoder_counts_per_rev = 400\nencoder_wheel = \"100 mm\"\n",
        name(0),
        name(1),
        name(2),
        name(1),
        name(0),
        name(0),
        name(2),
    );
    // Names that no TOML text can hold, or channels that are not there, are refused.
    if let (Ok(map), Ok(again)) = (Map::read(&text, &channels), open()) {
        let found = survey(again, &map);
        assert!(!summary(&found).is_empty() && draft(&found, &map).contains("[machine]"));
    }
}
