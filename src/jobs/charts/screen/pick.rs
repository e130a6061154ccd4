//! Choosing a reading: a list that letters narrow.

use ratatui::text::Line;

use crate::jobs::charts::ask::{Of, Readings};
use crate::ui::keys::Press;
use crate::ui::theme::Role;
use crate::ui::view::{View, fit, walked, window};

/// What a press did to the list.
pub enum Pick {
    /// It stays open.
    Open,
    /// It was left.
    Left,
    /// This is charted.
    Of(Of),
    /// The rate is held against this.
    Against(String),
}

struct Row {
    name: String,
    about: String,
    of: Of,
}

/// The list.
pub struct Picker {
    against: bool,
    text: String,
    rows: Option<Vec<Row>>,
    at: usize,
}

impl Picker {
    /// For what is charted, or for what a rate is held against.
    pub fn new(against: bool, readings: Option<&Readings>) -> Self {
        let mut picker = Self { against, text: String::new(), rows: None, at: 0 };
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
        let typed = self.text.trim().to_lowercase();
        let all = self.rows.as_deref().unwrap_or_default().iter();
        let mut out: Vec<&Row> = all.filter(|r| r.name.to_lowercase().contains(&typed)).collect();
        let ends = |r: &Row| r.name.to_lowercase().ends_with(&format!(".{typed}"));
        out.sort_by_key(|r| !(typed.is_empty() || r.name.eq_ignore_ascii_case(&typed) || ends(r)));
        out
    }

    /// Letters were typed or pasted.
    pub fn typed(&mut self, text: &str) {
        if self.text.chars().count() < 200 {
            self.text.push_str(text);
        }
        self.at = 0;
    }

    /// Takes a press.
    pub fn press(&mut self, press: Press) -> Pick {
        let most = self.shown().len().saturating_sub(1);
        if let Some(at) = walked(self.at, press, most) {
            self.at = at;
            return Pick::Open;
        }
        match press {
            Press::Esc => return Pick::Left,
            Press::Enter => {
                let against = self.against;
                return match self.shown().get(self.at).map(|r| &r.of) {
                    Some(Of::Field(name)) if against => Pick::Against(name.clone()),
                    Some(of) => Pick::Of(of.clone()),
                    None => Pick::Open,
                };
            }
            Press::Char(c) => self.typed(&c.to_string()),
            Press::Backspace => {
                self.text.pop();
                self.at = 0;
            }
            Press::Delete => {
                self.text.clear();
                self.at = 0;
            }
            _ => {}
        }
        Pick::Open
    }

    /// What stands on the screen.
    pub fn rows(&self, width: usize, height: usize, view: &View) -> Vec<Line<'static>> {
        let title = if self.against { "Held against which reading?" } else { "What is charted in time?" };
        let mut out = vec![view.line(Role::Strong, fit(title, width))];
        out.push(Line::from(vec![
            view.span(Role::Text, "letters narrow the list: "),
            view.span(Role::Field, format!("{} ", self.text)),
        ]));
        if self.rows.is_none() {
            out.push(view.line(Role::Look, fit("… reads what there is; Esc leaves it", width)));
            return out;
        }
        let shown = self.shown();
        if shown.is_empty() {
            out.push(view.line(Role::Look, fit("! none has these letters", width)));
        }
        let room = height.saturating_sub(2);
        let first = window(self.at, shown.len(), room);
        let wide = (width * 3 / 5).max(8);
        for (i, row) in shown.iter().enumerate().skip(first).take(room) {
            let (mark, role) = if i == self.at { ("▸", Role::Chosen) } else { (" ", Role::Text) };
            out.push(view.line(role, fit(&format!("{mark} {}  {}", fit(&row.name, wide), row.about), width)));
        }
        out
    }
}
