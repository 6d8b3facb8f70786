"""Results to words, pictures and pages. Tables come in, bytes go out: no fit, no query, no clock, no path in here."""
