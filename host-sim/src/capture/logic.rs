//! A logic analyser's archive: a zip with `metadata` (INI: sample rate, names of the probes, bytes a sample) and the samples in
//! `logic-1`, or in `logic-1-1`, `logic-1-2` and so on; probe *n* in bit *n* − 1.

use super::{Change, Channel, Ended};
use std::io::{Read, Seek};

pub(super) struct Logic<R: Read + Seek> {
    zip: zip::ZipArchive<R>,
    /// Name of the samples' member, or the beginning of the names of its parts.
    stem: String,
    rate_hz: u64,
    bytes: usize,
    /// The bit of each channel.
    bits: Vec<u32>,
}

/// Longest `metadata`, bytes.
const METADATA: u64 = 1 << 20;
/// Bytes that are read at once, a multiple of every sample's length.
const BLOCK: usize = 1 << 16;

pub(super) fn open<R: Read + Seek>(from: R) -> Result<(Vec<Channel>, Logic<R>), String> {
    let cut = |e: zip::result::ZipError| {
        format!(
            "is no whole zip archive ({e}): its list of members stands at the end, so a cut one cannot be read; save it again"
        )
    };
    let mut zip = zip::ZipArchive::new(from).map_err(cut)?;
    let mut text = String::new();
    {
        let member =
            zip.by_name("metadata").map_err(|e| format!("metadata: {e}; save it from a logic analyser's program"))?;
        member.take(METADATA).read_to_string(&mut text).map_err(|e| format!("metadata: {e}"))?;
    }
    let ini = ini::Ini::load_from_str(&text).map_err(|e| format!("metadata, line {}: {}", e.line, e.msg))?;
    let device = ini.section(Some("device 1")).ok_or("metadata: has no section [device 1]")?;
    let due = |key: &str| device.get(key).ok_or(format!("metadata: [device 1] has no {key}"));
    let bytes = due("unitsize")?.parse().ok().filter(|b| [1_usize, 2, 4, 8].contains(b));
    let bytes = bytes.ok_or("metadata: unitsize must be 1, 2, 4 or 8")?;
    let rate_hz = rate(due("samplerate")?).ok_or_else(|| {
        format!("metadata: samplerate \"{}\" is none; for example \"1 MHz\"", device.get("samplerate").unwrap_or(""))
    })?;
    let stem = due("capturefile")?.to_owned();
    let (mut channels, mut bits) = (Vec::new(), Vec::new());
    for (key, name) in device.iter() {
        let Some(n) = key.strip_prefix("probe").and_then(|n| n.parse::<u32>().ok()) else { continue };
        let bit = n.checked_sub(1).filter(|b| (*b as usize) < bytes * 8);
        bits.push(bit.ok_or_else(|| format!("metadata: {key} lies beyond {bytes} bytes a sample"))?);
        channels.push(Channel { name: name.to_owned(), width: 1 });
    }
    if channels.is_empty() {
        return Err("metadata: [device 1] names no probe".to_owned());
    }
    Ok((channels, Logic { zip, stem, rate_hz, bytes, bits }))
}

fn rate(text: &str) -> Option<u64> {
    let (n, unit) = text.trim().split_once(' ').unwrap_or((text.trim(), "Hz"));
    let times = match unit.trim() {
        "Hz" => 1,
        "kHz" => 1_000,
        "MHz" => 1_000_000,
        "GHz" => 1_000_000_000,
        _ => return None,
    };
    n.parse::<u64>().ok()?.checked_mul(times).filter(|hz| *hz > 0)
}

impl<R: Read + Seek> Logic<R> {
    pub(super) fn each(mut self, channels: &[Channel], mut f: impl FnMut(Change)) -> Ended {
        let mut ended = Ended::default();
        let (mut n, mut was) = (0_u64, None);
        let whole = self.zip.index_for_name(&self.stem).is_some();
        for part in 1_u32.. {
            let name = if whole { self.stem.clone() } else { format!("{}-{part}", self.stem) };
            if part > 1 && (whole || self.zip.index_for_name(&name).is_none()) {
                break;
            }
            if let Err(why) = self.part(&name, channels, (&mut n, &mut was), &mut ended, &mut f) {
                return ended.damaged(format!("{name} is damaged ({why}); what came before was read"));
            }
        }
        ended
    }

    fn part(
        &mut self,
        name: &str,
        channels: &[Channel],
        (n, was): (&mut u64, &mut Option<u64>),
        ended: &mut Ended,
        f: &mut impl FnMut(Change),
    ) -> Result<(), String> {
        let mut member = self.zip.by_name(name).map_err(|e| e.to_string())?;
        let mut block = vec![0; BLOCK];
        let mut have = 0;
        loop {
            let read = member.read(block.get_mut(have..).unwrap_or_default()).map_err(|e| e.to_string())?;
            have += read;
            let samples = block.get(..have).unwrap_or_default().chunks_exact(self.bytes);
            let left = samples.remainder().len();
            for sample in samples {
                let now = sample.iter().rev().fold(0, |v, b| v << 8 | u64::from(*b));
                let differ = was.map_or(u64::MAX, |was: u64| was ^ now);
                let at_ns =
                    u64::try_from(u128::from(*n) * 1_000_000_000 / u128::from(self.rate_hz)).unwrap_or(u64::MAX);
                ended.until_ns = at_ns;
                if differ != 0 {
                    for (channel, bit) in (0..).zip(self.bits.iter().take(channels.len())) {
                        if differ >> bit & 1 == 1 {
                            ended.changes += 1;
                            f(Change { at_ns, channel, value: now >> bit & 1 });
                        }
                    }
                }
                *was = Some(now);
                *n += 1;
            }
            block.copy_within(have - left..have, 0);
            have = left;
            if read == 0 {
                return if left == 0 { Ok(()) } else { Err("ends in the middle of a sample".to_owned()) };
            }
        }
    }
}
