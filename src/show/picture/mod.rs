//! Pictures: plain data in, marks on a plane out. One layout serves the SVG file and the terminal.
//!
//! A picture says what it shows ([`Picture`]); `layout` places rules, marks, boxes and texts on a
//! [`Canvas`]; [`svg`] and [`cells`] only put those items down. Nothing is said by colour alone: state
//! is told by the shape of a mark, the pattern of a box, or a letter.

pub mod cells;
pub(crate) mod layout;
pub(crate) mod plane;
pub mod scale;
pub mod svg;
#[cfg(test)]
mod tests;

/// What a picture shows.
#[derive(Clone, Debug)]
pub enum Picture {
    /// Points between limits, in order, with dated changes beneath.
    Control(Control),
    /// Rates with their intervals.
    Bars(Bars),
    /// A rate or reading against another.
    Scatter(Scatter),
    /// Positions against moulds or heats.
    Map(Map),
    /// The zones of a blade.
    Zones(Zones),
}

/// A control chart.
#[derive(Clone, Debug, Default)]
pub struct Control {
    /// What is charted.
    pub title: String,
    /// Unit of the values; `%` means that values are shares.
    pub unit: String,
    /// The points, in order.
    pub points: Vec<ControlPoint>,
    /// Changes, each at a place between points (0 is the first point).
    pub events: Vec<Event>,
    /// The point that is looked at.
    pub chosen: Option<usize>,
    /// What to keep in mind.
    pub caution: String,
}

/// A point of a control chart with its own limits.
#[derive(Clone, Debug, Default)]
pub struct ControlPoint {
    /// Its name (a heat, a week).
    pub label: String,
    pub date: String,
    /// The value; none: a gap.
    pub value: Option<f64>,
    /// Centre, lower and upper limit; none where the picture has no limits.
    pub limits: Option<[f64; 3]>,
    pub signal: bool,
}

/// A change beneath a control chart.
#[derive(Clone, Debug)]
pub struct Event {
    /// Place among the points.
    pub at: f64,
    /// The lane it stands in: `checks`, `lots` and so on.
    pub lane: &'static str,
    pub words: String,
}

/// Rates with intervals, one under the other.
#[derive(Clone, Debug, Default)]
pub struct Bars {
    pub title: String,
    pub rows: Vec<Bar>,
    /// The rate of all, as a line.
    pub all: Option<f64>,
    /// The row that is looked at.
    pub chosen: Option<usize>,
    /// What to keep in mind.
    pub caution: String,
}

/// One rate.
#[derive(Clone, Debug, Default)]
pub struct Bar {
    pub label: String,
    /// The rate; none where nothing was inspected.
    pub rate: Option<f64>,
    pub interval: Option<(f64, f64)>,
    /// How many of how many.
    pub counts: String,
}

/// A scatter of groups (heats).
#[derive(Clone, Debug, Default)]
pub struct Scatter {
    pub title: String,
    /// Name and unit of the horizontal axis.
    pub x: String,
    /// Name of the vertical axis; values are shares.
    pub y: String,
    pub points: Vec<ScatterPoint>,
    /// Intercept and slope of a fitted curve, as log odds.
    pub curve: Option<(f64, f64)>,
    /// What a flagged point is; blank where none is.
    pub key: String,
    /// The point that is looked at.
    pub chosen: Option<usize>,
    /// What to keep in mind.
    pub caution: String,
}

/// One group of a scatter.
#[derive(Clone, Debug, Default)]
pub struct ScatterPoint {
    pub label: String,
    /// Horizontal value.
    pub x: f64,
    /// Vertical value, a share.
    pub y: f64,
    /// It carries the result: drawn apart and named.
    pub flagged: bool,
}

/// What a cell of a map says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Inspected, with the defect.
    With,
    /// Inspected, without it.
    Clean,
    /// Made, not inspected for it.
    NotInspected,
    /// No blade there.
    Nothing,
}

