"""How a stage is wired: paths, chains, the way the signal takes, and slips that show in it."""
