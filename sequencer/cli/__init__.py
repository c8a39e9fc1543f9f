"""The `sequencer` command: one small module per command, each handing its result to the screen.

A module here reads arguments, makes one call into a room below, and shows the result object it gets.
"""