/// Positions (rows) against moulds (columns).
#[derive(Clone, Debug, Default)]
pub struct Map {
    pub title: String,
    /// Names of the rows, each with its counts.
    pub rows: Vec<(String, String)>,
    /// Names of the columns.
    pub columns: Vec<String>,
    /// By row, then column.
    pub cells: Vec<Vec<State>>,
    /// The row and column that are looked at.
    pub chosen: Option<(usize, usize)>,
    /// What to keep in mind.
    pub caution: String,
}

/// Zones of a blade.
#[derive(Clone, Debug, Default)]
pub struct Zones {
    pub title: String,
    pub zones: Vec<ZoneRate>,
    /// The zone that is looked at.
    pub chosen: Option<usize>,
    /// What to keep in mind.
    pub caution: String,
}

/// One zone of a blade.
#[derive(Clone, Debug, Default)]
pub struct ZoneRate {
    /// Its code.
    pub zone: String,
    /// Its name, by which it finds its place on the outline.
    pub name: String,
    /// Blades with a finding there.
    pub with: u64,
    /// Blades inspected by a method able to see it.
    pub inspected: u64,
}

impl Picture {
    pub fn title(&self) -> &str {
        match self {
            Self::Control(p) => &p.title,
            Self::Bars(p) => &p.title,
            Self::Scatter(p) => &p.title,
            Self::Map(p) => &p.title,
            Self::Zones(p) => &p.title,
        }
    }

    /// What to keep in mind.
    pub fn caution(&self) -> &str {
        match self {
            Self::Control(p) => &p.caution,
            Self::Bars(p) => &p.caution,
            Self::Scatter(p) => &p.caution,
            Self::Map(p) => &p.caution,
            Self::Zones(p) => &p.caution,
        }
    }
}

/// The picture without its title and cautions, where they stand elsewhere.
pub fn untitled(mut picture: Picture) -> Picture {
    let (title, caution) = match &mut picture {
        Picture::Control(p) => (&mut p.title, &mut p.caution),
        Picture::Bars(p) => (&mut p.title, &mut p.caution),
        Picture::Scatter(p) => (&mut p.title, &mut p.caution),
        Picture::Map(p) => (&mut p.title, &mut p.caution),
        Picture::Zones(p) => (&mut p.title, &mut p.caution),
    };
    title.clear();
    caution.clear();
    picture
}

/// The plane that a picture is laid out on.
#[derive(Clone, Copy, Debug)]
pub struct Canvas {
    /// Width and height.
    pub size: (f64, f64),
    /// Width and height of a character.
    pub letter: (f64, f64),
}

/// What an item is for; the renderers choose stroke, glyph and shade by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Titles and figures.
    Ink,
    /// Ticks, legends.
    Faint,
    /// The frame of a plot.
    Axis,
    /// Values.
    Data,
    /// A control limit, an interval.
    Limit,
    /// A centre line.
    Centre,
    /// What calls for attention.
    Signal,
    /// A dated change.
    Event,
    /// The line of cautions.
    Caution,
    /// What is looked at.
    Cursor,
}

/// The shape of a mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// A filled circle.
    Dot,
    /// A circle.
    Ring,
    /// A filled triangle.
    Triangle,
    /// A filled diamond.
    Diamond,
}

/// The pattern of a box.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Nothing.
    Empty,
    /// Full.
    Solid,
    /// Strokes.
    Hatch,
    Dots,
}

/// Where a text stands by its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Is centred there.
    Middle,
    /// Ends there.
    End,
}

/// Something on the plane.
#[derive(Clone, Debug)]
pub enum Item {
    /// A straight line.
    Rule { from: (f64, f64), to: (f64, f64), role: Role },
    /// A line through points; a terminal leaves it out.
    Path { points: Vec<(f64, f64)>, role: Role },
    Mark {
        at: (f64, f64),
        shape: Shape,
        role: Role,
        /// What it says when it is pointed at.
        words: String,
    },
    Box {
        /// Left upper corner.
        at: (f64, f64),
        /// Width and height.
        size: (f64, f64),
        fill: Fill,
        border: bool,
        role: Role,
        /// What it says when it is pointed at.
        words: String,
    },
    /// A text on one line.
    Text {
        /// The point it stands by; the middle of its height.
        at: (f64, f64),
        /// How it stands by it.
        anchor: Anchor,
        text: String,
        role: Role,
    },
}
