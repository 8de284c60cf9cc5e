"""A drill: a fault hidden in a specimen of a stage, graded, read through a meter, reviewed."""
