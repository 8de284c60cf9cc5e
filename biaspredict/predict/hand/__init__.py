"""The bias of a stage worked by hand: one step at a time, each beside the solved stage.

Volts and currents spread from what is known along the parts, as a person reckons them with a
pocket calculator: a junction drops a fixed voltage, the collector takes gain times the base
current, and where two things hang on each other, two guesses and a straight line settle them.
The idea of such local deductions is that of Stallman and Sussman, Forward reasoning and
dependency-directed backtracking in a system for computer-aided circuit analysis, Artificial
Intelligence 9, 1977.
"""
