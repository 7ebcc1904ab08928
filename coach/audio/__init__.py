"""Sound out and in: the mixer, the real device, the virtual room, the echo canceller. An edge."""
