"""A voice-guided coach for home rehabilitation sessions that runs offline."""
