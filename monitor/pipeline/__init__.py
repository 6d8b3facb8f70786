"""The joins: the only rooms where files, store, trend and pages meet."""
