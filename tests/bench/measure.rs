//! Times, medians, what a child process spent.

use std::process::{Command, Stdio};
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

/// Prints a figure with its floor.
pub fn line(what: &str, figure: f64, floor: f64, unit: &str) {
    let ratio = if floor > 0.0 { format!("{:.2}", figure / floor) } else { String::new() };
    println!("{what:<44} {figure:>11.3} {unit:<2} {floor:>11.3} {unit:<2} {ratio:>8}");
}
