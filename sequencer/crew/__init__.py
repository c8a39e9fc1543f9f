"""The crew: the checklist made from the steps, the steps tried wrongly, the rehearsal and its debrief.

It never simulates by itself: whatever moves, moves in `sequencer.simulation`.
"""
