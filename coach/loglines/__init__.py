"""THE log format: one class per kind of line, with its fields and their units; `logbook` reads and writes them."""
