//! Answers about causes that were kept: the list, the page as it was read then, the question asked again.

use crate::jobs::causes::answers;
use crate::jobs::causes::answers::Kept;
use crate::jobs::desks;
use crate::ui::kit::*;

#[derive(Default)]
pub struct Answers(List<Kept>);

fn any(s: &Answers) -> bool {
    s.0.chosen().is_some()
}

type K = Key<Answers>;

const KEYS: &[K] = &[
    K::on(&[Press::Enter], |s, _| {
        s.act(|k| Effect::open(Page::new(format!("Answer {}", k.answer), &k.text())))
    })
    .named("read", "The answer as it was read when it was kept")
    .when(any),
    K::on(&[Press::Char('y')], |s, _| s.act(|k| desks::causes(k.ask.clone())))
        .named("ask again", "Ask the same question on today's records")
        .when(any),
    K::on(&[Press::Up], |s, _| s.0.step(-1)).help("The answer above"),
    K::on(&[Press::Down], |s, _| s.0.step(1)).help("The answer below"),
    K::on(&[Press::PageUp], |s, _| s.0.step(-10)).help("Ten above"),
    K::on(&[Press::PageDown], |s, _| s.0.step(10)).help("Ten below"),
    K::on(&[Press::Esc], close).named("back", "Back"),
];

impl Answers {
    fn act(&self, act: fn(&Kept) -> Effect) -> Vec<Effect> {
        self.0.chosen().map(act).into_iter().collect()
    }
}

impl Screen for Answers {
    fn title(&self) -> String {
        "Answers kept".into()
    }

    fn keys(&self) -> Vec<Shown> {
        keys::shown(KEYS, self)
    }

    fn begin(&mut self, _now: &Context) -> Vec<Effect> {
        vec![Effect::read((), |store, ()| answers::kept(store))]
    }

    fn press(&mut self, press: Press, now: &Context) -> Vec<Effect> {
        keys::dispatch(KEYS, self, press, now)
    }

    fn reply(&mut self, mut reply: Reply, _now: &Context) -> Vec<Effect> {
        if let Some(all) = reply.take() {
            self.0.fill(all);
        }
        Vec::new()
    }

    fn draw(&self, frame: &mut Frame, area: Rect, view: &View) {
        let quiet = |text| vec![view.line(Role::Quiet, text)];
        let rows = match (self.0.is_known(), self.0.rows().is_empty()) {
            (false, _) => quiet("reading …"),
            (_, true) => quiet("no answer is kept yet; n on the cause desk keeps one with a note"),
            _ => self.0.lines(usize::from(area.height), |k, mark, here| {
                let role = if here { Role::Strong } else { Role::Text };
                view.line(role, fit(&format!("{mark} {}", k.line()), usize::from(area.width)))
            }),
        };
        lines(frame, area, rows);
    }
}
