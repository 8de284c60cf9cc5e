"""Entry at the bench: what is typed, what is asked next, and one sitting with a stage."""
