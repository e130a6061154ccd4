//! One pass over the moulds sums every level of a factor, the moulds of a heat with equal levels first.

use crate::causes::components::HeatTerms;
use crate::causes::factors::Labels;
use crate::causes::factors::Runs;
use crate::causes::records::MISSING;
use crate::causes::score::Sums;
use crate::causes::smoother::Series;

/// Moulds laid along the fixed labels: as poured, or in the order of a draw.
#[derive(Clone, Copy)]
pub(crate) struct MouldLayout<'a> {
    /// a and s − a x_h of the mould at each place.
    pub a: &'a [f64],
    pub s: &'a [f64],
    /// Slot j has the places `start[j]..start[j + 1]`.
    pub start: &'a [usize],
    /// The terms of the heat in each slot.
    pub heats: &'a [HeatTerms],
    /// 1/n of the mould that the labels at each place come from.
    pub share: &'a [f64],
}

/// Sums of pieces by level inside one heat.
#[derive(Default)]
pub(crate) struct Pieces {
    list: Vec<Piece>,
    place: Vec<u32>,
}

#[derive(Clone, Copy)]
struct Piece {
    level: u32,
    a: f64,
    square: f64,
    s: f64,
}

impl Pieces {
    /// Makes room for levels; the places of an earlier factor do no harm.
    fn fit(&mut self, levels: usize) {
        if self.place.len() < levels {
            self.place.resize(levels, 0);
        }
        self.list.clear();
    }

    #[inline]
    fn add(&mut self, level: u32, a: f64, square: f64, s: f64) {
        let place = self.place[level as usize] as usize;
        match self.list.get_mut(place) {
            Some(piece) if piece.level == level => {
                piece.a += a;
                piece.square += square;
                piece.s += s;
            }
            _ => {
                self.place[level as usize] = self.list.len() as u32;
                self.list.push(Piece { level, a, square, s });
            }
        }
    }

    fn give<const K: usize>(&mut self, series: &Series<K>, j: usize, heat: &HeatTerms, sums: &mut [Sums<K>]) {
        for piece in self.list.drain(..) {
            let own = piece.square - heat.f * piece.a * piece.a;
            sums[piece.level as usize].add(series, j, piece.s, heat.g * piece.a, own);
        }
    }
}

/// Sums every level of a factor that is no number.
pub(crate) fn sum_levels<const K: usize>(
    labels: &Labels,
    levels: usize,
    layout: MouldLayout<'_>,
    series: &Series<K>,
    pieces: &mut Pieces,
    sums: &mut Vec<Sums<K>>,
) {
    sums.clear();
    sums.resize(levels, Sums::ZERO);
    pieces.fit(levels);
    match labels {
        Labels::Heat(codes) => {
            for (j, (&code, heat)) in codes.iter().zip(layout.heats).enumerate() {
                if code != MISSING {
                    sums[code as usize].add(series, j, 0.0, heat.a, heat.a);
                }
            }
        }
        Labels::Lots(lots) => {
            for (j, heat) in layout.heats.iter().enumerate() {
                for &code in &lots.level[lots.start[j] as usize..lots.start[j + 1] as usize] {
                    sums[code as usize].add(series, j, 0.0, heat.a, heat.a);
                }
            }
        }
        Labels::Mould(runs) => sum_runs(runs, layout, series, pieces, sums),
        Labels::Cell(cell) => {
            for (j, heat) in layout.heats.iter().enumerate() {
                for place in layout.start[j]..layout.start[j + 1] {
                    let (a, s, share) = (layout.a[place], layout.s[place], layout.share[place]);
                    for entry in cell.start[place] as usize..cell.start[place + 1] as usize {
                        let x = f64::from(cell.count[entry]) * share;
                        pieces.add(cell.level[entry], x * a, x * x * a, x * s);
                    }
                }
                pieces.give(series, j, heat, sums);
            }
        }
        Labels::Number(_) => {}
    }
}

fn sum_runs<const K: usize>(
    runs: &Runs,
    layout: MouldLayout<'_>,
    series: &Series<K>,
    pieces: &mut Pieces,
    sums: &mut [Sums<K>],
) {
    let mut run = 0;
    for (j, heat) in layout.heats.iter().enumerate() {
        let (mut place, end) = (layout.start[j], layout.start[j + 1]);
        while runs.start[run + 1] as usize <= place {
            run += 1;
        }
        if runs.start[run + 1] as usize >= end {
            // the whole heat has one level: Σ(s − a x_h) = 0
            if runs.level[run] != MISSING {
                sums[runs.level[run] as usize].add(series, j, 0.0, heat.a, heat.a);
            }
            continue;
        }
        while place < end {
            let stop = (runs.start[run + 1] as usize).min(end);
            if runs.level[run] != MISSING {
                let a: f64 = layout.a[place..stop].iter().sum();
                let s: f64 = layout.s[place..stop].iter().sum();
                pieces.add(runs.level[run], a, a, s);
            }
            place = stop;
            if place < end {
                run += 1;
            }
        }
        pieces.give(series, j, heat, sums);
    }
}
