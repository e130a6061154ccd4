//! The bench: the forms of every station. Whoever stands there picks a kind of record; Enter opens its form.

use crate::jobs::bench::position_map_screen::TreeMap;
use crate::jobs::bench::run::analysis_screen::Table;
use crate::jobs::bench::run::menu_screen;
use crate::jobs::bench::run::menu_screen::Runs;
use crate::jobs::bench::run::table;
use crate::jobs::causes::ask::Ask;
use crate::jobs::desks;
use crate::jobs::furnace::board;
use crate::jobs::furnace::board::Drying;
use crate::jobs::furnace::dry_screen;
use crate::jobs::furnace::dry_screen::Dry;
use crate::jobs::records::form_screen::Entry;
use crate::jobs::records::forms::stations;
use crate::ui::big_digits::big;
use crate::ui::form::label;
use crate::ui::kit::*;
use records::catalogue::Coats;
use records::catalogue::kind::Kind;

pub struct Bench {
    kinds: Vec<(&'static str, &'static Kind)>,
    at: usize,
    drying: Vec<Drying>,
}

impl Default for Bench {
    fn default() -> Self {
        let kinds = stations().into_iter().flat_map(|(s, ks)| ks.into_iter().map(move |k| (s, k))).collect();
        Self { kinds, at: 0, drying: Vec::new() }
    }
}

const STATION: &str = "The station with this digit";

type K = Key<Bench>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], |b, _| b.form()).named("form", "Open the form of the chosen kind"),
    K::on(&[Press::Char('i')], |_, _| vec![menu_screen::open(table::inspection())])
        .named("inspect", "Inspect a tray: method and round once, then each scan of a blade is an accept"),
    K::on(&[Press::Char('a')], |_, _| vec![Effect::open(Table::default())])
        .named("analysis", "One analysis with all its elements, in one table"),
    K::on(&[Press::Char('n')], |_, _| vec![Effect::open(Runs::default())]).named(
        "runs",
        "Coats, oven and treatment loads, marking, lots, shipments: said once, then each scan records",
    ),
    K::on(&[Press::Char('l')], |_, _| vec![desks::releases()])
        .named("lots", "Lots and trials: what may go, what blocks the rest; what a trial says"),
    K::on(&[Press::Char('y')], |_, _| vec![desks::causes(Ask::default())])
        .named("causes", "What made blades bad: the cause desk"),
    K::on(&[Press::Char('m')], |_, _| vec![Effect::open(TreeMap::default())]).named(
        "position map",
        "Which pattern stands at which position of a tree: all blades are opened at once",
    ),
    K::on(&[Press::Char('1')], |b, _| b.go_to_station(0)).help(STATION),
    K::on(&[Press::Char('2')], |b, _| b.go_to_station(1)).help(STATION),
    K::on(&[Press::Char('3')], |b, _| b.go_to_station(2)).help(STATION),
    K::on(&[Press::Char('4')], |b, _| b.go_to_station(3)).help(STATION),
    K::on(&[Press::Char('5')], |b, _| b.go_to_station(4)).help(STATION),
    K::on(&[Press::Char('6')], |b, _| b.go_to_station(5)).help(STATION),
    K::on(&[Press::Char('7')], |b, _| b.go_to_station(6)).help(STATION),
    K::on(&[Press::Char('8')], |b, _| b.go_to_station(7)).help(STATION),
    K::on(&[Press::Char('9')], |b, _| b.go_to_station(8)).help(STATION),
    K::on(&[Press::Up], |b, _| b.step(-1)).help("The kind above"),
    K::on(&[Press::Down], |b, _| b.step(1)).help("The kind below"),
    K::on(&[Press::Left, Press::PageUp], |b, _| b.before()).help("The station before"),
    K::on(&[Press::Right, Press::PageDown], |b, _| b.after()).named("next station", "The next station"),
    K::on(&[Press::Esc], close).named("back", "Back to the furnace desk"),
];

