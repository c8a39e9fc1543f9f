"""The proof's rows handed to a C explorer and to plain Python: what is compared with."""
