"""The trend room: numbers about readings, and what the rules make of them; no path, clock or page in here."""
