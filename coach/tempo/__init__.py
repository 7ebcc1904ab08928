"""Time: seconds to samples, and a set laid out in it."""
