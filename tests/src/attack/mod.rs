//! Attacks on records and files: what they have in common.
//!
//! Each attack draws what it does from a fixed seed. The short one is part of the suite; `COPPERWALK_LONG=1` makes it the
//! long one, whose figures stand in `docs/what-is-promised.md`. [`answers`] asks a store everything, [`bits`] flips one bit
//! of it, [`mutate`] alters bytes and texts, [`writers`] are the programs that write to one store at once.

pub mod answers;
pub mod bits;
pub mod mutate;
pub mod writers;

/// Is the long run asked for?
pub fn is_long() -> bool {
    std::env::var_os("COPPERWALK_LONG").is_some_and(|long| long == "1")
}

/// How often: in a short run and in a long one.
pub fn times(short: usize, long: usize) -> usize {
    if is_long() { long } else { short }
}

/// The most memory this process ever took, KiB; 0 where the system does not tell.
pub fn peak_kib() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
    line.and_then(|line| line.split_whitespace().next()?.parse().ok()).unwrap_or(0)
}
