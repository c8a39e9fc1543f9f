"""Small wrong changes to a pad's file, made by rule from its plain data, to see whether the tool notices each."""
