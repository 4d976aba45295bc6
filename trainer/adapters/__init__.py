"""One third-party package each: cameras, pose model, sound, screen."""
