//! Tags in memory while files are read.

use crate::catalogue;
use crate::catalogue::DefectTerms;
use crate::catalogue::kind::Kind;
use crate::read::rows::Link;
use crate::read::shape;

/// Tags written in a load, and definitions that were there before it: an open table of hashes over
/// one run of text. Ids follow one another within a file, so a run of entries needs to know only its
/// first.
#[derive(Default)]
pub(crate) struct Fresh {
    /// Upper half of the hash and the entry, counted from 1; 0 is free.
    slots: Vec<u64>,
    /// Where the tag of each entry begins in the text.
    starts: Vec<u32>,
    text: String,
    /// First entry, kind, id of the first entry.
    runs: Vec<(u32, u8, i64)>,
}

impl Fresh {
    pub(crate) fn insert(&mut self, kind: &'static Kind, tag: &str, id: i64) {
        self.make_room(1);
        let entry = self.starts.len() as u32;
        let kind_at = catalogue::position(kind) as u8;
        match self.runs.last() {
            Some(&(first, k, id0)) if k == kind_at && id0 + i64::from(entry - first) == id => {}
            _ => self.runs.push((entry, kind_at, id)),
        }
        self.starts.push(self.text.len() as u32);
        self.text.push_str(tag);
        self.place(hash(tag, kind.own_names), entry);
    }

    fn place(&mut self, (begin, seal): (usize, u64), entry: u32) {
        let mask = self.slots.len() - 1;
        let mut at = begin & mask;
        while self.slots[at] != 0 {
            at = (at + 1) & mask;
        }
        self.slots[at] = seal | u64::from(entry + 1);
    }

    /// Makes room for so many more.
    pub(crate) fn make_room(&mut self, more: usize) {
        let n = ((self.starts.len() + more) * 5 / 4 + 1).next_power_of_two().max(1024);
        if n <= self.slots.len() {
            return;
        }
        self.slots.clear();
        self.slots.shrink_to_fit();
        self.slots.resize(n, 0);
        for entry in 0..self.starts.len() as u32 {
            let own_names = self.kind_of(entry).0.own_names;
            self.place(hash(self.tag(entry), own_names), entry);
        }
    }

    fn tag(&self, entry: u32) -> &str {
        let i = entry as usize;
        let end = self.starts.get(i + 1).map_or(self.text.len(), |e| *e as usize);
        &self.text[self.starts[i] as usize..end]
    }

    fn kind_of(&self, entry: u32) -> (&'static Kind, i64) {
        let run = self.runs.partition_point(|r| r.0 <= entry).saturating_sub(1);
        let (first, kind, id) = self.runs[run];
        (shape::all()[kind as usize].kind, id + i64::from(entry - first))
    }

    pub(crate) fn get(&self, tag: &str, kinds: &[&'static str]) -> Option<(Link, &str)> {
        self.search(tag, kinds == [DefectTerms::NAME], |kind| kinds.contains(&kind.name))
    }

    pub(crate) fn search(
        &self,
        tag: &str,
        own_names: bool,
        wanted: impl Fn(&'static Kind) -> bool,
    ) -> Option<(Link, &str)> {
        if self.slots.is_empty() {
            return None;
        }
        let (begin, seal) = hash(tag, own_names);
        let mask = self.slots.len() - 1;
        let mut at = begin & mask;
        while self.slots[at] != 0 {
            let slot = self.slots[at];
            if (slot ^ seal) >> 32 == 0 {
                let entry = slot as u32 - 1;
                let text = self.tag(entry);
                if text.eq_ignore_ascii_case(tag) {
                    let (kind, id) = self.kind_of(entry);
                    if wanted(kind) {
                        return Some((Link { kind: kind.name, id }, text));
                    }
                }
            }
            at = (at + 1) & mask;
        }
        None
    }
}

/// Where to begin looking for a tag, and a seal in the upper half that tells it from its neighbours.
/// Multiply-and-fold over eight bytes at a time, without regard to the case of ASCII letters. The
/// last byte only moves within a line of the cache: tags that are counted on stand together.
fn hash(tag: &str, own_names: bool) -> (usize, u64) {
    let bytes = tag.as_bytes();
    let (last, head) = bytes.split_last().unwrap_or((&0, &[]));
    let last = u64::from(last.to_ascii_lowercase());
    let mix = |h: u64, v: u64| {
        let mixed = u128::from(h ^ v) * 0x9e37_79b9_7f4a_7c15_u128;
        (mixed as u64) ^ ((mixed >> 64) as u64)
    };
    let mut h: u64 = if own_names { 0x51 } else { 0xcb } + bytes.len() as u64;
    for chunk in head.chunks(8) {
        let mut word = [0; 8];
        word[..chunk.len()].copy_from_slice(chunk);
        word.make_ascii_lowercase();
        h = mix(h, u64::from_le_bytes(word));
    }
    let seal = mix(h ^ last, last) & 0xffff_ffff_0000_0000;
    ((h & !15).wrapping_add(last & 15) as usize, seal)
}
