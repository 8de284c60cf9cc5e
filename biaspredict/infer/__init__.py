"""From readings to suspects: the fault catalogue, evidence, ranking, splits and the ledger."""
