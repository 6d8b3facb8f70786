"""The demo: an invented firm's walls with known truth and planted faults, as the files that people would send."""
