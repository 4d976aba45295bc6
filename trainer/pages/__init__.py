"""Photographs every page of the window: a made-up player before the real engine and screen."""
