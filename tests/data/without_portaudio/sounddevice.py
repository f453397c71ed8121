"""As sounddevice is where the system has no PortAudio."""

raise OSError("PortAudio library not found")
