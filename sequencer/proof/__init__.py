"""The proof: a finite abstraction of controller and world, explored over every order, faults included.

It computes no physics and prints nothing; it asks `site` for durations and hands out plain result objects.
"""
