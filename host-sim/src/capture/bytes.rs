//! Tokens of a text file through a buffer of fixed size.

use std::io::Read;

/// Bytes that are read at once.
const BUFFER: usize = 1 << 16;
/// Longest token; a longer one is damage.
const TOKEN: usize = 1 << 12;

pub(super) struct Tokens<R> {
    from: R,
    buffer: Box<[u8]>,
    at: usize,
    end: usize,
    /// Line of the file, 1 = first.
    pub(super) line: u64,
    token: Vec<u8>,
}

/// What came instead of a token.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Stop {
    /// The file is at its end.
    End,
    /// It cannot be read on.
    Broken(String),
}

impl<R: Read> Tokens<R> {
    pub(super) fn new(from: R) -> Self {
        Self { from, buffer: vec![0; BUFFER].into(), at: 0, end: 0, line: 1, token: Vec::with_capacity(64) }
    }

    fn fill(&mut self) -> Result<(), Stop> {
        self.at = 0;
        self.end = self.from.read(&mut self.buffer).map_err(|e| Stop::Broken(e.to_string()))?;
        if self.end == 0 { Err(Stop::End) } else { Ok(()) }
    }

    /// The next token: what stands between blanks.
    pub(super) fn next(&mut self) -> Result<&[u8], Stop> {
        self.token.clear();
        loop {
            let rest = self.buffer.get(self.at..self.end).unwrap_or_default();
            match rest.iter().position(|b| !b.is_ascii_whitespace()) {
                Some(blank) => {
                    self.line += count_lines(rest.get(..blank).unwrap_or_default());
                    self.at += blank;
                    break;
                }
                None => {
                    self.line += count_lines(rest);
                    self.fill()?;
                }
            }
        }
        // Most tokens lie whole in the buffer, and need no copy.
        let rest = self.buffer.get(self.at..self.end).unwrap_or_default();
        if let Some(length) = rest.iter().position(u8::is_ascii_whitespace) {
            let from = self.at;
            self.at += length;
            return Ok(self.buffer.get(from..from + length).unwrap_or_default());
        }
        loop {
            let rest = self.buffer.get(self.at..self.end).unwrap_or_default();
            let length = rest.iter().position(u8::is_ascii_whitespace);
            self.token.extend_from_slice(rest.get(..length.unwrap_or(rest.len())).unwrap_or_default());
            if self.token.len() > TOKEN {
                return Err(Stop::Broken(format!("more than {TOKEN} bytes without a blank")));
            }
            self.at += length.unwrap_or(rest.len());
            if length.is_some() {
                break;
            }
            match self.fill() {
                Ok(()) => {}
                Err(Stop::End) => break,
                Err(broken) => return Err(broken),
            }
        }
        Ok(&self.token)
    }

    /// The next token as text.
    pub(super) fn text(&mut self) -> Result<String, Stop> {
        self.next().map(|t| String::from_utf8_lossy(t).into_owned())
    }
}

fn count_lines(blank: &[u8]) -> u64 {
    blank.iter().filter(|b| **b == b'\n').count() as u64
}
