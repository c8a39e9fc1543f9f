"""Side-by-side measurements, one file each: a docstring whose first line says what, and `main(argv) -> int`."""
