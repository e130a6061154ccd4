//! The clock of each mould that is out of its oven and not poured: how long it stands there, and what its recipe allows.
//! It states; what is done about it people decide.

use serde::Serialize;

use crate::jobs::furnace::readiness;
use records::catalogue::typed::{Key, Recorded};
use records::catalogue::{Moulds, OvenPurpose, ShellRecipes};
use records::read::oven_queries::OvenStay;
use records::value::tag::folded;
pub use records::value::words::minutes;
use records::{Result, Stamp, Store};

/// Hours after which a mould that came out of an oven is no longer on its way to the furnace.
const HOURS: i64 = 24;

/// A mould out of its oven.
#[derive(Clone, Debug, PartialEq)]
pub struct Clock {
    pub mould: String,
    pub oven_run: String,
    pub out_at: Stamp,
    /// The longest time to the pour by its recipe, in seconds.
    pub limit_s: Option<f64>,
}

/// How a clock stands to the limit of the recipe.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    Within,
    NoLimit,
    Past,
}

impl Limit {
    pub fn words(self) -> &'static str {
        match self {
            Self::Within => "within the limit",
            Self::NoLimit => "no limit on record",
            Self::Past => "past the limit",
        }
    }
}

impl Clock {
    /// Whole seconds since it came out; a clock that was set back makes none of them negative.
    pub fn seconds(&self, now: Stamp) -> i64 {
        ((now.ms() - self.out_at.ms()) / 1000).max(0)
    }

    pub fn limit(&self, now: Stamp) -> Limit {
        match self.limit_s {
            None => Limit::NoLimit,
            Some(most) if (now.ms() - self.out_at.ms()) as f64 <= most * 1000.0 => Limit::Within,
            Some(_) => Limit::Past,
        }
    }

    /// Seconds to the limit; negative past it.
    pub fn left_s(&self, now: Stamp) -> Option<f64> {
        self.limit_s.map(|most| most - (now.ms() - self.out_at.ms()) as f64 / 1000.0)
    }

    /// `M31-041 out of OV-12 for 3:41 of 10:00 by its recipe`.
    pub fn words(&self, now: Stamp) -> String {
        let (mould, run, time) = (&self.mould, &self.oven_run, minutes(self.seconds(now)));
        match self.limit_s {
            Some(most) => {
                format!("{mould} out of {run} for {time} of {} by its recipe", minutes(most as i64))
            }
            None => format!("{mould} out of {run} for {time}"),
        }
    }

    /// What a question about a pour that was made at `asked` says while it stands open.
    pub fn while_asked(&self, asked: Stamp, now: Stamp) -> String {
        if self.limit(asked) == Limit::Within && self.limit(now) == Limit::Past {
            let time = asked.to_string();
            let time = time.get(11..19).unwrap_or_default();
            let (then, here) = (minutes(self.seconds(asked)), minutes(self.seconds(now)));
            let most = minutes(self.limit_s.unwrap_or_default() as i64);
            return format!(
                "✗ {here} out of the oven now, past {most}. F2 says that it was poured at {time}, {then} after it. \
                 Poured later than that: Esc, then the key once more."
            );
        }
        self.words(now)
    }

    /// What is to be said before a pour is saved; nothing within the limit.
    pub fn over(&self, now: Stamp) -> Option<String> {
        let most = self.limit_s.filter(|_| self.limit(now) == Limit::Past)?;
        let (mould, run) = (&self.mould, &self.oven_run);
        let over = minutes(self.seconds(now) - most as i64);
        let (time, most) = (minutes(self.seconds(now)), minutes(most as i64));
        Some(format!("{mould} is out of {run} for {time}; its recipe allows {most}: {over} over"))
    }
}

/// The moulds out of their ovens and not poured, the most urgent first: those within their limit by what is left of it,
/// then those without one and those past it, the newest first.
pub fn clocks(store: &Store, now: Stamp) -> Result<Vec<Clock>> {
    // So much later than this clock an entry of another machine may lie.
    let (since, until) = (now.later_ms(-HOURS * 3_600_000), now.later_ms(120_000));
    store.snapshot(|| {
        let mut out = Vec::new();
        let stays = store.out_of_ovens(since, until)?;
        if stays.is_empty() {
            return Ok(out);
        }
        let preheats = store.keeps_ovens(OvenPurpose::Preheat.word())?;
        for stay in stays {
            let heated = match stay.purpose {
                Some(OvenPurpose::Preheat) => true,
                // Where moulds are preheated, one that was fired stands and cools.
                Some(OvenPurpose::Fire) => !preheats,
                _ => false,
            };
            if let (Some(out_at), true) = (stay.out_at, heated) {
                out.push(clock(store, stay, out_at)?);
            }
        }
        out.sort_by_key(|c| urgency(c, now));
        Ok(out)
    })
}

