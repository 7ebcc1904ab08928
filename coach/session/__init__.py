"""The session: a pure state machine. Every event carries its time, in samples."""
