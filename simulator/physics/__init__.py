"""Pure functions of the field's physics: numpy in, numpy out, no simulation and no files."""
