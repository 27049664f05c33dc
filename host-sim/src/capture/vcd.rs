//! Value change dumps, IEEE Std 1364-2005 clause 18.
//!
//! Reals are left out; of a vector the bits that stand are the low ones, the rest is filled as the standard says: zeros after a 0 or 1.

use super::bytes::{Stop, Tokens};
use super::{Change, Channel, Ended};
use std::collections::HashMap;
use std::io::Read;

/// Channels at most; a file with more is not of a machine.
const MOST: usize = 1 << 16;

pub(super) struct Vcd<R> {
    tokens: Tokens<R>,
    /// Channels of each identifier code.
    codes: Codes,
    /// Nanoseconds of one unit of time, as a fraction.
    scale: (u64, u64),
}

/// Channels by their identifier code; short codes, which are nearly all, by place.
#[derive(Default)]
struct Codes {
    short: Vec<Vec<u32>>,
    long: HashMap<Vec<u8>, Vec<u32>>,
}

impl Codes {
    /// One or two printable characters as a number.
    fn place(code: &[u8]) -> Option<usize> {
        match *code {
            [a @ 33..=126] => Some(usize::from(a - 33)),
            [a @ 33..=126, b @ 33..=126] => Some(94 + usize::from(a - 33) * 94 + usize::from(b - 33)),
            _ => None,
        }
    }

    fn add(&mut self, code: &[u8], channel: u32) {
        match Self::place(code) {
            Some(i) => {
                if self.short.len() <= i {
                    self.short.resize(i + 1, Vec::new());
                }
                self.short[i].push(channel);
            }
            None => self.long.entry(code.to_vec()).or_default().push(channel),
        }
    }

    fn of(&self, code: &[u8]) -> Option<&[u32]> {
        let found = match Self::place(code) {
            Some(i) => self.short.get(i),
            None => self.long.get(code),
        };
        found.map(Vec::as_slice).filter(|c| !c.is_empty())
    }
}

/// Reads the definitions.
pub(super) fn open<R: Read>(from: R) -> Result<(Vec<Channel>, Vcd<R>), String> {
    let mut vcd = Vcd { tokens: Tokens::new(from), codes: Codes::default(), scale: (1, 1) };
    let mut channels = Vec::new();
    match vcd.definitions(&mut channels) {
        Ok(()) if channels.is_empty() => Err("defines no channel".to_owned()),
        Ok(()) => Ok((channels, vcd)),
        Err(why) => Err(format!("line {}: {why}", vcd.tokens.line)),
    }
}

impl<R: Read> Vcd<R> {
    fn word(&mut self) -> Result<String, String> {
        self.tokens.text().map_err(|stop| match stop {
            Stop::End => "ends before $enddefinitions: it was cut off, or is no value change dump".to_owned(),
            Stop::Broken(why) => why,
        })
    }

    /// The words up to `$end`.
    fn section(&mut self) -> Result<Vec<String>, String> {
        let mut words = Vec::new();
        loop {
            match self.word()?.as_str() {
                "$end" => return Ok(words),
                // A comment may be long, and nobody reads it.
                word if words.len() < 64 => words.push(word.to_owned()),
                _ => {}
            }
        }
    }

    fn definitions(&mut self, channels: &mut Vec<Channel>) -> Result<(), String> {
        let mut scopes: Vec<String> = Vec::new();
        loop {
            let word = self.word()?;
            let words = self.section()?;
            match word.as_str() {
                "$timescale" => self.scale = scale(&words.concat())?,
                "$scope" => scopes.push(words.get(1).cloned().unwrap_or_default()),
                "$upscope" => drop(scopes.pop()),
                "$var" => self.variable(&words, &scopes, channels)?,
                "$enddefinitions" => return Ok(()),
                _ if word.starts_with('$') => {}
                _ => return Err(format!("\"{word}\" among the definitions, where a word with $ is due")),
            }
        }
    }

    fn variable(&mut self, words: &[String], scopes: &[String], channels: &mut Vec<Channel>) -> Result<(), String> {
        let [kind, width, code, name, ..] = words else {
            return Err("a $var wants kind, width, code and name".to_owned());
        };
        let width: u32 = width.parse().map_err(|_| format!("the width \"{width}\" of {name} is no number"))?;
        let levels = kind != "real" && kind != "realtime" && kind != "string" && (1..=64).contains(&width);
        if channels.len() >= MOST {
            return Err(format!("more than {MOST} channels"));
        }
        let channel = u32::try_from(channels.len()).unwrap_or(u32::MAX);
        let name = scopes.iter().chain([name]).map(String::as_str).collect::<Vec<_>>().join(".");
        channels.push(Channel { name, width: if levels { width } else { 0 } });
        self.codes.add(code.as_bytes(), channel);
        Ok(())
    }

