"""The commands, one module each: arguments, what the pipeline computes, what is printed."""
