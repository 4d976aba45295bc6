"""The pure core: numpy and the standard library only; no files, no clock, no threads."""
