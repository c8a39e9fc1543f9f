"""The report room: results as stories, plots and drawings; it computes no result."""
