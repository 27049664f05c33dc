//! The ways of the bottles, kept only when asked for.

use super::Plant;
use super::bottle::Motion;
use crate::trace::{BottlePath, Piece};

impl Plant {
    /// Keeps the way of every bottle from now on, or stops doing so. Those on the line already begin here.
    pub fn set_tracing(&mut self, on: bool) {
        self.tracing = on;
        if on {
            let t = self.now as f64;
            for i in 0..self.row.len() {
                self.begin_path(i);
                self.draw_path(i, t);
            }
        }
    }

    /// The ways of the bottles so far, in order of their numbers; empty without tracing.
    #[must_use]
    pub fn paths(&self) -> Vec<BottlePath> {
        self.paths.clone()
    }

    fn path_of(&mut self, number: u32) -> Option<&mut BottlePath> {
        let i = self.paths.binary_search_by_key(&number, |p| p.number).ok()?;
        self.paths.get_mut(i)
    }

    pub(super) fn begin_path(&mut self, i: usize) {
        if !self.tracing {
            return;
        }
        let b = &self.row[i];
        if let Err(at) = self.paths.binary_search_by_key(&b.number, |p| p.number) {
            let path = BottlePath { number: b.number, length_mm: 2.0 * b.half, ..BottlePath::default() };
            self.paths.insert(at, path);
        }
    }

    pub(super) fn draw_path(&mut self, i: usize, t: f64) {
        if !self.tracing {
            return;
        }
        let m = self.arc(i, t);
        let still = matches!(self.row[i].motion, Motion::Still(_));
        let (v, a) = if still { (0.0, 0.0) } else { (m.v, m.a) };
        let piece = Piece { t_us: t, x_mm: m.x, v_mm_s: v, a_mm_s2: a };
        let number = self.row[i].number;
        if let Some(p) = self.path_of(number) {
            match p.pieces.last_mut() {
                Some(last) if last.t_us >= t => *last = piece,
                // What goes on as it was needs no new piece.
                Some(last)
                    if last.a_mm_s2 == a
                        && (last.v_mm_s + a * (t - last.t_us) * 1e-6 - v).abs() < 1e-9
                        && (last.at(t) - m.x).abs() < 1e-6 => {}
                _ => p.pieces.push(piece),
            }
        }
    }

    pub(super) fn end_path(&mut self, i: usize, t: f64) {
        if self.tracing {
            let number = self.row[i].number;
            if let Some(p) = self.path_of(number) {
                p.gone_us = Some(super::kin::ceil_us(t));
            }
        }
    }
}
