"""Time: seconds to samples, and the layout of a set in samples."""
