"""The session: a pure state machine. Time arrives inside events, in samples."""
