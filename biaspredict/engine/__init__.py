"""Operating points: flattening a stage, ngspice, the batched solver, the linear stage."""