    pub(super) fn each(mut self, channels: &[Channel], mut f: impl FnMut(Change)) -> Ended {
        let mut ended = Ended::default();
        match self.changes(channels, &mut ended, &mut f) {
            Stop::End => ended,
            Stop::Broken(why) => {
                let line = self.tokens.line;
                ended.damaged(format!("damaged in line {line}: {why}; what came before was read"))
            }
        }
    }

    fn changes(&mut self, channels: &[Channel], ended: &mut Ended, f: &mut impl FnMut(Change)) -> Stop {
        let broken = |why: &str| Stop::Broken(why.to_owned());
        let (num, den) = self.scale;
        loop {
            let token = match self.tokens.next() {
                Ok(token) => token,
                Err(stop) => return stop,
            };
            let [first, rest @ ..] = token else { continue };
            let value = match first {
                b'#' => {
                    let Some(at_ns) = number(rest).and_then(|t| time(t, num, den)) else {
                        return broken("a time that is no number, or beyond 580 years");
                    };
                    if at_ns < ended.until_ns {
                        return broken("time goes back");
                    }
                    ended.until_ns = at_ns;
                    continue;
                }
                b'0' => Some(0),
                b'1' => Some(1),
                b'x' | b'X' | b'z' | b'Z' => None,
                b'b' | b'B' => {
                    let value = bits(rest);
                    let code = match self.tokens.next() {
                        Ok(code) => code,
                        Err(Stop::End) => return broken("ends in the middle of a value"),
                        Err(stop) => return stop,
                    };
                    let Some(of) = self.codes.of(code) else { return broken("a value of a code that was not defined") };
                    give(channels, of, value, ended, f);
                    continue;
                }
                b'r' | b'R' | b's' | b'S' => {
                    if let Err(Stop::Broken(why)) = self.tokens.next() {
                        return Stop::Broken(why);
                    }
                    continue;
                }
                b'$' => {
                    if token == b"$comment" && self.section().is_err() {
                        return broken("ends within a comment");
                    }
                    continue;
                }
                _ => return broken("neither a time nor a value"),
            };
            let Some(of) = self.codes.of(rest) else { return broken("a value of a code that was not defined") };
            give(channels, of, value, ended, f);
        }
    }
}

fn give(channels: &[Channel], of: &[u32], value: Option<u64>, ended: &mut Ended, f: &mut impl FnMut(Change)) {
    for &channel in of {
        if channels.get(channel as usize).is_none_or(|c| c.width == 0) {
            continue;
        }
        match value {
            Some(value) => {
                ended.changes += 1;
                f(Change { at_ns: ended.until_ns, channel, value });
            }
            None => ended.unknown += 1,
        }
    }
}

fn number(digits: &[u8]) -> Option<u64> {
    let mut n = 0_u64;
    for d in digits {
        n = n.checked_mul(10)?.checked_add(u64::from(d.checked_sub(b'0').filter(|d| *d < 10)?))?;
    }
    (!digits.is_empty()).then_some(n)
}

/// The value of binary digits; `None` if any is neither 0 nor 1, or there are too many.
fn bits(digits: &[u8]) -> Option<u64> {
    if digits.is_empty() || digits.len() > 64 {
        return None;
    }
    digits.iter().try_fold(0, |n, d| match d {
        b'0' => Some(n << 1),
        b'1' => Some(n << 1 | 1),
        _ => None,
    })
}

fn time(t: u64, num: u64, den: u64) -> Option<u64> {
    u64::try_from(u128::from(t) * u128::from(num) / u128::from(den)).ok()
}

/// Nanoseconds of one unit as a fraction, from "1us", "10 ns", "100 fs" …
fn scale(text: &str) -> Result<(u64, u64), String> {
    let wrong = || format!("timescale \"{text}\": 1, 10 or 100 of s, ms, us, ns, ps or fs are due");
    let digits = text.find(|c: char| !c.is_ascii_digit()).ok_or_else(wrong)?;
    let (n, unit) = text.split_at(digits);
    let n: u64 = n.parse().map_err(|_| wrong())?;
    if ![1, 10, 100].contains(&n) {
        return Err(wrong());
    }
    Ok(match unit.trim() {
        "s" => (n * 1_000_000_000, 1),
        "ms" => (n * 1_000_000, 1),
        "us" => (n * 1_000, 1),
        "ns" => (n, 1),
        "ps" => (n, 1_000),
        "fs" => (n, 1_000_000),
        _ => return Err(wrong()),
    })
}
