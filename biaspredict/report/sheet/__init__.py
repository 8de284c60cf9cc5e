"""The bench sheet: a stage's whole work on paper, from the ohms before power to the hand-back."""
