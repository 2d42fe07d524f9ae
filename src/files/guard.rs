//! A last defence against damaged files in readers that are not ours.

use std::panic::{AssertUnwindSafe, catch_unwind};

/// What `read` returns, or `None` where a reader that is not ours panics on a damaged file instead of refusing it. What it may
/// have left half done is dropped with it, so nothing is seen in a broken state.
pub(super) fn guarded<T>(read: impl FnOnce() -> T) -> Option<T> {
    catch_unwind(AssertUnwindSafe(read)).ok()
}