fn clock(store: &Store, stay: OvenStay, out_at: Stamp) -> Result<Clock> {
    let limit_s = limit(store, &store.row(stay.key)?)?;
    Ok(Clock { mould: stay.mould, oven_run: stay.oven_run, out_at, limit_s })
}

/// The longest time from the oven to the pour that a mould's recipe allows, in seconds.
pub fn limit(store: &Store, mould: &Recorded<Moulds>) -> Result<Option<f64>> {
    Ok(readiness::recipe(store, mould)?.and_then(|r| r.get(ShellRecipes::oven_to_pour_max_s)))
}

fn urgency(clock: &Clock, now: Stamp) -> (Limit, i64) {
    let limit = clock.limit(now);
    let rank = match (limit, clock.left_s(now)) {
        (Limit::Within, Some(left)) => (left * 1000.0) as i64,
        _ => -clock.out_at.ms(),
    };
    (limit, rank)
}

/// What is to be said before a pour of this mould is saved: that it is out of its oven for longer than its recipe
/// allows, or that it is in there still. Nothing where neither is so, and where no mould has this tag.
pub fn over_time(store: &Store, mould: &str, now: Stamp) -> Result<Option<String>> {
    let of = folded(mould);
    if let Some(clock) = clocks(store, now)?.into_iter().find(|c| folded(&c.mould) == of) {
        return Ok(clock.over(now));
    }
    let inside = store.in_ovens()?.into_iter().find(|s| folded(&s.mould) == of);
    Ok(inside.map(|s| format!("{} is still in oven {} by its records", s.mould, s.oven_run)))
}

/// The clock of one mould by its key; none where it is poured, in its oven, or out of it for longer than a day.
pub fn of_mould(store: &Store, key: Key<Moulds>, now: Stamp) -> Result<Option<Clock>> {
    let tag = folded(&store.tag_at(key)?);
    Ok(clocks(store, now)?.into_iter().find(|c| folded(&c.mould) == tag))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clock(mould: &str, ago_s: i64, limit_s: Option<f64>) -> Clock {
        Clock {
            mould: mould.into(),
            oven_run: "OV-12".into(),
            out_at: now().later_ms(-ago_s * 1000),
            limit_s,
        }
    }

    fn now() -> Stamp {
        Stamp::parse("2031-05-26T08:00:00+00:00").unwrap()
    }

    #[test]
    fn a_clock_says_how_long_and_of_what() {
        let c = clock("M31-041", 221, Some(600.0));
        assert_eq!(c.words(now()), "M31-041 out of OV-12 for 3:41 of 10:00 by its recipe");
        assert_eq!((c.limit(now()), c.over(now())), (Limit::Within, None));
        let later = now().later_ms(379_000);
        assert_eq!(c.limit(later), Limit::Within, "the limit itself is allowed");
        let over = c.over(later.later_ms(151_000)).unwrap();
        assert_eq!(over, "M31-041 is out of OV-12 for 12:31; its recipe allows 10:00: 2:31 over");
        let c = clock("M31-042", 3_723, None);
        assert_eq!(c.words(now()), "M31-042 out of OV-12 for 1:02:03");
        assert_eq!(c.limit(now()), Limit::NoLimit);
        // A clock that was set back.
        assert_eq!(clock("M", -5, Some(1.0)).seconds(now()), 0);
    }

    #[test]
    fn what_has_least_left_stands_first() {
        let mut all = [
            clock("past long", 5_000, Some(600.0)),
            clock("just past", 700, Some(600.0)),
            clock("no limit", 10, None),
            clock("five minutes left", 300, Some(600.0)),
            clock("one minute left", 840, Some(900.0)),
        ];
        all.sort_by_key(|c| urgency(c, now()));
        let names: Vec<&str> = all.iter().map(|c| c.mould.as_str()).collect();
        assert_eq!(names, ["one minute left", "five minutes left", "no limit", "just past", "past long"]);
    }
}
