"""What the microcontroller gets: the table as C, CSV and JSON, the runtime that follows it, and the proof that both
agree with the one scan of `sequencer.table` on this machine and on emulated chips."""
