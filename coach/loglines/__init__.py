"""THE log format: a class a line, with its fields, their units and what they mean; reading and writing is `logbook`."""
