//! The clock that records are dated by.

/// Now, microseconds since 1970-01-01 UTC.
pub fn now_us() -> i64 {
    jiff::Timestamp::now().as_microsecond()
}