impl Bench {
    fn kind(&self) -> Option<&'static Kind> {
        self.kinds.get(self.at).map(|(_, k)| *k)
    }

    fn form(&mut self) -> Vec<Effect> {
        match self.kind() {
            Some(kind) if dry_screen::asks(kind) => vec![Effect::open(Dry::new(kind, Vec::new()))],
            Some(kind) => vec![Effect::open(Entry::new(kind, &[]))],
            None => Vec::new(),
        }
    }

    fn step(&mut self, by: isize) -> Vec<Effect> {
        self.at = step(self.at, by, self.kinds.len());
        Vec::new()
    }

    /// Where each station begins.
    fn stations(&self) -> Vec<usize> {
        let begins = |i: &usize| *i == 0 || self.kinds[*i].0 != self.kinds[*i - 1].0;
        (0..self.kinds.len()).filter(begins).collect()
    }

    fn go_to_station(&mut self, n: usize) -> Vec<Effect> {
        self.at = self.stations().get(n).copied().unwrap_or(self.at);
        Vec::new()
    }

    /// To the first kind of this station, and from there to that of the one before.
    fn before(&mut self) -> Vec<Effect> {
        self.at = self.stations().into_iter().rfind(|i| *i < self.at).unwrap_or(0);
        Vec::new()
    }

    fn after(&mut self) -> Vec<Effect> {
        self.at = self.stations().into_iter().find(|i| *i > self.at).unwrap_or(self.at);
        Vec::new()
    }
}

impl Screen for Bench {
    fn title(&self) -> String {
        "Bench".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, now: &Context) -> Vec<Effect> {
        vec![Effect::read(now.now, |store, now| board::drying(store, *now))]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(drying) = reply.take() {
            self.drying = drying;
        }
        Vec::new()
    }

    fn changed(&mut self, _change: &Change, _mine: bool, now: &Context) -> Vec<Effect> {
        self.begin(now)
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let (left, right) = split(area, (area.width / 3).clamp(1, 30), 2);
        let width = usize::from(left.width);
        let mut rows: Vec<Line<'static>> = Vec::new();
        let (mut chosen, mut last, mut digit) = (0, "", 0);
        for (i, (station, kind)) in self.kinds.iter().enumerate() {
            if *station != last {
                digit += 1;
                let head = if digit < 10 { format!("{digit} {station}") } else { (*station).to_string() };
                rows.push(view.line(Role::Quiet, fit(&head, width)));
                last = station;
            }
            let here = i == self.at;
            if here {
                chosen = rows.len();
            }
            rows.push(view.line(view.row(here), fit(&format!("{} {}", mark(here), kind.noun), width)));
        }
        let from = window(chosen, rows.len(), usize::from(left.height));
        lines(frame, left, rows.into_iter().skip(from).collect());
        let Some(kind) = self.kind() else { return };
        let width = usize::from(right.width);
        let mut rows = vec![view.line(Role::Strong, fit(kind.noun, width))];
        rows.extend(view.wrapped(Role::Text, kind.about, width));
        rows.push(Line::default());
        if kind.is::<Coats>() {
            self.drying(&mut rows, width, view);
        }
        let names: Vec<String> = kind.fields.iter().map(label).collect();
        rows.push(view.line(Role::Quiet, "its form asks for"));
        rows.extend(view.wrapped(Role::Text, &names.join(" · "), width));
        lines(frame, right, rows);
    }
}

impl Bench {
    /// How long each coat has to dry still.
    fn drying(&self, rows: &mut Vec<Line<'static>>, width: usize, view: &View) {
        rows.push(view.line(Role::Strong, "drying"));
        if self.drying.is_empty() {
            rows.push(view.line(Role::Quiet, "no coat is drying by the records"));
        }
        // The one that is dry next, to be read across the room: hours and minutes.
        let left = |d: &Drying| d.least_h.map(|h| h * 60.0 - view.now.minutes_since(d.since));
        let next = self.drying.iter().filter_map(|d| Some((d, left(d).filter(|l| *l > 0.0)?)));
        if let Some((d, left)) = next.min_by(|a, b| a.1.total_cmp(&b.1)) {
            let minutes = left.ceil() as i64;
            for row in big(&format!("{}:{:02}", minutes / 60, minutes % 60), view.theme.ascii) {
                rows.push(view.line(Role::Strong, fit(&row, width)));
            }
            rows.push(
                view.line(
                    Role::Strong,
                    fit(&format!("h:min, then {} coat {} is dry", d.mould, d.coat), width),
                ),
            );
        }
        for d in self.drying.iter().take(8) {
            let since = view.now.minutes_since(d.since);
            let (role, left) = match d.least_h.map(|h| h * 60.0 - since) {
                Some(left) if left > 0.0 => {
                    let left = left.ceil() as i64;
                    (Role::Look, format!("! {} h {:02} min to go", left / 60, left % 60))
                }
                Some(_) => (Role::Good, "✓ dry by the recipe".to_string()),
                None => (Role::Text, format!("for {:.1} h; no recipe says how long", since / 60.0)),
            };
            rows.push(view.line(role, fit(&format!("{} coat {}  {left}", d.mould, d.coat), width)));
        }
        rows.push(Line::default());
    }
}
