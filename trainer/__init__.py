"""A live mirror for the golf driver backswing, seen face-on by one camera."""

__version__ = "0.1.0"
