//! Times, medians, what a child process spent, and figures against their goals.

use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

/// What a command spent.
pub struct Spent {
    pub cpu_s: f64,
    pub elapsed_s: f64,
    pub peak_mb: f64,
}

/// Runs a shell command: user and system time of it and its children, and the most memory that one
/// of them held, watched from outside.
pub fn run(command: &str) -> Spent {
    let begun = Instant::now();
    let mut child = Command::new("bash")
        .arg("-c")
        .arg(format!("TIMEFORMAT='%U %S'; time {command}"))
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut peak_kb = 0.0_f64;
    while child.try_wait().unwrap().is_none() {
        peak_kb = peak_kb.max(children(child.id()));
        std::thread::sleep(Duration::from_millis(5));
    }
    let elapsed_s = begun.elapsed().as_secs_f64();
    let said = child.wait_with_output().unwrap();
    assert!(said.status.success(), "{command}: {}", String::from_utf8_lossy(&said.stderr));
    let text = String::from_utf8_lossy(&said.stderr).into_owned();
    let last = text.lines().last().unwrap_or("");
    let cpu_s = last.split(' ').map(|t| t.replace(',', ".").parse::<f64>().unwrap()).sum();
    Spent { cpu_s, elapsed_s, peak_mb: peak_kb / 1e3 }
}

/// The most memory that a process or its children have held so far, kB.
fn children(pid: u32) -> f64 {
    let own = std::fs::read_to_string(format!("/proc/{pid}/status")).unwrap_or_default();
    let held = own.lines().find(|l| l.starts_with("VmHWM")).and_then(|l| l.split_whitespace().nth(1));
    let held = held.and_then(|n| n.parse().ok()).unwrap_or(0.0);
    let below = std::fs::read_to_string(format!("/proc/{pid}/task/{pid}/children")).unwrap_or_default();
    below.split_whitespace().filter_map(|p| p.parse().ok()).map(children).fold(held, f64::max)
}

/// Microseconds since then.
pub fn micros(begun: Instant) -> f64 {
    begun.elapsed().as_secs_f64() * 1e6
}

/// Processor time of this thread so far, microseconds, to the tick of the scheduler: for work of tens
/// of milliseconds it does not see what else the machine does.
pub fn cpu() -> f64 {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").unwrap_or_default();
    text.split(' ').next().and_then(|ns| ns.parse::<f64>().ok()).unwrap_or(0.0) / 1e3
}

/// The median.
pub fn median(values: &[f64]) -> f64 {
    percentile(values, 50)
}

/// The nearest-rank percentile.
pub fn percentile(values: &[f64], p: usize) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(sorted.len() * p).div_ceil(100).clamp(1, sorted.len()) - 1]
}

/// What a figure is held against.
#[derive(Clone, Copy)]
pub enum Goal {
    /// It is at most this.
    Most(f64),
    /// It is at least this.
    Least(f64),
    /// It is at most so many times its floor.
    Times(f64),
}

/// Figures that met their goals, and that missed them.
pub static MET: AtomicUsize = AtomicUsize::new(0);
pub static MISSED: AtomicUsize = AtomicUsize::new(0);

/// Prints the heads of the columns.
pub fn head() {
    println!("{:<52} {:>15} {:>15} {:>7}  goal", "what", "measured", "floor", "ratio");
}

/// Prints a figure with its floor.
pub fn line(what: &str, figure: f64, floor: f64, unit: &str) {
    held(what, figure, floor, unit, &[]);
}

/// Prints a figure with its floor, its goals, and whether it met them. A floor of 0 is none.
pub fn held(what: &str, figure: f64, floor: f64, unit: &str, goals: &[Goal]) {
    let ratio = if floor > 0.0 { format!("{:.2}", figure / floor) } else { "-".into() };
    let floor_text = if floor > 0.0 { format!("{floor:.3} {unit}") } else { "-".into() };
    let words: Vec<String> = goals
        .iter()
        .map(|g| match g {
            Goal::Most(most) => format!("at most {most} {unit}"),
            Goal::Least(least) => format!("at least {least} {unit}"),
            Goal::Times(times) => format!("at most {times}x"),
        })
        .collect();
    let met = goals.iter().all(|g| match *g {
        Goal::Most(most) => figure <= most,
        Goal::Least(least) => figure >= least,
        Goal::Times(times) => floor > 0.0 && figure / floor <= times,
    });
    let verdict = match (goals.is_empty(), met) {
        (true, _) => String::new(),
        (_, true) => {
            MET.fetch_add(1, Ordering::Relaxed);
            format!("{}: met", words.join(", "))
        }
        (_, false) => {
            MISSED.fetch_add(1, Ordering::Relaxed);
            format!("{}: missed", words.join(", "))
        }
    };
    println!("{what:<52} {:>15} {floor_text:>15} {ratio:>7}  {verdict}", format!("{figure:.3} {unit}"));
}

/// Processor time of all threads of this process so far, seconds, to the hundredth.
pub fn process_cpu() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = stat.split(' ').filter_map(|f| f.parse().ok()).collect();
    // of the numbers: pid, then 12th and 13th after the state
    match (fields.get(11), fields.get(12)) {
        (Some(user), Some(system)) => (user + system) / 100.0,
        _ => 0.0,
    }
}

/// The most memory that this process has held, MB.
pub fn peak_mb() -> f64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    line.and_then(|l| l.trim().trim_end_matches(" kB").trim().parse::<f64>().ok()).unwrap_or(0.0) / 1e3
}
