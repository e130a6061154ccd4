//! Choosing a reading: a list that letters narrow.

use crate::jobs::charts::ask::{Of, Readings};
use crate::ui::kit::*;

struct Row {
    name: String,
    about: String,
    of: Of,
}

pub struct Picker {
    /// For what a rate is held against, else for what is charted.
    pub against: bool,
    pub typed: Narrowing,
    rows: Option<Vec<Row>>,
}

impl Picker {
    pub fn new(against: bool, readings: Option<&Readings>) -> Self {
        let mut picker = Self { against, typed: Narrowing::default(), rows: None };
        if let Some(readings) = readings {
            picker.fill(readings);
        }
        picker
    }

    /// The readings are known now.
    pub fn fill(&mut self, readings: &Readings) {
        let row = |name: &str, about: &str, of: Of| Row { name: name.into(), about: about.into(), of };
        let field = |(name, about): &(String, String)| row(name, about, Of::Field(name.clone()));
        let mut rows = Vec::new();
        if !self.against {
            rows.push(row("the rate of the defect", "blades with it of those inspected", Of::Defect));
            let measured = readings.characteristics.iter();
            rows.extend(measured.map(|c| row(c, "measured characteristic", Of::Characteristic(c.clone()))));
            rows.extend(readings.fields.iter().map(field));
        }
        rows.extend(readings.factors.iter().map(field));
        self.rows = Some(rows);
    }

    fn shown(&self) -> Vec<&Row> {
        let typed = self.typed.letters();
        let all = self.rows.as_deref().unwrap_or_default().iter();
        let mut out: Vec<&Row> = all.filter(|r| r.name.to_lowercase().contains(&typed)).collect();
        let ends = |r: &Row| r.name.to_lowercase().ends_with(&format!(".{typed}"));
        out.sort_by_key(|r| !(typed.is_empty() || r.name.eq_ignore_ascii_case(&typed) || ends(r)));
        out
    }

    pub fn press(&mut self, press: Press) -> Pick {
        self.typed.press(press, self.shown().len())
    }

    /// What stands at the cursor.
    pub fn chosen(&self) -> Option<Of> {
        self.shown().get(self.typed.at).map(|r| r.of.clone())
    }

    /// What stands on the screen.
    pub fn rows(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        let title = if self.against { "Held against which reading?" } else { "What is charted in time?" };
        let shown = self.shown();
        let left: Option<Vec<(&str, &str)>> =
            self.rows.is_some().then(|| shown.iter().map(|r| (r.name.as_str(), r.about.as_str())).collect());
        self.typed.lines(title, left.as_deref(), (width * 3 / 5).max(8), (width, height), view)
    }
}
