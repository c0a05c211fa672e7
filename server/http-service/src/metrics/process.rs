//! The process itself: when it began, and on Linux what it holds of memory and of open files.

use std::fs;

use chrono::{DateTime, Utc};
use prometheus_client::metrics::gauge::Gauge;
use prometheus_client::registry::{Registry, Unit};

/// What is looked up each time.
#[derive(Debug, Default)]
pub(super) struct Gauges {
    memory: Gauge,
    files: Gauge,
}

/// Names them as is common practice; without a source.
pub(super) fn register(registry: &mut Registry, gauges: &Gauges, began_at: DateTime<Utc>) {
    let own = registry.sub_registry_with_prefix("process");
    let began = Gauge::<i64>::default();
    began.set(began_at.timestamp());
    own.register_with_unit("start_time", "When the service began, Unix time", Unit::Seconds, began);
    if resident_bytes().is_none() {
        return;
    }
    own.register_with_unit(
        "resident_memory",
        "Memory that the process holds",
        Unit::Bytes,
        gauges.memory.clone(),
    );
    own.register("open_fds", "Files and sockets that are open", gauges.files.clone());
}

impl Gauges {
    /// Looks anew.
    pub fn look(&self) {
        if let Some(bytes) = resident_bytes() {
            self.memory.set(bytes);
        }
        if let Ok(files) = fs::read_dir("/proc/self/fd") {
            self.files.set(i64::try_from(files.count()).unwrap_or(i64::MAX));
        }
    }
}

/// The resident set in bytes; none where the system does not tell it as Linux does.
fn resident_bytes() -> Option<i64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
    // The file's unit is written `kB`, and is 1024 bytes.
    let kibibytes: i64 = line.trim().strip_suffix("kB")?.trim().parse().ok()?;
    kibibytes.checked_mul(1024)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(target_os = "linux")]
    #[test]
    fn the_memory_of_this_process_is_told_in_bytes() {
        let bytes = resident_bytes();
        assert!(bytes.is_some_and(|bytes| (1 << 20..1 << 40).contains(&bytes)), "{bytes:?}");
    }
}
